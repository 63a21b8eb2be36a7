"""A build fitted to a log: what the log says of each key, how far to trust it, and which ride would tell more."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ridesim.learn.build_fit import BuildFit, FittedKey
from ridesim.learn.channels import compared
from ridesim.learn.menu import Suggestion
from ridesim.learn.priors import ROAD, WIND_EAST, WIND_NORTH
from ridesim.report.digits import to_error, with_error
from ridesim.report.text import duration
from ridesim.report.view import Table, View
from ridesim.units import suffix_of, told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_PAIRS = 6
WITHIN_NOISE = 2.0


def view(fit: BuildFit, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer of a fit of a build to a log."""
    driven = fit.problem.driven
    return View(
        title=f"What does {fit.path} say of {fit.loaded.path}?",
        question=(
            f"{duration(driven.count * driven.step_s)} of log; the model is driven by its {driven.speed_by} and "
            f"{driven.current_by}. The build's tolerances are the prior. Errors are one standard deviation."
        ),
        answer=tuple(told(line, units) for line in _answer(fit, fit.rides, units)),
        verdict=fit.verdict,
        tables=(_keys(fit), _skills(fit, units), *_of_log(fit), *_rides(fit.rides, units)),
        figures=_figures(fit, units) if pictures else (),
        notes=tuple(told(each, units) for each in fit.notes),
    )


def _answer(fit: BuildFit, suggestions: tuple[Suggestion, ...], units: str) -> list[str]:
    lines = [f"{doubt[0].upper()}{doubt[1:]}." for doubt in fit.doubts]
    skills = [each for each in fit.skills if each.name != ROAD]
    better = [each for each in skills if each.left < 0.8]
    if better:
        words = ", ".join(
            f"{each.words} {each.off(each.as_built, units)} -> {each.off(each.fitted, units)}" for each in better
        )
        lines.append(f"Blocks that were not fitted are predicted better than by the build as it stands: {words}.")
    elif all(each.as_built < WITHIN_NOISE * each.noise for each in skills):
        lines.append("The build as it stands predicts this log already, within what the sensors err.")
    else:
        lines.append("Blocks that were not fitted are predicted no better than by the build as it stands.")
    lines.append(f"The log tells {len(fit.told)} of {sum(not each.of_log for each in fit.keys)} uncertain numbers.")
    for pair in fit.pairs[:MOST_PAIRS]:
        lines.append(f"It tells {pair.one} and {pair.other} apart poorly (correlation {pair.correlation:+.2f}).")
    lines += _wind_words(fit)
    lines += [suggestion.words for suggestion in suggestions[:1]]
    return lines


WIND_UNTOLD = 0.6
"""Share of the prior's error left above which a log does not tell the wind (guess)."""


def _wind_words(fit: BuildFit) -> list[str]:
    """Say what a log leaves open of the wind, where it has a road at all."""
    if fit.problem.road is None:
        return []
    winds = [each for each in fit.keys if each.key in (WIND_EAST, WIND_NORTH)]
    if not winds:
        return [
            "No places are logged, so no wind is fitted: what it did is in drag and rolling. A GPX gives it: --road."
        ]
    if max(each.narrowed for each in winds) < WIND_UNTOLD:
        return []
    left = " and ".join(
        f"± {each.after_sd:.1f} m/s {name}" for each, name in zip(winds, ("east", "north"), strict=True)
    )
    return [f"The log does not tell the wind ({left}): ride there and back, or a round."]


def _keys(fit: BuildFit) -> Table:
    rows = [_row(each) for each in sorted(fit.keys, key=lambda one: one.narrowed) if not each.of_log]
    head = ("key", "as built", "fitted", "90 % interval", "error left", "moved")
    return Table("What the log says; error left: of the prior's", head, tuple(rows))


def _of_log(fit: BuildFit) -> tuple[Table, ...]:
    rows = tuple(_row(each) for each in fit.keys if each.of_log and each.narrowed < 1.0)
    head = ("of this log alone", "assumed", "found", "90 % interval", "error left", "moved")
    return (Table("Of the log, not of the bike", head, rows),) if rows else ()


