"""Pictures of the studies: one colour a build in every panel, no empty panel, words clear of the data."""

from __future__ import annotations

import numpy as np
from matplotlib.colors import to_hex

from ridesim.report.compare.figure import draw_along, draw_losses
from ridesim.report.regen.figure import draw_along as draw_regen
from ridesim.report.style import clear_side
from ridesim.road.made import make_flat, make_hills
from ridesim.studies.compare import compare
from ridesim.studies.regen import regen

from ..bikes import bike

HUB = {"drive.stage": [], "motor.kv_rpm_per_v": 8.0}


def test_a_build_has_one_colour_in_every_panel():
    found = compare([bike(), bike({"rider.mass_kg": 95.0}), bike(HUB)], [make_hills(2000.0, 20.0, 1000.0)])
    road = found.roads[0]
    bars = draw_losses(found, road).axes[0]
    count, kinds = len(found.entries), len(bars.patches) // len(found.entries)
    by_bar = [to_hex(bars.patches[index * kinds].get_facecolor()) for index in range(count)]
    _, speed, winding = draw_along(found, road).axes
    for panel in (speed, winding):
        assert [to_hex(line.get_color()) for line in panel.lines[:count]] == by_bar
    assert len(set(by_bar)) == count
    assert "-0.0" not in {text.get_text() for text in bars.texts}  # a hub motor has no stage to lose anything in


def test_brakes_that_take_nothing_have_no_panel_and_others_their_own_scale():
    level = regen(bike(), make_flat(3000.0))
    assert len(draw_regen(level).axes) == 2
    hills = regen(bike({"controller.brake_current_limit_a": 8.0}), make_hills(4000.0, 60.0, 2000.0))
    axes = draw_regen(hills).axes
    assert len(axes) == 3
    rubbed = max(float(trace.friction_wh[-1]) for trace in hills.traces)
    assert rubbed < axes[2].get_ylim()[1] < 1.3 * rubbed


def test_words_on_a_level_stand_where_the_curve_is_far():
    assert clear_side(np.linspace(100.0, 0.0, 20), 5.0) == 0.01
    assert clear_side(np.linspace(0.0, 100.0, 20), 5.0) == 0.99
    assert clear_side([np.nan, np.nan], 5.0) == 0.01
