"""Pictures of "which ratio?": the trade-off against the ratio, the candidate to take marked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from ridesim.report import style
from ridesim.units import shown

if TYPE_CHECKING:
    from ridesim.studies.ratio_choice import RatioCase
    from ridesim.studies.ratios import Ratios

HEIGHT_MM = 135.0
PAD_SHARE, HEADROOM = 0.04, 0.22
"""Room beside the outermost points, and above the top picture for its words, as shares of the axis."""
ROUND_KV = tuple(
    base * 10.0**power for power in range(-1, 4) for base in (1.0, 1.2, 1.6, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
)
TICK_SHARE = 0.09
"""Least distance of two ticks along the top, as a share of the axis."""


def draw_road(result: Ratios, units: str = "metric") -> Figure:
    """Return energy, temperatures and current on the road against the ratio."""
    figure, (energy, heat, current) = style.new_figure(rows=3, height_mm=HEIGHT_MM)
    _points(energy, result, lambda case: case.net_wh_per_km if case.figures.finished else np.nan, "wh_per_km", units)
    energy.set_ylabel(style.quantity_label("net_wh_per_km", units))
    _points(heat, result, lambda case: case.figures.peak_winding_temp_c, "c", units)
    heat.set_ylabel(style.quantity_label("winding_temp_c", units))
    if result.ceilings is not None:
        ceiling = float(style.in_units(result.ceilings.max_winding_c, "c", units))
        hot = style.in_units([case.figures.peak_winding_temp_c for case in result.cases], "c", units)
        style.limit_line(heat, ceiling, "ceiling", at=style.clear_side(hot, ceiling), below=True)
    _points(current, result, lambda case: case.figures.sustained_motor_current_a, "a", units)
    current.set_ylabel(style.axis_label("sustained\nmotor", "a"))
    _from_zero(current)
    _finish(result, energy, current)
    return figure


def draw_performance(result: Ratios, units: str = "metric") -> Figure:
    """Return top speed, time from rest and steepest start against the ratio."""
    figure, (speed, time, start) = style.new_figure(rows=3, height_mm=HEIGHT_MM)
    _points(speed, result, lambda case: case.top_speed_cold_pedalled_half_charge_km_h, "km_h", units)
    speed.set_ylabel(style.axis_label("top speed\nhalf charge\n", "km_h", units).replace("\n ", "\n"))
    if result.ceilings is not None:
        least = float(style.in_units(result.ceilings.min_top_speed_km_h, "km_h", units))
        fast = style.in_units([case.top_speed_cold_pedalled_half_charge_km_h for case in result.cases], "km_h", units)
        style.limit_line(speed, least, "wanted at least", at=style.clear_side(fast, least))
    _points(time, result, lambda case: np.nan if case.accelerate_s is None else case.accelerate_s, "s", units)
    time.set_ylabel(style.axis_label(f"time to\n{shown(result.accelerate_to_km_h, 'km_h', units, 0)}", "s"))
    _from_zero(time)
    _points(start, result, lambda case: case.steepest_start_percent, "percent", units)
    start.set_ylabel(style.axis_label("steepest\nstart", "percent"))
    _from_zero(start)
    _finish(result, speed, start)
    return figure


def _points(axes: Axes, result: Ratios, value: Callable[[RatioCase], float], suffix: str, units: str) -> None:
    """Draw one figure of every candidate; hollow where a ceiling is broken."""
    axes.margins(y=0.12)
    x = np.array([case.reduction.ratio for case in result.cases])
    y = style.in_units([value(case) for case in result.cases], suffix, units)
    faults = result.choice.broken if result.choice is not None else ((),) * len(x)
    broken = np.array([bool(each) for each in faults])
    axes.plot(x, y, color=style.COLOURS[1], linewidth=1.0)
    axes.plot(x[~broken], y[~broken], "o", color=style.COLOURS[1], markersize=5)
    axes.plot(x[broken], y[broken], "o", color=style.COLOURS[1], markersize=5, markerfacecolor="white")


def _from_zero(axes: Axes) -> None:
    """Let an axis begin at zero and end above its highest point."""
    drawn = np.concatenate([np.asarray(line.get_ydata(), dtype=np.float64) for line in axes.lines])
    highest = float(np.max(drawn, where=np.isfinite(drawn), initial=0.0))
    if highest > 0.0:
        axes.set_ylim(0.0, 1.15 * highest)


def _finish(result: Ratios, top: Axes, bottom: Axes) -> None:
    """Mark the chosen and the present ratio, and write Kv / ratio along the top."""
    bottom.set_xlabel("ratio (motor-side turns per wheel-side turn)")
    x = [case.reduction.ratio for case in result.cases]
    pad = PAD_SHARE * (x[-1] - x[0]) or PAD_SHARE * x[0]
    bottom.set_xlim(x[0] - pad, x[-1] + pad)
    figure = top.get_figure(root=True)
    axes = list(figure.axes) if figure is not None else [top, bottom]
    low, high = bottom.get_xlim()
    if result.choice is not None:
        case = result.cases[result.choice.index]
        words = f"{'take' if result.choice.keeps_all else 'least bad'} {case.reduction.words}"
        _mark(axes, case.reduction.ratio, style.COLOURS[0], "-")
        left = case.reduction.ratio < 0.5 * (low + high)
        _name_mark(top, case.reduction.ratio, words, style.COLOURS[0], left=left, above=True)
    if low <= result.present_ratio <= high:
        _mark(axes, result.present_ratio, style.FAINT, ":")
        left = result.present_ratio < low + 0.9 * (high - low)
        _name_mark(bottom, result.present_ratio, "now", style.FAINT, left=left, above=False)
    _kv_axis(result, top)


def _mark(axes: Sequence[Axes], at: float, colour: str, dash: str) -> None:
    for each in axes:
        each.axvline(at, color=colour, linewidth=1.2, linestyle=dash, zorder=0.8)


def _name_mark(axes: Axes, at: float, words: str, colour: str, *, left: bool, above: bool) -> None:
    """Name an upright line inside the picture, to its right where `left` says that it stands on the left."""
    low, high = axes.get_ylim()
    if above:
        high += HEADROOM * (high - low)
    align = ("left" if left else "right", "top" if above else "bottom")
    style.tag(
        axes, at, high if above else low, words, colour, offset=(4 if left else -4, -2 if above else 3), align=align
    )
    axes.set_ylim(low, high)


def _kv_axis(result: Ratios, axes: Axes) -> None:
    first = result.cases[0]
    kv = first.wheel_kv_rpm_per_v * first.reduction.ratio

    def turned(value: ArrayLike) -> ArrayLike:
        """Return a Kv over ratio [rpm/V] for a ratio, or the ratio for it."""
        return kv / np.maximum(np.asarray(value, dtype=np.float64), 1e-6)

    above = axes.secondary_xaxis("top", functions=(turned, turned))
    above.set_xlabel(style.axis_label("Kv / ratio", "rpm_per_v"), fontsize=axes.xaxis.label.get_fontsize())
    above.tick_params(labelsize=axes.xaxis.label.get_fontsize())
    above.set_xticks(_round_ticks(kv, *axes.get_xlim()))


def _round_ticks(kv: float, low: float, high: float) -> list[float]:
    """Return round values of Kv / ratio that stand apart along ratios from `low` to `high`."""
    ticks: list[float] = []
    last = -np.inf
    for value in sorted(ROUND_KV, reverse=True):
        at = kv / value
        if low <= at <= high and at - last >= TICK_SHARE * (high - low):
            ticks.append(value)
            last = at
    return ticks
