"""Wires: heating in time, leads, fuse, strips, plugs and pre-charge; independent solutions and properties."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from ridesim.errors import BuildError, RideError
from ridesim.workshop.wire.contacts import check_connector, check_strip, choose_strip
from ridesim.workshop.wire.fuse import FUSE_SERIES, FuseSeries, choose_fuse, judge_kind, judge_peak, judge_window
from ridesim.workshop.wire.heat import (
    lead_loss_w_per_m,
    steady_current_limit_a,
    steady_temp_c,
    surface_loss_w_per_m,
    verdict_on_temp,
)
from ridesim.workshop.wire.lead import LeadLoad, check_lead, choose_lead, conductor_rms_a
from ridesim.workshop.wire.precharge import E12, check_precharge, choose_precharge, inrush_current_a, judge_precharge
from ridesim.workshop.wire.ride import lead_along_ride, short_time_current_a, short_time_s, short_time_temp_c
from ridesim.workshop.wire.tables import (
    INSULATIONS,
    WireSystem,
    bounded_insulation,
    grouping_factor,
    heat_capacity_j_per_m_k,
    insulation,
    outer_diameter_mm,
    standard_wires,
    wire_awg,
    wire_mm2,
)

WIRE = wire_awg(12)
SILICONE = insulation("silicone")
PACK = LeadLoad("pack", rms_current_a=22.0, peak_current_a=45.0, peak_s=10.0, length_m=0.8, pack_voltage_v=48.0)


def test_copper_rule_is_0_393_percent_a_kelvin() -> None:
    assert WIRE.resistance_ohm_per_m(120.0) / WIRE.resistance_ohm_per_m(20.0) == pytest.approx(1.393, abs=5e-4)


@pytest.mark.parametrize("system", ["awg", "mm2"])
def test_thicker_wires_resist_less_and_carry_more(system: WireSystem) -> None:
    wires = standard_wires(system)
    resistances = [wire.resistance_ohm_per_km for wire in wires]
    limits = [steady_current_limit_a(wire, SILICONE, 30.0) for wire in wires]
    assert resistances == sorted(resistances, reverse=True)
    assert limits == sorted(limits)


def test_steady_temperature_inverts_the_current_limit() -> None:
    for jacket in INSULATIONS.values():
        current = steady_current_limit_a(WIRE, jacket, 25.0)
        assert steady_temp_c(WIRE, jacket, current, 25.0) == pytest.approx(jacket.limit_c, abs=1e-4)


def test_steady_balance_closes_at_the_surface() -> None:
    """The heat through the jacket is the heat off the surface: rebuilt by hand from the two resistances."""
    loss = lead_loss_w_per_m(WIRE, SILICONE, 90.0, 25.0)
    outer = outer_diameter_mm(WIRE)
    surface = 90.0 - loss * math.log(outer / WIRE.diameter_mm) / (math.tau * SILICONE.conductivity_w_per_m_k)
    assert 25.0 < surface < 90.0
    assert surface_loss_w_per_m(surface, 25.0, outer) == pytest.approx(loss, rel=1e-6)


@pytest.mark.parametrize(
    ("leads", "printed"),
    [(1, 1.0), (2, 0.80), (3, 0.70), (4, 0.65), (5, 0.60), (6, 0.57), (7, 0.54), (8, 0.52), (9, 0.50), (12, 0.45),
     (16, 0.41), (20, 0.38)],
)  # fmt: skip
def test_leads_in_one_sleeve_carry_what_iec_60364_5_52_table_b_52_17_leaves_them_from_memory(
    leads: int, printed: float
) -> None:
    factor = grouping_factor(leads)
    assert factor == printed
    alone, bunched = (steady_current_limit_a(WIRE, SILICONE, 25.0, grouping=each) for each in (1.0, factor))
    assert bunched == pytest.approx(printed * alone, rel=1e-9)


def test_a_bunch_between_two_entries_takes_the_larger() -> None:
    assert grouping_factor(10) == grouping_factor(12) == 0.45


def test_melting_is_an_answer() -> None:
    assert steady_temp_c(WIRE, SILICONE, 0.0, 25.0) == 25.0
    assert steady_temp_c(WIRE, SILICONE, 2000.0, 25.0) is None
    assert steady_current_limit_a(WIRE, SILICONE, 200.0) == 0.0


@settings(deadline=None, max_examples=25)
@given(low=st.floats(1.0, 60.0), more=st.floats(0.1, 40.0))
def test_more_current_is_never_cooler(low: float, more: float) -> None:
    cool, warm = (steady_temp_c(WIRE, SILICONE, each, 25.0) for each in (low, low + more))
    assert cool is not None and warm is not None
    assert warm > cool > 25.0


@given(
    area=st.floats(0.5, 35.0), seconds=st.floats(0.05, 10.0), start=st.floats(-10.0, 120.0), rise=st.floats(5.0, 200.0)
)
def test_short_time_forms_invert_each_other(area: float, seconds: float, start: float, rise: float) -> None:
    current = short_time_current_a(area, seconds, start, start + rise)
    assert short_time_s(area, current, start, start + rise) == pytest.approx(seconds, rel=1e-9)
    assert short_time_temp_c(area, current, seconds, start) == pytest.approx(start + rise, rel=1e-9)


def test_short_time_heat_stops_at_melting_and_needs_room() -> None:
    assert short_time_temp_c(1.0, 1e6, 10.0, 25.0) == pytest.approx(1083.0)
    assert short_time_current_a(1.0, 1.0, 90.0, 80.0) == 0.0


def test_heat_capacity_is_copper_plus_a_tube_of_jacket() -> None:
    copper, outer = WIRE.area_mm2, WIRE.diameter_mm + 2 * 0.8
    tube = math.pi * (outer / 2) ** 2 - math.pi * (WIRE.diameter_mm / 2) ** 2
    assert heat_capacity_j_per_m_k(WIRE, SILICONE) == pytest.approx(3.45 * copper + 1.6 * tube)


def test_lead_along_ride_settles_at_the_steady_temperature() -> None:
    found = lead_along_ride(WIRE, SILICONE, [0.0, 1500.0, 3000.0], [50.0] * 3, air_c=25.0)
    steady = steady_temp_c(WIRE, SILICONE, 50.0, 25.0)
    assert steady is not None
    assert found.conductor_c[-1] == pytest.approx(steady, abs=0.3)  # loss tabulated, linear between
    assert found.rms_current_a == pytest.approx(50.0)


def test_lead_along_ride_starts_as_onderdonk_says() -> None:
    """A tenth of a second leaves no time to cool: copper alone sets the slope, the jacket slows it by its share."""
    found = lead_along_ride(WIRE, SILICONE, [0.0, 0.1], [300.0, 300.0], air_c=25.0)
    copper_only = short_time_temp_c(WIRE.area_mm2, 300.0, 0.1, 25.0) - 25.0
    share = 3.45 * WIRE.area_mm2 / heat_capacity_j_per_m_k(WIRE, SILICONE)
    # 5 % for stranding, 2 % between Onderdonk's constants and copper's.
    assert found.peak_c - 25.0 == pytest.approx(copper_only * share * 1.05, rel=0.03)


def test_lead_along_ride_against_an_independent_integrator() -> None:
    times = np.linspace(0.0, 600.0, 1201)
    currents = 45.0 + 30.0 * np.sin(times / 20.0)
    found = lead_along_ride(WIRE, SILICONE, times, currents, air_c=20.0)
    capacity = heat_capacity_j_per_m_k(WIRE, SILICONE)

    def slope(time: float, state: list[float]) -> list[float]:
        current = currents[min(int(time / 0.5), 1200)]
        heat = current**2 * WIRE.resistance_ohm_per_m(state[0])
        return [(heat - lead_loss_w_per_m(WIRE, SILICONE, state[0], 20.0)) / capacity]

    truth = solve_ivp(slope, (0.0, 600.0), [20.0], t_eval=times[::100], max_step=0.5, rtol=1e-4)
    assert found.conductor_c[::100] == pytest.approx(truth.y[0], abs=0.3)  # loss tabulated, held through 5 % of tau


def test_lead_along_ride_counts_the_time_over_the_limit() -> None:
    pvc = insulation("pvc")
    found = lead_along_ride(WIRE, pvc, np.arange(0.0, 900.0, 1.0), np.full(900, 55.0), air_c=25.0)
    over = float(np.sum(found.conductor_c[1:] > 70.0))
    assert found.verdict == "stop"
    assert 0.0 < found.time_over_limit_s == pytest.approx(over)
    assert found.peak_at_s == 899.0


def test_lead_along_ride_melts_once_and_stays() -> None:
    found = lead_along_ride(wire_awg(24), SILICONE, [0.0, 5.0, 10.0], [200.0] * 3, air_c=25.0)
    assert found.peak_c == 1083.0


def test_lead_voltage_drop_by_hand() -> None:
    found = check_lead(WIRE, PACK)
    assert found.steady_c is not None
    ohm = 5.2107e-3 * 1.05 * 2 * 0.8 * (found.steady_c + 234.5) / 254.5
    assert found.drop_rms_v == pytest.approx(22.0 * ohm, rel=1e-4)
    assert found.drop_peak_percent == pytest.approx(100 * 45.0 * ohm / 48.0, rel=1e-4)
    assert found.loss_rms_w == pytest.approx(22.0**2 * ohm, rel=1e-4)


def test_a_phase_lead_peaks_at_its_crest() -> None:
    """The motor pushes at standstill: one lead carries 2/sqrt(3) of the DC-equivalent current for good (six-step)."""
    load = LeadLoad("phase", 5.0, 80.0, 3.0, 0.2, 400.0)
    found = check_lead(WIRE, load, joint_limit_c=180.0)
    assert found.steady_c is not None
    hot = short_time_temp_c(WIRE.area_mm2, 80.0 * 2.0 / math.sqrt(3.0), 3.0, found.steady_c)
    assert found.peak_c == pytest.approx(hot)


def test_phase_leads_lose_what_three_conductors_lose() -> None:
    phase = LeadLoad("phase", 30.0, 60.0, 5.0, 0.5, 48.0)
    found = check_lead(WIRE, phase)
    assert found.steady_c is not None
    each = found.conductor_rms_a**2 * WIRE.resistance_ohm_per_m(found.steady_c) * 0.5
    assert found.loss_rms_w == pytest.approx(3.0 * each, rel=1e-9)
    # A sine drive with amplitude I_q = 2/sqrt(3) I has the rms I_q/sqrt(2).
    assert found.conductor_rms_a == pytest.approx(2 / math.sqrt(3) * 30.0 / math.sqrt(2))


def test_choice_is_the_thinnest_fine_wire() -> None:
    for system in ("awg", "mm2"):
        found = choose_lead(PACK, system=system)  # type: ignore[arg-type]
        assert found.recommended is not None and found.verdict == "fine"
        place = found.tried.index(found.recommended)
        assert place > 0
        assert all(each.verdict != "fine" for each in found.tried[:place])
        assert found.recommended.current_limit_a > 22.0


def test_choice_by_heat_and_by_voltage_drop() -> None:
    long_lead = LeadLoad("charge", 5.0, 5.0, 0.0, 6.0, 42.0)
    found = choose_lead(long_lead)
    thin = next(each for each in found.tried if each.wire == "AWG 20")
    assert (thin.verdict, "voltage lost" in thin.reason) == ("look again", True)
    hot = check_lead(wire_awg(20), LeadLoad("pack", 30.0, 30.0, 0.0, 0.2, 48.0))
    assert (hot.verdict, "for good" in hot.reason) == ("stop", True)
    burst = check_lead(wire_awg(20), LeadLoad("pack", 5.0, 150.0, 5.0, 0.1, 48.0))
    assert (burst.verdict, "after the peak" in burst.reason) == ("stop", True)
    nothing = choose_lead(LeadLoad("pack", 900.0, 900.0, 0.0, 1.0, 48.0))
    assert (nothing.recommended, nothing.verdict) == (None, "stop")


@pytest.mark.parametrize(
    ("temp", "verdict"), [(74.9, "fine"), (75.1, "look again"), (90.09, "look again"), (90.11, "stop"), (158.0, "stop")]
)
def test_a_lead_is_held_to_what_its_joints_stand(temp: float, verdict: str) -> None:
    """Silicone bears 180 degC; the solder, the sleeve and the plug beside it end near 90."""
    current = steady_current_limit_a(WIRE, SILICONE, 30.0, limit_c=temp)
    load = LeadLoad("pack", current, current, 0.0, 0.1, 400.0)
    found = check_lead(WIRE, load)
    assert found.verdict == verdict, found.reason
    assert "joints and sleeves stand 90 °C" in found.reason
    said = check_lead(WIRE, load, joint_limit_c=180.0)
    assert said.verdict == "fine" and "silicone stands 180 °C" in said.reason
    assert found.current_limit_a < said.current_limit_a


def test_the_jacket_holds_where_it_is_the_weaker() -> None:
    found = bounded_insulation(insulation("pvc"), 90.0)
    assert (found.limit_c, found.limit_words) == (70.0, "pvc stands 70 °C")
    assert bounded_insulation(SILICONE, 120.0).limit_words == "joints and sleeves stand 120 °C"
    assert bounded_insulation(SILICONE, 90.0).short_limit_words == "soft solder stands 160 °C for seconds"
    assert bounded_insulation(SILICONE, 120.0).short_time_limit_c == 350.0


def test_soft_solder_bounds_the_peak() -> None:
    burst = LeadLoad("pack", 5.0, 400.0, 1.7, 0.1, 400.0)
    found = check_lead(WIRE, burst)
    assert 160.0 < found.peak_c < 335.0
    assert found.verdict == "stop" and "soft solder" in found.reason
    assert check_lead(WIRE, burst, joint_limit_c=180.0).verdict == "fine"


def test_temperature_verdict_at_both_sides() -> None:
    assert [verdict_on_temp(each, 90.0) for each in (75.0, 75.1, 90.09, 90.11)] == [
        "fine", "look again", "look again", "stop",
    ]  # fmt: skip


@pytest.mark.parametrize(("drop", "verdict"), [(2.99, "fine"), (3.01, "look again")])
def test_voltage_drop_at_both_sides(drop: float, verdict: str) -> None:
    thick = wire_awg(4)
    warm = check_lead(thick, LeadLoad("pack", 10.0, 10.0, 0.0, 1.0, 48.0))
    length = drop / warm.drop_rms_percent
    found = check_lead(thick, LeadLoad("pack", 10.0, 10.0, 0.0, length, 48.0))
    assert found.verdict == verdict


def test_what_has_no_steady_temperature_is_stopped_with_its_words() -> None:
    """A hair-thin lead and a strip at a current that no copper or nickel of that size stands for good."""
    thin = check_lead(wire_awg(30), dataclasses.replace(PACK, rms_current_a=40.0))
    assert (thin.verdict, thin.reason) == ("stop", "the wire melts at the rms current")
    strip = check_strip(150.0, 8.0, 0.1, 20.0, metal="nickel")
    assert strip.verdict == "stop" and "no steady temperature" in strip.reason


def test_fuse_window_peak_and_voltage_at_both_sides() -> None:
    assert (judge_window(40.0, 30.0, 50.0, "wire")[0], judge_window(None, 30.0, 31.0, "plug")[0]) == ("fine", "stop")
    assert "larger plug" in judge_window(None, 30.0, 31.0, "plug")[1]
    assert [judge_peak(40.0, peak, 1.0)[0] for peak in (53.9, 54.1)] == ["fine", "look again"]
    assert [judge_peak(40.0, 60.0, seconds)[0] for seconds in (0.5, 0.6)] == ["fine", "look again"]
    blade = choose_fuse(20.0, 60.0, 50.0, series="blade").kind
    assert blade is not None
    volts = [judge_kind(blade, "blade", each, 900.0)[0][0] for each in (57.9, 58.1)]
    shorts = [judge_kind(blade, "blade", 50.0, each)[1][0] for each in (999.0, 1001.0)]
    assert volts == shorts == ["fine", "stop"]


def test_blade_fuses_are_refused_at_84_v_and_a_dc_kind_is_named() -> None:
    blade = choose_fuse(22.0, 60.0, 84.0, series="blade")
    assert blade.verdict == "stop" and "32 V" in blade.reason and "58 V" in blade.reason and "r10" in blade.reason
    for load, size in ((4.0, "10 x 38"), (22.0, "10 x 38"), (30.0, "14 x 51"), (60.0, "22 x 58"), (90.0, "bolt-down")):
        found = choose_fuse(load, 10.0 * load, 84.0, pack_resistance_mohm=60.0)
        assert found.kind is not None and found.verdict == "fine"
        assert found.kind.name.startswith(size) and found.kind.rated_voltage_v >= 84.0
        assert found.rating_a is not None and found.rating_a <= found.kind.up_to_a
    assert choose_fuse(90.0, 900.0, 130.0).verdict == "stop"  # a bolt-down one ends at 125 V


def test_fuse_never_passes_plug_or_strips() -> None:
    """24 A that lasts asks for 32 A or more: the wire bears 60 A, the plug 35 A, the strips 31 A."""
    free = choose_fuse(24.0, 60.0, 54.6)
    assert (free.rating_a, free.highest_by) == (40.0, "wire")
    plug = choose_fuse(24.0, 60.0, 54.6, guarded={"plug": 35.0})
    assert (plug.rating_a, plug.verdict, plug.highest_by) == (None, "stop", "plug")
    strips = choose_fuse(22.0, 60.0, 54.6, guarded={"plug": 50.0, "strips": 31.6})
    assert (strips.rating_a, strips.highest_by, strips.highest_a) == (31.5, "strips", 31.6)


@pytest.mark.parametrize("series", ["r10", "blade"])
@given(sustained=st.floats(1.0, 50.0), ratio=st.floats(1.0, 4.0))
def test_fuse_lies_between_load_and_wire(series: FuseSeries, sustained: float, ratio: float) -> None:
    found = choose_fuse(sustained, sustained * ratio, 54.6, series=series)
    window = [r for r in FUSE_SERIES[series] if sustained / 0.75 <= r <= sustained * ratio]
    assert found.rating_a == (min(window) if window else None)
    assert found.verdict == ("fine" if window else "stop")


def test_fuse_series_and_remarks() -> None:
    found = choose_fuse(22.0, 60.0, 54.6, pack_resistance_mohm=91.0)
    assert found.rating_a == 31.5
    assert found.short_circuit_a == pytest.approx(600.0)
    assert any("DC" in remark and "55 V" in remark for remark in found.remarks)
    assert choose_fuse(22.0, 60.0, 54.6, series="blade").rating_a == 30.0


def test_fuse_that_a_long_peak_may_blow() -> None:
    brief = choose_fuse(22.0, 60.0, 54.6, peak_current_a=50.0, peak_s=0.2)
    long = choose_fuse(22.0, 60.0, 54.6, peak_current_a=50.0, peak_s=20.0)
    assert (brief.rating_a, brief.verdict) == (31.5, "fine")
    assert (long.rating_a, long.verdict) == (40.0, "fine")  # 50 A is under 1.35 times 40 A
    thin = choose_fuse(22.0, 35.0, 54.6, peak_current_a=50.0, peak_s=20.0)  # 40 A is past this wire
    assert (thin.rating_a, thin.verdict) == (31.5, "look again")


def test_strip_current_limit_brings_the_allowed_rise() -> None:
    for metal in ("nickel", "copper"):
        limit = check_strip(1.0, 8.0, 0.15, 20.0, metal=metal).current_limit_a  # type: ignore[arg-type]
        found = check_strip(limit, 8.0, 0.15, 20.0, metal=metal)  # type: ignore[arg-type]
        assert found.rise_k == pytest.approx(20.0)
        assert found.needed_thickness_mm == pytest.approx(0.15)


@given(current=st.floats(0.5, 30.0))
def test_needed_strip_thickness_is_just_enough(current: float) -> None:
    thickness = check_strip(current, 8.0, 0.15, 20.0).needed_thickness_mm
    assert check_strip(current, 8.0, thickness, 20.0).rise_k == pytest.approx(20.0)


def test_strip_carries_its_spread_and_shares_between_strips() -> None:
    one, two = (check_strip(6.0, 8.0, 0.15, 20.0, strips=n, temp_c=20.0) for n in (1, 2))
    assert one.resistance_mohm == pytest.approx(58.25 * 0.020, abs=1e-4)
    assert one.resistance_high_mohm / one.resistance_low_mohm == pytest.approx(1.5)
    assert two.resistance_mohm == pytest.approx(one.resistance_mohm / 2)
    assert two.resistance_high_mohm == pytest.approx(1.2 * two.resistance_mohm)
    assert two.drop_v == pytest.approx(one.drop_v / 2)
    assert two.current_limit_a == pytest.approx(2 * one.current_limit_a)
    assert one.loss_w == pytest.approx(36.0 * one.resistance_mohm / 1e3)
    assert check_strip(200.0, 8.0, 0.15, 20.0).rise_k is None
    verdicts = [check_strip(each, 8.0, 0.15, 20.0).verdict for each in (2.0, 5.5, 12.0, 200.0)]
    assert verdicts == ["fine", "look again", "stop", "stop"]
    near = [
        one.current_limit_a * 0.999,
        one.current_limit_a * 1.001,
        one.fuse_limit_a * 0.999,
        one.fuse_limit_a * 1.001,
    ]
    verdicts = [check_strip(each, 8.0, 0.15, 20.0, temp_c=20.0).verdict for each in near]
    assert verdicts == ["fine", "look again", "look again", "stop"]


def test_a_proposed_strip_is_the_thinnest_that_stands_load_and_fuse() -> None:
    limit = check_strip(1.0, 8.0, 0.15, 20.0).fuse_limit_a
    below, above = (check_strip(1.0, 8.0, 0.15, 20.0, fuse_a=limit * each) for each in (0.999, 1.001))
    assert (below.verdict, above.verdict) == ("fine", "stop") and "a fuse of" in above.reason
    for fuse in (None, 4.0, 6.0, 6.8):
        found = choose_strip(4.0, fuse, 8.0, 20.0)
        assert found.verdict == "fine" and found.fuse_limit_a >= (fuse or 0.0)
        thinner = [each for each in (0.1, 0.15, 0.2, 0.25, 0.3) if each < found.thickness_mm]
        for each in thinner:
            other = check_strip(4.0, 8.0, each, 20.0)
            assert other.verdict != "fine" or other.fuse_limit_a < (fuse or 0.0)
    assert choose_strip(4.0, 6.8, 8.0, 20.0).thickness_mm > choose_strip(4.0, 4.0, 8.0, 20.0).thickness_mm
    assert choose_strip(40.0, 60.0, 8.0, 20.0).thickness_mm == 0.3  # none is enough: the thickest, and its verdict


def test_strip_rise_balances_heat_by_hand() -> None:
    """At 45 degC and 4 A: both faces half free at 10 W/(m2 K), the poor end of nickel, warm resistance."""
    found = check_strip(4.0, 8.0, 0.15, 20.0, temp_c=45.0)
    assert found.rise_k is not None
    ohm_per_m = 69.9e-3 * 1.2 / (8.0 * 0.15) * (1.0 + 0.006 * (45.0 + found.rise_k - 20.0))
    assert 10.0 * 2.0 * (8.15e-3) * 0.5 * found.rise_k == pytest.approx(16.0 * ohm_per_m, rel=1e-9)
    twice = check_strip(8.0, 8.0, 0.15, 20.0, strips=2, temp_c=45.0)
    assert (twice.area_mm2, twice.rise_k) == (pytest.approx(2.4), pytest.approx(found.rise_k))
    assert twice.needed_area_mm2 == pytest.approx(2 * 8.0 * found.needed_thickness_mm)
    assert found.current_density_a_per_mm2 == pytest.approx(4.0 / 1.2)
    assert found.drop_v * 4.0 == pytest.approx(found.loss_w)


@pytest.mark.parametrize(
    ("rms", "peak", "fuse", "verdict"),
    [(39.9, 0.0, None, "fine"), (40.1, 0.0, None, "look again"), (49.9, 0.0, None, "look again"),
     (50.1, 0.0, None, "stop"), (10.0, 99.9, None, "fine"), (10.0, 100.1, None, "look again"),
     (10.0, 10.0, 50.0, "fine"), (10.0, 10.0, 50.1, "stop")],
)  # fmt: skip
def test_plug_at_both_sides_of_rating_peak_and_fuse(rms: float, peak: float, fuse: float | None, verdict: str) -> None:
    found = check_connector("round pin 4 mm", rms, peak, fuse)
    assert found.verdict == verdict, found.reason
    if fuse == 50.1:
        assert found.smallest_that_fits == "round pin 5.5 mm" and "fuse" in found.reason


def test_connector_verdicts_and_the_one_that_fits() -> None:
    found = check_connector("round pin 4 mm", 60.0, 90.0)
    assert (found.verdict, found.smallest_that_fits) == ("stop", "round pin 5.5 mm")
    assert check_connector("round pin 4 mm", 45.0).verdict == "look again"
    assert check_connector("round pin 4 mm", 20.0, 120.0).verdict == "look again"
    assert check_connector("round pin 4 mm", 30.0, 60.0).verdict == "fine"
    assert check_connector("round pin 8 mm", 500.0).smallest_that_fits is None


def test_precharge_times_and_energy_in_closed_form() -> None:
    found = check_precharge(54.0, 1000.0, 220.0)
    assert found.time_constant_s == pytest.approx(0.22)
    assert found.time_to_95_percent_s == pytest.approx(0.22 * 2.995732)
    assert found.time_to_99_percent_s == pytest.approx(0.22 * 4.605170)
    assert found.resistor_energy_j == pytest.approx(1.458)
    assert found.resistor_peak_w == pytest.approx(13.2545, abs=1e-4)
    assert found.first_current_a == pytest.approx(54.0 / 220.0)
    assert found.verdict == "fine"


def test_precharge_mean_power_integrates_the_pulse() -> None:
    found = check_precharge(54.0, 1000.0, 220.0)
    times = np.linspace(0.0, found.time_to_99_percent_s, 20001)
    power = (54.0 * np.exp(-times / 0.22)) ** 2 / 220.0
    assert found.resistor_mean_w == pytest.approx(float(np.mean((power[1:] + power[:-1]) / 2)), rel=1e-6)


@pytest.mark.parametrize(("loop_ohm", "inductance_uh"), [(0.01, 1.0), (0.05, 1.0), (0.0632455532, 1.0), (0.2, 0.5)])
def test_inrush_against_an_independent_integrator(loop_ohm: float, inductance_uh: float) -> None:
    capacitance, inductance = 1000e-6, inductance_uh * 1e-6

    def slope(_: float, state: list[float]) -> list[float]:
        current, voltage = state
        return [(54.0 - loop_ohm * current - voltage) / inductance, current / capacitance]

    truth = solve_ivp(slope, (0.0, 4e-4), [0.0, 0.0], max_step=2e-7, rtol=1e-8)
    found = inrush_current_a(54.0, 1000.0, loop_ohm, inductance_uh)
    assert found == pytest.approx(float(truth.y[0].max()), rel=1e-4)
    assert found < 54.0 / loop_ohm == inrush_current_a(54.0, 1000.0, loop_ohm, 0.0)


def test_precharge_choice_is_by_time_and_heat() -> None:
    """54 V held 2 s on a shorted controller: 1 W bears 25 J, so 233 ohm or more; of 270 and 390 the quicker one."""
    found = choose_precharge(54.0, 1000.0, hold_s=2.0)
    assert (found.resistor_ohm, found.buy_w) == (270.0, 1.0)
    assert found.worst_energy_j == pytest.approx(54.0**2 / 270.0 * 2.0)
    assert found.time_to_99_percent_s <= 2.0
    assert found.closing_current_a < 0.02 * found.inrush_without_a
    assert "wirewound" in found.buy_kind


@settings(deadline=None, max_examples=60)
@given(volts=st.floats(24.0, 100.0), uf=st.floats(100.0, 5000.0), watts=st.floats(0.0, 6.0), hold=st.floats(0.5, 4.0))
def test_what_precharge_picks_is_fine_by_its_own_check_where_anything_is(
    volts: float, uf: float, watts: float, hold: float
) -> None:
    """Against every E12 value by itself: the pick is fine whenever one is, and no fine one needs fewer watts."""
    draw = watts / volts
    found = choose_precharge(volts, uf, hold_s=hold, standby_current_a=draw)
    listed = [round(base * 10.0**decade, 6) for decade in range(5) for base in E12]
    others = [check_precharge(volts, uf, each, hold_s=hold, standby_current_a=draw) for each in listed]
    fine = [each for each in others if each.verdict == "fine" and each.time_to_99_percent_s <= hold]
    assert (found.verdict == "fine") == bool(fine)
    if fine:
        assert found.buy_w == min(each.buy_w or math.inf for each in fine)
    assert found == check_precharge(volts, uf, found.resistor_ohm, hold_s=hold, standby_current_a=draw)


@pytest.mark.parametrize(
    ("to_99", "gap", "buy", "verdict"),
    [(4.9, 2.49, 5.0, "fine"), (5.1, 2.49, 5.0, "look again"), (4.9, 2.51, 5.0, "look again"),
     (4.9, 7.49, 5.0, "look again"), (4.9, 7.51, 5.0, "stop"), (4.9, 2.49, None, "look again")],
)  # fmt: skip
def test_precharge_verdict_at_both_sides(to_99: float, gap: float, buy: float | None, verdict: str) -> None:
    """5 % and 15 % of 50 V left at closing, 5 s of patience, a resistor that can be bought."""
    assert judge_precharge(to_99, gap, 50.0, buy)[0] == verdict


def test_watts_to_buy_bear_the_short_for_as_long_as_it_is_held() -> None:
    """100 V on 100 ohm is 100 W: 2.4 s are 240 J on 10 W (25 J a watt), 2.6 s take 15 W."""
    short, long = (check_precharge(100.0, 100.0, 100.0, hold_s=each) for each in (2.4, 2.6))
    assert (short.buy_w, long.buy_w) == (10.0, 15.0)
    assert check_precharge(100.0, 100.0, 1.0, hold_s=2.0).buy_w is None  # 20 kJ
    big = check_precharge(100.0, 60000.0, 1000.0, hold_s=0.1)  # the pulse itself, 300 J, is the worst
    assert (big.worst_energy_j, big.buy_w) == (pytest.approx(300.0), 15.0)


def test_precharge_with_a_controller_that_draws() -> None:
    small, large, silly = (check_precharge(54.0, 1000.0, 390.0, standby_current_a=i) for i in (0.01, 0.03, 1.0))
    assert small.gap_at_closing_v == pytest.approx(3.9 + 0.01 * 50.1)
    assert [each.verdict for each in (small, large, silly)] == ["look again", "stop", "stop"]
    assert silly.gap_at_closing_v == pytest.approx(54.0)
    assert check_precharge(54.0, 1000.0, 2200.0).verdict == "look again"


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: wire_awg(44), "0 to 40"),
        (lambda: wire_mm2(3.0), "no standard size"),
        (lambda: insulation("paper"), "choose one of: pvc"),
        (lambda: standard_wires("inch"), "choose one of: awg, mm2"),  # type: ignore[arg-type]
        (lambda: lead_loss_w_per_m(WIRE, SILICONE, 80.0, 20.0, 0.0), "out of range"),
        (lambda: grouping_factor(0), "1 to 20"),
        (lambda: grouping_factor(21), "split the bunch"),
        (lambda: check_lead(WIRE, LeadLoad("pack", 1.0, 1.0, 0.0, -1.0, 48.0)), "0 or above"),
        (lambda: conductor_rms_a("brake", 1.0), "choose one of: pack"),  # type: ignore[arg-type]
        (lambda: choose_fuse(0.0, 30.0, 54.0), "above 0"),
        (lambda: choose_fuse(1.0, 30.0, 54.0, series="e96"), "choose one of: r10"),  # type: ignore[arg-type]
        (lambda: check_strip(5.0, 8.0, 0.15, 20.0, strips=0), "1 or more"),
        (lambda: check_connector("square pin", 5.0), "choose one of: round pin 2 mm"),
        (lambda: choose_precharge(54.0, 1000.0, hold_s=0.001), r"above 0\.0046 s"),
        (lambda: check_precharge(54.0, -1.0, 220.0), "above 0"),
    ],
)
def test_build_errors_say_what_and_what_to_do(call: Callable[[], object], words: str) -> None:
    with pytest.raises(BuildError, match=words) as caught:
        call()
    assert caught.value.where and caught.value.to_do


@pytest.mark.parametrize(
    "call",
    [
        lambda: check_lead(WIRE, LeadLoad("pack", 30.0, 20.0, 0.0, 1.0, 48.0)),
        lambda: choose_fuse(20.0, 60.0, 54.0, peak_current_a=10.0),
        lambda: lead_along_ride(WIRE, SILICONE, [0, 1], [1.0, math.nan], air_c=20.0),
        lambda: lead_along_ride(WIRE, SILICONE, [0, 1], [1.0, 1.0], air_c=20.0, start_c=10.0),
        lambda: steady_temp_c(WIRE, SILICONE, math.inf, 20.0),
        lambda: check_strip(math.nan, 8.0, 0.15, 20.0),
    ],
)
def test_broken_loads_are_ride_errors(call: Callable[[], object]) -> None:
    with pytest.raises(RideError):
        call()


def test_a_steady_current_is_no_contradiction() -> None:
    """The root of the mean square of one steady current may lie a rounding above it; a larger one is refused."""
    wire = wire_awg(10)
    steady = LeadLoad("pack", 40.0 * (1.0 + 1e-12), 40.0, 60.0, 0.5, 48.0)
    assert check_lead(wire, steady).conductor_rms_a == pytest.approx(40.0)
    with pytest.raises(RideError, match="below the rms"):
        check_lead(wire, LeadLoad("pack", 40.01, 40.0, 60.0, 0.5, 48.0))
