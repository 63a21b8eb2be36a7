"""Pictures of "how sure is it?": bands along the road, distributions, and what carries the spread."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ridesim.bike.second import drives_of
from ridesim.report import style
from ridesim.report.spread.asked import WINDINGS, answer_words
from ridesim.sure.batch import SECOND_WINDING
from ridesim.units import from_si, suffix_of

if TYPE_CHECKING:
    from ridesim.sure.spread import Spread

SHOWN = ("total_time_s", "net_energy_wh", "charge_left_fraction", *WINDINGS, "peak_pack_current_a")
BINS = 40
MOST_BARS = 10
LEAST_SHARE = 0.005
LEAST_SPREAD = 1e-3
"""Draws that differ by less, in parts of the largest, are one and the same."""


def draw_along(result: Spread, units: str = "metric") -> Figure:
    """Return winding temperature and charge along the road: the nominal line inside the band of the draws.

    Of two different drives each winding has a panel.
    """
    drives = drives_of(result.loaded.build)
    figure, panels = style.new_figure(rows=1 + len(drives), height_mm=65.0 * (1 + len(drives)))
    *heat, charge = panels
    names = ("winding",) if len(drives) == 1 else ("first winding", "second winding")
    for axes, name, words, drive in zip(heat, ("winding_temp_c", SECOND_WINDING), names, drives, strict=False):
        _band(result, axes, name, units, words, style.COLOURS[0])
        limit = float(style.in_units(drive.motor.winding_limit_c, "c", units))
        style.limit_line(axes, limit, f"class {drive.motor.insulation_class}")
    _band(result, charge, "charge_fraction", units, "charge left", style.COLOURS[1])
    entries = [("as it stands", style.INK, "-"), ("half of the bikes above, half below", style.COLOURS[0], (0, (4, 2)))]
    style.key(heat[0], entries, columns=1)
    charge.set_xlabel(style.quantity_label("distance_km", units))
    charge.set_xlim(left=0.0)
    return figure


def _band(result: Spread, axes: Axes, name: str, units: str, words: str, colour: str) -> None:
    suffix = suffix_of(name)
    scale = (lambda values: style.in_units(values, suffix, units)) if suffix else (
        lambda values: from_si(np.asarray(values), "percent"))  # fmt: skip
    places, low, middle, high = result.band(name)
    at = style.in_units(from_si(places, "km"), "km", units)
    axes.fill_between(at, scale(low), scale(high), color=colour, alpha=0.25, linewidth=0.0)
    axes.plot(at, scale(middle), color=colour, linestyle=(0, (4, 2)), linewidth=1.2)
    axes.plot(at, scale(result.nominal.band[name][0]), color=style.INK)
    axes.set_ylabel(style.axis_label(words, suffix or "percent", units))


def draw_answers(result: Spread, units: str = "metric") -> Figure:
    """Return the distributions of the main answers, one below the other."""
    shown = [name for name in SHOWN if _is_spread(result, name)] or ["peak_winding_temp_c"]
    figure, rows = style.new_figure(rows=len(shown), height_mm=46.0 * len(shown), share_x=False)
    for axes, name in zip(rows, shown, strict=True):
        _distribution(axes, result, name, units)
    return figure


def _is_spread(result: Spread, name: str) -> bool:
    """Whether an answer has draws that differ: what none of them has, or all share, is an empty panel."""
    if name not in result.drawn.names:
        return False
    values = result.values(name)
    return bool(len(values)) and float(np.ptp(values)) > LEAST_SPREAD * float(np.abs(values).max())


def _distribution(axes: Axes, result: Spread, name: str, units: str) -> None:
    suffix = {"total_time_s": "min"}.get(name, suffix_of(name) or "percent")
    values = _in_shown(result.values(name), name, units)
    axes.hist(
        values, bins=BINS, color=style.COLOURS[0], alpha=0.75, weights=np.full(len(values), 1.0 / max(len(values), 1))
    )
    ends = result.span(name)
    if ends is not None:
        low, high = _in_shown(np.array(ends), name, units)
        axes.axvspan(float(low), float(high), color=style.COLOURS[0], alpha=0.12, linewidth=0.0)
    nominal = result.as_built(name)
    if nominal is not None:
        axes.axvline(float(_in_shown(np.array([nominal]), name, units)[0]), color=style.INK, linewidth=1.6)
    if name in WINDINGS:
        motor = drives_of(result.loaded.build)[WINDINGS.index(name)].motor
        limit = float(style.in_units(motor.winding_limit_c, "c", units))
        axes.axvline(limit, color=style.LIMIT_COLOUR, linestyle=(0, (5, 3)), linewidth=1.4)
        style.tag(axes, limit, axes.get_ylim()[1], "limit", style.LIMIT_COLOUR, offset=(3, -4), align=("left", "top"))
    axes.set_yticks([])
    axes.set_xlabel(style.axis_label(answer_words(result, name), suffix, units))


def _in_shown(values: np.ndarray, name: str, units: str) -> np.ndarray:
    if name == "total_time_s":
        return np.asarray(from_si(values, "min"))
    suffix = suffix_of(name)
    return style.in_units(values, suffix, units) if suffix else np.asarray(from_si(values, "percent"))


def draw_carriers(result: Spread, shares: np.ndarray) -> Figure:
    """Return the shares of what is asked about as bars, the largest on top."""
    from ridesim.report.spread.view import key_words

    order = [at for at in np.argsort(-shares, kind="stable").tolist() if shares[at] >= LEAST_SHARE][:MOST_BARS]
    figure, (axes,) = style.new_figure(height_mm=24.0 + 11.0 * max(len(order), 1))
    for row, at in enumerate(order):
        share = float(from_si(shares[at], "percent"))
        axes.barh(row, share, color=style.COLOURS[0], height=0.55)
        style.tag(
            axes,
            share,
            row,
            f"{key_words(result.doubts.numbers[at].key)}, {share:.0f} %",
            style.INK,
            align=("left", "center"),
        )
    axes.set_ylim(max(len(order), 1) - 0.4, -0.6)
    axes.set_yticks([])
    axes.set_xlim(0.0, float(from_si(shares.max(initial=0.01), "percent")) * 3.0)
    axes.set_xlabel(style.axis_label("share of the variance, alone", "percent"))
    return figure
