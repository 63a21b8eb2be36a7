"""Pictures are the same each time, legible, and told apart by every eye."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from ridesim.report.style import (
    COLOURS,
    LIMIT_COLOUR,
    TEXT_PT,
    WIDTH_MM,
    in_units,
    key,
    limit_line,
    new_figure,
    save,
    series,
    spans,
    svg_text,
    tag,
)

# Machado, Oliveira and Fernandes (2009), IEEE Trans. Vis. Comput. Graph. 15(6), severity 1.0; quoted from memory.
BLINDNESS = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def drawn(words: str = "peak") -> Figure:
    figure, (axes,) = new_figure()
    axes.plot([0.0, 1.0, 2.0], [0.0, 3.0, 1.0], color=COLOURS[0])
    key(axes, [("line", COLOURS[0], "-"), ("other", COLOURS[1], "--")])
    limit_line(axes, 2.5, "limit 2.5 A")
    tag(axes, 1.0, 3.0, words)
    return figure


def test_the_same_figure_gives_the_same_bytes_each_time(tmp_path: Path) -> None:
    figure = drawn()
    assert svg_text(figure) == svg_text(figure) == svg_text(drawn())
    for name in ("first.png", "second.png"):
        save(drawn(), tmp_path / name)
    assert (tmp_path / "first.png").read_bytes() == (tmp_path / "second.png").read_bytes()


def test_svg_scales_keeps_its_text_and_has_ids_of_its_own() -> None:
    first, second = svg_text(drawn(), "one"), svg_text(drawn(), "two")
    opening = first[: first.index(">")]
    assert (
        opening.startswith("<svg") and "viewBox" in opening and " width=" not in opening and " height=" not in opening
    )
    assert re.search(r"<text[^>]*>limit 2\.5 A</text>", first) and "<metadata" not in first
    ids = [set(re.findall(r'\bid="([^"]+)"', text)) for text in (first, second)]
    assert ids[0] and not ids[0] & ids[1]
    assert set(re.findall(r'(?:url\(|href=")#([^")]+)', first)) <= ids[0]


def test_small_text_is_raised_to_what_a_telephone_shows() -> None:
    figure = drawn()
    figure.axes[0].text(0.0, 0.0, "tiny", fontsize=4)
    svg_text(figure)
    sizes = {text.get_text(): text.get_fontsize() for text in figure.axes[0].texts}
    assert sizes["tiny"] == pytest.approx(TEXT_PT)
    _, (axes,) = new_figure(width_mm=2.0 * WIDTH_MM)
    assert axes.xaxis.label.get_fontsize() == pytest.approx(2.0 * TEXT_PT)


def test_dollars_and_angles_in_a_users_words_are_words() -> None:
    text = svg_text(drawn("costs $5 & <b>$6_x</b>"))
    assert ">costs $5 &amp; &lt;b&gt;$6_x&lt;/b&gt;</text>" in text


def test_text_of_a_log_axis_is_still_written_as_powers() -> None:
    figure, (axes,) = new_figure()
    axes.semilogy([0.0, 1.0], [1.0, 1000.0])
    assert "mathdefault" not in svg_text(figure)


def test_values_are_shown_in_the_units_asked_for() -> None:
    assert in_units([1.609344, 0.0], "km", "imperial") == pytest.approx([1.0, 0.0])
    assert in_units([100.0], "c", "imperial") == pytest.approx([212.0])
    assert in_units([100.0], "c") == pytest.approx([100.0])
    assert in_units([5.0], "a", "imperial") == pytest.approx([5.0])


def test_spans_hold_from_the_first_point_to_the_one_after_the_last() -> None:
    x = np.arange(6.0)
    assert spans(x, [False, True, True, False, False, True]) == [(1.0, 3.0), (5.0, 5.0)]
    assert spans(x, [False] * 6) == []
    assert spans(x, [True] * 6) == [(0.0, 5.0)]


def luminance(colour: str) -> float:
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in to_rgb(colour)]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


@pytest.mark.parametrize("kind", BLINDNESS)
def test_line_and_limit_colours_stay_apart_for_the_colour_blind(kind: str) -> None:
    seen = [np.array(BLINDNESS[kind]) @ np.array(to_rgb(colour)) for colour in (*COLOURS[:3], LIMIT_COLOUR)]
    for index, one in enumerate(seen):
        for other in seen[index + 1 :]:
            assert float(np.abs(one - other).max()) > 0.15


def test_series_rises_in_lightness() -> None:
    light = [luminance(colour) for colour in series(6)]
    assert light == sorted(light) and light[-1] - light[0] > 0.3


def test_pictures_open_no_window_and_leave_pyplot_alone() -> None:
    words = (
        "import sys, ridesim.report.ride.figures, ridesim.report.road.figure; print('matplotlib.pyplot' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
