"""Damaged GPX and road files by structured mutation: `ridesim road` answers, or refuses in clear lines, never more.

`tests/tries.py` says how many; ten thousand a kind with `pytest -m slow`. The seed is in the file.
"""

from __future__ import annotations

import contextlib
import io
import json
import random
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from ridesim.cli.door import run
from ridesim.road.starter import EXAMPLES, FURNITURE
from ridesim.schema.texts import toml_value

from ..tries import FILE_TRIES
from .conftest import gpx_xml, point_xml

SEED = 20260811
MANY = 10_000
LONGEST_LINE = 400
LONGEST_S = 5.0

Draw = Callable[..., object]
QUIET = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large]

NUMBERS = [
    "0", "-0", "90", "-90.0000001", "180", "540", "1e9", "-1e308", "1e400", "nan", "inf", "-inf", "", " ", "0x10",
    "1_000", "١٢", "north", "9" * 400, "1e-320", "--5", "45,5", "\u202e5", "+7",
]  # fmt: skip
TIMES = [
    "2024-05-01T06:00:00+99:99", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "2024-02-30T00:00:00Z", "now", "",
    "2024-05-01", "2024-05-01T06:00:00.999999999Z", "-2024-05-01T06:00:00Z", "2024-05-01T06:00:60Z", "NaT",
    "2024-05-01T06:00:00-23:59", "T", "2024-05-01t06:00:00z", "1970-01-01T00:00:00Z",
]  # fmt: skip
FRAGMENTS = [
    "<!DOCTYPE gpx>", "<![CDATA[", "]]>", "<!--", "-->", "<?x ?>", "&amp;", "&x;", "&#0;", "&#x202e;", "\x00", "\ufeff",
    "<a>" * 70, "</trkseg>", "<trkseg>", "</trk>", "<trk>", "<rte>", "<gpx>", "</gpx>", "<trkpt", "<ele>", "</ele>",
    "<name>\u202eevil\x1b[31m</name>", "<name/>", "<trkpt/>", '<trkpt lat="1" lon="1"/>', "<time/>", "<", ">", '"', "'",
    "<extensions><speed>nan</speed></extensions>", "é" * 50, "\n" * 30, "<ele>1</ele>" * 3, "=", " ",
]  # fmt: skip
VALUES = [
    "nan", "inf", "-inf", "1e400", "-1", "0", "1e-320", "9" * 5000, "0x" + "f" * 5000, "true", '"x"', '""', "[]", "{}",
    "[[1]]", "[" * 3000, "{a=" * 100, "2024-05-01", "06:00:00", "'''x\ny'''", '"\\u202e"', "[1, nan]", "[0, 1, 2]",
    "[0, true]", "-0.0", "1_0", "5001", "1e6", '"../x.gpx"', '"/dev/zero"', '"a\\u0000b"', "[1e308, 1e308]", "é", "",
    '"' + "x" * 3000 + '"', "[" + "0," * 3000 + "]", "0.1", "150", "60", "-60", "1000",
]  # fmt: skip
KEYS = ["kind", "length_km", "lenght_km", "file", "x" * 300, '"é"', "a.b", "stop", "road", "at_km", "", "=", "\u202e"]


SEEDS = st.integers(0, 2**32 - 1)
STEPS = st.sampled_from([1e-6, 1e-4, 1e-3, 0.2])


@st.composite
def damaged_gpx(draw: Draw) -> str:
    """A short ride with some of its numbers, times and pieces of text replaced, moved, doubled or cut.

    Its points are chosen by a seed: forty draws a ride took longer than reading it.
    """
    step, chance, points = draw(STEPS), random.Random(draw(SEEDS)), []
    for i in range(chance.randint(2, 40)):
        altitude = chance.choice([100 + i, None, chance.randint(-600, 9100), 0])
        stamp = f"2024-05-01T06:{i // 60:02d}:{i % 60:02d}Z" if chance.randrange(3) else ""
        points.append(point_xml(45.0 + step * i, 7.0, altitude, stamp))
    text = gpx_xml("\n".join(points))
    for _ in range(draw(st.integers(0, 6))):
        text = draw(HURTS)(draw, text)
    return text


