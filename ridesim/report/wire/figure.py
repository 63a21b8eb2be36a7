"""How warm the leads get along a ride."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from ridesim.report.style import COLOURS, DASHES, axis_label, in_units, key, limit_line, new_figure, quantity_label
from ridesim.units import from_si, told
from ridesim.workshop.wire.harness import Harness
from ridesim.workshop.wire.tables import bounded_insulation, insulation

HEADROOM_SHARE = 0.15
"""Room above the limit for its words, as a share of it."""


def draw_leads(result: Harness, units: str = "metric") -> Figure:
    """Draw each lead's conductor temperature over the time of the ride [min]."""
    figure, (axes,) = new_figure()
    time = from_si(np.asarray(result.currents.time_s), "min")
    entries, hottest = [], 0.0
    ridden = [lead for lead in result.leads if lead.along is not None]
    for lead, colour, dash in zip(ridden, COLOURS, DASHES, strict=False):
        if lead.along is None:
            continue
        temps = in_units(lead.along.conductor_c, "c", units)
        axes.plot(time, temps, color=colour, linestyle=dash)
        wire = lead.chosen.wire if lead.chosen else lead.tried[-1].wire
        each = " of each" if lead.kind in ("controller", "phase") and result.currents.controllers > 1 else ""
        entries.append((f"{lead.kind} lead{each}, {wire}", colour, dash))
        hottest = max(hottest, float(temps.max()))
    bound = bounded_insulation(insulation(result.jacket), result.joint_limit_c)
    limit = float(in_units(bound.limit_c, "c", units))
    limit_line(axes, limit, told(bound.limit_words, units), at=0.99)
    axes.set_ylim(top=max(hottest, limit) + HEADROOM_SHARE * limit)
    axes.set_xlabel(quantity_label("time_s", suffix="min"))
    axes.set_ylabel(axis_label("copper", "c", units))
    key(axes, entries)
    return figure