def _row(each: FittedKey) -> tuple[str, ...]:
    low, high = (to_error(end, each.after_sd) for end in (each.low_90, each.high_90))
    return (
        each.key, with_error(each.before, each.before_sd), f"{with_error(each.after, each.after_sd)} {each.unit}",
        f"{low} to {high}", f"{each.narrowed:.0%}", f"{each.moved:+.1f}",
    )  # fmt: skip


def _skills(fit: BuildFit, units: str) -> Table:
    rows = tuple(
        (each.words, str(each.windows), each.off(each.as_built, units), each.off(each.fitted, units),
         f"{each.left:.0%}", each.off(each.noise, units))
        for each in fit.skills
    )  # fmt: skip
    head = ("channel", "windows", "off as built", "off fitted", "left", "a window's own error")
    return Table("Every other block is fitted, those between are predicted: rms of window means", head, rows)


def _rides(suggestions: tuple[Suggestion, ...], units: str) -> tuple[Table, ...]:
    if not suggestions:
        return ()
    rows = tuple((told(each.ride, units), each.narrows, f"{each.gain:.2f}") for each in suggestions)
    return (Table("Which ride would tell more", ("ride", "narrows most", "nats gained"), rows),)


def _figures(fit: BuildFit, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.replay.view import channel_picture

    found = [
        (
            "What the build allowed (grey) and what the log leaves (colour), 90 % each, in the build's own deviations.",
            interval_picture(fit),
        )
    ]
    build, _, followed = fit.problem.model(fit.solution.z)
    for each in compared(build, fit.problem.driven, followed):
        caption = f"{each.channel.words.capitalize()}: measured, and computed by the fitted build; difference below."
        found.append((caption, channel_picture(each, fit.problem.driven.step_s, units)))
    return tuple(found)


def picture_names(fit: BuildFit) -> tuple[str, ...]:
    """Return the names of the pictures, in order, as files."""
    names = [each.name for each in fit.problem.readings]
    return ("intervals", *(name.removesuffix(f"_{suffix_of(name)}") if suffix_of(name) else name for name in names))


def interval_picture(fit: BuildFit) -> Figure:
    """Return prior and posterior intervals of the told keys, in prior deviations about the build's value."""
    from ridesim.report.style import COLOURS, FAINT, WIDTH_MM, new_figure

    told_keys = sorted(fit.told, key=lambda one: one.narrowed) or list(fit.keys[:1])
    figure, (axes,) = new_figure(height_mm=30.0 + 9.0 * len(told_keys), width_mm=WIDTH_MM)
    places = np.arange(len(told_keys))[::-1]
    for place, each in zip(places, told_keys, strict=True):
        axes.plot([-1.645, 1.645], [place, place], color=FAINT, linewidth=6.0, alpha=0.35, solid_capstyle="butt")
        half = 1.645 * each.narrowed
        axes.plot([each.moved - half, each.moved + half], [place, place], color=COLOURS[0], linewidth=3.0)
        axes.plot([each.moved], [place], "o", color=COLOURS[0], markersize=5)
    axes.set_yticks(places, short_names([each.key for each in told_keys]))
    axes.axvline(0.0, color=FAINT, linewidth=1.0)
    axes.set_xlabel("tolerances of the build")
    axes.margins(x=0.05, y=0.02)
    return figure


def short_names(keys: Sequence[str]) -> list[str]:
    """Return keys as words without units; of those that read alike each with its section: `motor resistance`."""
    names = [_short(key) for key in keys]
    return [
        f"{key.partition('.')[0]} {name}" if names.count(name) > 1 else name
        for key, name in zip(keys, names, strict=True)
    ]


def _short(key: str) -> str:
    name = key.rpartition(".")[2] if not key.startswith("pack.cell") else "cell " + key.rpartition(".")[2]
    suffix = suffix_of(name)
    return name.removesuffix(f"_{suffix}").replace("_", " ") if suffix else name.replace("_", " ")