def _other_number(draw: Draw, text: str) -> str:
    marks = [at for mark in ('lat="', 'lon="', "<ele>") for at in _ends(text, mark)]
    if not marks:
        return text
    start = draw(st.sampled_from(marks))
    end = min((at for at in (text.find(stop, start) for stop in '"<') if at >= 0), default=start)
    return text[:start] + draw(st.sampled_from(NUMBERS)) + text[end:]


def _other_time(draw: Draw, text: str) -> str:
    marks = _ends(text, "<time>")
    if not marks:
        return text
    start = draw(st.sampled_from(marks))
    return text[:start] + draw(st.sampled_from(TIMES)) + text[max(text.find("<", start), start) :]


def _fragment(draw: Draw, text: str) -> str:
    at = draw(st.integers(0, len(text)))
    return text[:at] + draw(st.sampled_from(FRAGMENTS)) + text[at:]


def _cut(draw: Draw, text: str) -> str:
    start = draw(st.integers(0, len(text)))
    return text[:start] + text[start + draw(st.integers(0, 60)) :]


def _double(draw: Draw, text: str) -> str:
    start = draw(st.integers(0, len(text)))
    piece = text[start : start + draw(st.integers(1, 400))]
    return text[:start] + piece * draw(st.integers(2, 4)) + text[start:]


def _swap(draw: Draw, text: str) -> str:
    first, second, third = sorted(draw(st.integers(0, len(text))) for _ in range(3))
    return text[:first] + text[second:third] + text[first:second] + text[third:]


def _ends(text: str, mark: str) -> list[int]:
    found, at = [], text.find(mark)
    while at >= 0:
        found.append(at + len(mark))
        at = text.find(mark, at + 1)
    return found


HURTS = st.sampled_from([_other_number, _other_time, _fragment, _cut, _double, _swap])


@st.composite
def damaged_toml(draw: Draw) -> str:
    """A road file of any kind with furniture, with some lines, keys and values replaced, doubled or lost."""
    kind = draw(st.sampled_from([name for name in EXAMPLES if name != "gpx"]))
    lines = ["[road]", f'kind = "{kind}"', *[f"{key} = {toml_value(value)}" for key, value in EXAMPLES[kind].items()]]
    for name, (entry,) in FURNITURE.items():
        if draw(st.booleans()):
            lines += [f"[[{name}]]", *[f"{key} = {toml_value(value)}" for key, value in entry.items()]]
    for _ in range(draw(st.integers(0, 5))):
        at = draw(st.integers(0, len(lines) - 1))
        key, _, value = lines[at].partition("=")
        what = draw(st.sampled_from(["value", "value", "key", "drop", "double", "garbage"]))
        if what == "value":
            lines[at] = f"{key}= {draw(st.sampled_from(VALUES))}"
        elif what == "key":
            lines[at] = f"{draw(st.sampled_from(KEYS))} ={value}"
        elif what == "drop" and len(lines) > 1:
            lines.pop(at)
        elif what == "double":
            lines.insert(at, lines[draw(st.integers(0, len(lines) - 1))])
        else:
            lines[at] += draw(st.text(max_size=6))
    return "\n".join(lines)


def answer_or_refusal(path: Path, content: str) -> None:
    """Assert that the command answers with JSON, or refuses with clear lines, in time."""
    path.write_bytes(content.encode("utf-8", "surrogatepass"))
    began = time.process_time()  # not by the clock on the wall: the machine may be busy with something else
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(["road", str(path), "--json"])
    assert time.process_time() - began < LONGEST_S
    assert code in (0, 2), (code, err.getvalue()[:300])
    if code == 0:
        answer = json.loads(out.getvalue())
        assert answer["length_km"] > 0.0 and answer["highest_altitude_m"] >= answer["lowest_altitude_m"]
        return
    assert out.getvalue() == ""
    lines = err.getvalue().strip().split("\n")
    assert 1 <= len(lines) <= 21
    for line in lines:
        assert len(line) <= LONGEST_LINE and "; " in line and line.startswith(str(path.parent)), line
        assert all(letter.isprintable() for letter in line), repr(line)


