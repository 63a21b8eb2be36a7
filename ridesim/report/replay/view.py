"""A log beside its model: each channel's difference with its likely causes, and the balance of the road."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ridesim.learn.replay import Parting, Replay
from ridesim.report.text import duration, shown
from ridesim.report.view import Table, View
from ridesim.units import UNITS, convert, for_people, told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.learn.channels import Compared

Array = NDArray[np.float64]


def view(result: Replay, units: str = "metric", *, pictures: bool = True) -> View:
    """Return where a log and its model part."""
    return View(
        title=f"Is {result.path} the bike of {result.build}?",
        question=(
            f"{duration(result.span_s)}, {shown(result.distance_km, 'km', units)}. The model is driven by the log's "
            f"{_driver(result)}; differences are measured less computed."
        ),
        answer=tuple(told(line, units) for line in _answer(result)),
        verdict=result.verdict,
        tables=(_channels(result, units),),
        figures=_figures(result, units) if pictures else (),
        notes=tuple(told(each, units) for each in result.notes),
    )


def _driver(result: Replay) -> str:
    if result.driven.by == "current":
        return f"{result.driven.speed_by} and {result.driven.current_by}"
    what = "throttle, and the rider brakes to its speed" if result.driven.by == "throttle" else "speed alone"
    return f"{what}, on the log's road with the build's own drags and limits"


def _answer(result: Replay) -> list[str]:
    bad = [each for each in result.partings if each.verdict != "fine"]
    lines = []
    if not result.partings:
        lines.append("Nobody can tell: the log measures nothing that the model computes; map a voltage, a duty or a "
                     "temperature.")  # fmt: skip
    elif not bad and result.road is not None and result.road.verdict != "fine":
        lines.append("The motor and the pack are this bike's; but the altitude is of another road, or the bike is far "
                     "heavier than stated.")  # fmt: skip
    elif not bad and result.balanced is not None and result.balanced.verdict != "fine":
        lines.append(f"The motor and the pack are this bike's: every channel agrees; but {result.balanced.reason}. See "
                     "the mass, the tyres, what the rider gives and the wind, then `ridesim fit`.")  # fmt: skip
    elif not bad and not OF_THE_MOTOR & {each.name for each in result.partings}:
        agreed = _listed([each.words for each in result.partings])
        lines.append(f"As far as it tells the log is like this bike, by its {agreed}; of the motor it says nothing: "
                     "log its current, duty or temperature.")  # fmt: skip
    elif not bad:
        lines.append("The log is of this bike: every channel agrees.")
    else:
        worst = [each.words for each in bad if each.verdict == "stop"]
        if worst:
            lines.append(f"The log is not of this bike as it is described: {_listed(worst)} part too far.")
        else:
            lines.append(f"The log is like this bike, but for {_listed([each.words for each in bad])}.")
    because: dict[str, list[str]] = {}
    for each in bad:
        for cause in each.causes:
            because.setdefault(cause, []).append(each.words)
    lines += [f"{_first_up(_listed(words))}: {cause}." for cause, words in because.items()]
    return [*lines, *result.general]


OF_THE_MOTOR = {
    "motor_current_a",
    "speed_km_h",
    "pack_current_a",
    "duty",
    "winding_temperature_c",
    "body_temperature_c",
}
"""Channels that another motor would part; what else is computed hangs on the pack, the box or the wheel alone."""


def _listed(words: list[str]) -> str:
    return " and ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def _first_up(words: str) -> str:
    """Return a sentence's start; what is written large in it stays so."""
    return words[:1].upper() + words[1:]


def _channels(result: Replay, units: str) -> Table:
    head = ("channel", "measured", "computed", "bias", "rms", "largest", "at", "verdict")
    return Table("Means", head, tuple(_row(each, units) for each in result.partings))


def _row(each: Parting, units: str) -> tuple[str, ...]:
    step = {"c": "k"}.get(each.unit, each.unit)

    def level(value: float) -> str:
        """Return a reading with its unit."""
        return shown(value, each.unit, units) if each.unit else f"{value:.3f}"

    def off(value: float) -> str:
        """Return a difference with its unit."""
        return shown(value, step, units, 2) if each.unit else f"{value:.4f}"

    return (
        each.words, level(each.measured_mean), level(each.computed_mean), off(each.bias), off(each.rms),
        off(each.largest), duration(each.largest_at_s), each.verdict,
    )  # fmt: skip