@seed(SEED)
@given(content=damaged_gpx())
@settings(max_examples=FILE_TRIES, deadline=None, suppress_health_check=QUIET, database=None)
def test_damaged_gpx(content: str, tmp_path: Path) -> None:
    answer_or_refusal(tmp_path / "any.gpx", content)


@seed(SEED)
@given(content=damaged_toml())
@settings(max_examples=FILE_TRIES, deadline=None, suppress_health_check=QUIET, database=None)
def test_damaged_road_file(content: str, tmp_path: Path) -> None:
    answer_or_refusal(tmp_path / "any.toml", content)


@pytest.mark.slow
@seed(SEED + 1)
@given(content=damaged_gpx())
@settings(max_examples=MANY, deadline=None, suppress_health_check=QUIET, database=None)
def test_ten_thousand_damaged_gpx(content: str, tmp_path: Path) -> None:
    answer_or_refusal(tmp_path / "any.gpx", content)


@pytest.mark.slow
@seed(SEED + 1)
@given(content=damaged_toml())
@settings(max_examples=MANY, deadline=None, suppress_health_check=QUIET, database=None)
def test_ten_thousand_damaged_road_files(content: str, tmp_path: Path) -> None:
    answer_or_refusal(tmp_path / "any.toml", content)


KNOWN = {
    "time zone +99:99": ("any.gpx", gpx_xml(point_xml(45, 7, 1, TIMES[0]) + point_xml(45.01, 7, 1, TIMES[0]))),
    "altitude 1e9": ("any.gpx", gpx_xml(point_xml(45, 7, 1) + point_xml(45.01, 7, 1e9) + point_xml(45.02, 7, 2))),
    "endless integer": ("any.toml", '[road]\nkind = "flat"\nlength_km = ' + "9" * 100_000),
    "endless hexadecimal": ("any.toml", '[road]\nkind = "flat"\nlength_km = 0x' + "f" * 100_000),
    "endless kind": ("any.toml", "[road]\nkind = 0x" + "f" * 9000),
    "endless integers in a list": (
        "any.toml", '[road]\nkind = "points"\ndistance_km = [0, 0x' + "f" * 9000 + "]\naltitude_m = [1, 2]",
    ),
    "deep key": ("any.toml", "[road" + ".a" * 400_000 + "]"),
    "deep quoted key": ("any.toml", "[road" + ' . "a"' * 100_000 + "]"),
    "crowd of stops": ("any.toml", '[road]\nkind = "flat"\nlength_km = 1\n' + "[[stop]]\n" * 80_000),
    "crowd of keys": (
        "any.toml", '[road]\nkind = "flat"\nlength_km = 1\n' + "".join(f"k{i} = 1\n" for i in range(60_000)),
    ),
    "crowd of numbers": (
        "any.toml", '[road]\nkind = "points"\naltitude_m = [1, 2]\ndistance_km = [' + '"a",' * 200_000 + "]",
    ),
    "deep brackets": ("any.toml", "[road]\nkind = " + "[" * 100_000),
    "many problems": ("any.toml", '[road]\nkind = "flat"\nlength_km = 1\n' + "[[stop]]\n" * 5000),
    "huge cycle": ("any.toml", '[road]\nkind = "cycle"\ntime_s = [0, 1e6]\nspeed_km_h = [150, 150]'),
}  # fmt: skip


@pytest.mark.parametrize("name", list(KNOWN))
def test_known_damage(name: str, tmp_path: Path) -> None:
    answer_or_refusal(tmp_path / KNOWN[name][0], KNOWN[name][1])