def _figures(result: Replay, units: str) -> tuple[tuple[str, Figure], ...]:
    found = []
    for parting, each in zip(result.partings, result.channels, strict=True):
        caption = f"{_first_up(parting.words)}: measured and computed above, their difference below."
        found.append((caption, channel_picture(each, result.driven.step_s, units)))
    if result.balance is not None:
        found.append(("Balance of the road, half minutes without brakes: given and asked at the wheel.",
                      balance_picture(result)))  # fmt: skip
    return tuple(found)


def picture_names(result: Replay) -> tuple[str, ...]:
    """Return the names of the pictures, in order, as files."""
    names = [each.name.rpartition("_")[0] or each.name for each in result.partings]
    return (*names, *(("balance",) if result.balance is not None else ()))


def channel_picture(each: Compared, step_s: float, units: str = "metric") -> Figure:
    """Return measured and computed over time, and their difference in a row of its own."""
    from ridesim.report.style import COLOURS, FAINT, axis_label, head, key, new_figure, quantity_label

    figure, (above, below) = new_figure(rows=2, heights=(2.0, 1.0))
    per = max(1, len(each.measured) // MOST_POINTS)
    minutes, measured = _thin(each.measured, per, step_s)
    _, computed = _thin(each.computed, per, step_s)
    unit = each.channel.unit
    if unit:
        measured, computed = (convert(part, unit, _suffix(unit, units)) for part in (measured, computed))
    above.plot(minutes, measured, color=COLOURS[0], linewidth=1.4)
    above.plot(minutes, computed, color=COLOURS[2], linestyle="--", linewidth=1.4)
    key(above, (("measured", COLOURS[0], "-"), ("computed", COLOURS[2], "--")))
    words = each.channel.words
    label = axis_label(words, unit, units) if unit else words
    above.set_ylabel(fill(label, LABEL_CHARACTERS if len(label) <= LABEL_CHARACTERS else len(label) * 2 // 3))
    below.axhline(0.0, color=FAINT, linewidth=1.0)
    below.plot(minutes, measured - computed, color=COLOURS[1], linewidth=1.2)
    head(below, f"difference [{_difference_symbol(unit, units)}]" if unit else "difference")
    below.set_xlabel(quantity_label("time_s", suffix="min"))
    return figure


MOST_POINTS = 1500
LABEL_CHARACTERS = 28
"""A longer label of an upright axis takes two lines."""


def _thin(values: Array, per: int, step_s: float) -> tuple[Array, Array]:
    from ridesim.learn.driven import averaged

    means = averaged(values, per)
    middle: Array = (np.arange(len(means), dtype=np.float64) + 0.5) * per * step_s
    return convert(middle, "s", "min"), means


def _suffix(unit: str, units: str) -> str:
    from ridesim.report.style import shown_suffix

    return shown_suffix(unit, units)


def _difference_symbol(unit: str, units: str) -> str:
    return for_people(0.0, "k", units)[1] if unit == "c" else UNITS[_suffix(unit, units)].symbol


def balance_picture(result: Replay) -> Figure:
    """Return what is given and what is asked at the wheel, half minute by half minute, and the difference."""
    from ridesim.report.style import COLOURS, FAINT, axis_label, head, key, new_figure, quantity_label

    balance = result.balance
    assert balance is not None
    figure, (above, below) = new_figure(rows=2, heights=(2.0, 1.0))
    minutes = convert(balance.time_s, "s", "min")
    above.plot(minutes, balance.given_w, ".", color=COLOURS[0])
    above.plot(minutes, balance.asked_w, ".", color=COLOURS[2])
    above.margins(x=0.02)  # the rows share it: no dot is cut at the edge
    key(above, (("given by motor and rider", COLOURS[0], "-"), ("asked by the road", COLOURS[2], "--")))
    above.set_ylabel(axis_label("power at the wheel", "w"))
    below.axhline(0.0, color=FAINT, linewidth=1.0)
    below.plot(minutes, balance.given_w - balance.asked_w, ".", color=COLOURS[1])
    head(below, axis_label("given less asked", "w"))
    below.set_xlabel(quantity_label("time_s", suffix="min"))
    return figure
