"""Wires: heating in time, leads, fuse, strips, plugs and pre-charge; independent solutions and properties."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from ridesim.errors import BuildError, RideError
from ridesim.workshop import wire as wiring
from ridesim.workshop.wire import LeadLoad

WIRE = wiring.wire_awg(12)
SILICONE = wiring.insulation("silicone")
PACK = LeadLoad("pack", rms_current_a=22.0, peak_current_a=45.0, peak_s=10.0, length_m=0.8, pack_voltage_v=48.0)


def test_copper_rule_is_0_393_percent_a_kelvin() -> None:
    assert WIRE.resistance_ohm_per_m(120.0) / WIRE.resistance_ohm_per_m(20.0) == pytest.approx(1.393, abs=5e-4)


@pytest.mark.parametrize("system", ["awg", "mm2"])
def test_thicker_wires_resist_less_and_carry_more(system: wiring.WireSystem) -> None:
    wires = wiring.standard_wires(system)
    resistances = [wire.resistance_ohm_per_km for wire in wires]
    limits = [wiring.steady_current_limit_a(wire, SILICONE, 30.0) for wire in wires]
    assert resistances == sorted(resistances, reverse=True)
    assert limits == sorted(limits)


def test_steady_temperature_inverts_the_current_limit() -> None:
    for jacket in wiring.INSULATIONS.values():
        current = wiring.steady_current_limit_a(WIRE, jacket, 25.0)
        assert wiring.steady_temp_c(WIRE, jacket, current, 25.0) == pytest.approx(jacket.limit_c, abs=1e-4)


def test_steady_balance_closes_at_the_surface() -> None:
    """The heat through the jacket is the heat off the surface: rebuilt by hand from the two resistances."""
    loss = wiring.lead_loss_w_per_m(WIRE, SILICONE, 90.0, 25.0)
    outer = wiring.outer_diameter_mm(WIRE)
    surface = 90.0 - loss * math.log(outer / WIRE.diameter_mm) / (math.tau * SILICONE.conductivity_w_per_m_k)
    assert 25.0 < surface < 90.0
    assert wiring.surface_loss_w_per_m(surface, 25.0, outer) == pytest.approx(loss, rel=1e-6)


def test_bundled_wires_carry_less_and_melting_is_an_answer() -> None:
    free, bundled = (wiring.steady_current_limit_a(WIRE, SILICONE, 25.0, free_surface_share=s) for s in (1.0, 0.5))
    assert 0.6 * free < bundled < 0.95 * free
    assert wiring.steady_temp_c(WIRE, SILICONE, 0.0, 25.0) == 25.0
    assert wiring.steady_temp_c(WIRE, SILICONE, 2000.0, 25.0) is None
    assert wiring.steady_current_limit_a(WIRE, SILICONE, 200.0) == 0.0


@settings(deadline=None, max_examples=25)
@given(low=st.floats(1.0, 60.0), more=st.floats(0.1, 40.0))
def test_more_current_is_never_cooler(low: float, more: float) -> None:
    cool, warm = (wiring.steady_temp_c(WIRE, SILICONE, each, 25.0) for each in (low, low + more))
    assert cool is not None and warm is not None
    assert warm > cool > 25.0


@given(
    area=st.floats(0.5, 35.0), seconds=st.floats(0.05, 10.0), start=st.floats(-10.0, 120.0), rise=st.floats(5.0, 200.0)
)
def test_short_time_forms_invert_each_other(area: float, seconds: float, start: float, rise: float) -> None:
    current = wiring.short_time_current_a(area, seconds, start, start + rise)
    assert wiring.short_time_s(area, current, start, start + rise) == pytest.approx(seconds, rel=1e-9)
    assert wiring.short_time_temp_c(area, current, seconds, start) == pytest.approx(start + rise, rel=1e-9)


def test_short_time_heat_stops_at_melting_and_needs_room() -> None:
    assert wiring.short_time_temp_c(1.0, 1e6, 10.0, 25.0) == pytest.approx(1083.0)
    assert wiring.short_time_current_a(1.0, 1.0, 90.0, 80.0) == 0.0


def test_heat_capacity_is_copper_plus_a_tube_of_jacket() -> None:
    copper, outer = WIRE.area_mm2, WIRE.diameter_mm + 2 * 0.8
    tube = math.pi * (outer / 2) ** 2 - math.pi * (WIRE.diameter_mm / 2) ** 2
    assert wiring.heat_capacity_j_per_m_k(WIRE, SILICONE) == pytest.approx(3.45 * copper + 1.6 * tube)


def test_lead_along_ride_settles_at_the_steady_temperature() -> None:
    found = wiring.lead_along_ride(WIRE, SILICONE, [0.0, 1500.0, 3000.0], [50.0] * 3, air_c=25.0)
    steady = wiring.steady_temp_c(WIRE, SILICONE, 50.0, 25.0)
    assert steady is not None
    assert found.conductor_c[-1] == pytest.approx(steady, abs=0.3)  # loss tabulated, linear between
    assert found.rms_current_a == pytest.approx(50.0)


def test_lead_along_ride_starts_as_onderdonk_says() -> None:
    """A tenth of a second leaves no time to cool: copper alone sets the slope, the jacket slows it by its share."""
    found = wiring.lead_along_ride(WIRE, SILICONE, [0.0, 0.1], [300.0, 300.0], air_c=25.0)
    copper_only = wiring.short_time_temp_c(WIRE.area_mm2, 300.0, 0.1, 25.0) - 25.0
    share = 3.45 * WIRE.area_mm2 / wiring.heat_capacity_j_per_m_k(WIRE, SILICONE)
    # 5 % for stranding, 2 % between Onderdonk's constants and copper's.
    assert found.peak_c - 25.0 == pytest.approx(copper_only * share * 1.05, rel=0.03)


def test_lead_along_ride_against_an_independent_integrator() -> None:
    times = np.linspace(0.0, 600.0, 1201)
    currents = 45.0 + 30.0 * np.sin(times / 20.0)
    found = wiring.lead_along_ride(WIRE, SILICONE, times, currents, air_c=20.0)
    capacity = wiring.heat_capacity_j_per_m_k(WIRE, SILICONE)

    def slope(time: float, state: list[float]) -> list[float]:
        current = currents[min(int(time / 0.5), 1200)]
        heat = current**2 * WIRE.resistance_ohm_per_m(state[0])
        return [(heat - wiring.lead_loss_w_per_m(WIRE, SILICONE, state[0], 20.0)) / capacity]

    truth = solve_ivp(slope, (0.0, 600.0), [20.0], t_eval=times[::100], max_step=0.5, rtol=1e-4)
    assert found.conductor_c[::100] == pytest.approx(truth.y[0], abs=0.3)  # loss tabulated, held through 5 % of tau


def test_lead_along_ride_counts_the_time_over_the_limit() -> None:
    pvc = wiring.insulation("pvc")
    found = wiring.lead_along_ride(WIRE, pvc, np.arange(0.0, 900.0, 1.0), np.full(900, 55.0), air_c=25.0)
    over = float(np.sum(found.conductor_c[1:] > 70.0))
    assert found.verdict == "stop"
    assert 0.0 < found.time_over_limit_s == pytest.approx(over)
    assert found.peak_at_s == 899.0


def test_lead_along_ride_melts_once_and_stays() -> None:
    found = wiring.lead_along_ride(wiring.wire_awg(24), SILICONE, [0.0, 5.0, 10.0], [200.0] * 3, air_c=25.0)
    assert found.peak_c == 1083.0


def test_lead_voltage_drop_by_hand() -> None:
    found = wiring.check_lead(WIRE, PACK)
    assert found.steady_c is not None
    ohm = 5.2107e-3 * 1.05 * 2 * 0.8 * (found.steady_c + 234.5) / 254.5
    assert found.drop_rms_v == pytest.approx(22.0 * ohm, rel=1e-4)
    assert found.drop_peak_percent == pytest.approx(100 * 45.0 * ohm / 48.0, rel=1e-4)
    assert found.loss_rms_w == pytest.approx(22.0**2 * ohm, rel=1e-4)


def test_phase_leads_lose_what_three_conductors_lose() -> None:
    phase = LeadLoad("phase", 30.0, 60.0, 5.0, 0.5, 48.0)
    found = wiring.check_lead(WIRE, phase)
    assert found.steady_c is not None
    each = found.conductor_rms_a**2 * WIRE.resistance_ohm_per_m(found.steady_c) * 0.5
    assert found.loss_rms_w == pytest.approx(3.0 * each, rel=1e-9)
    # A sine drive with amplitude I_q = 2/sqrt(3) I has the rms I_q/sqrt(2).
    assert found.conductor_rms_a == pytest.approx(2 / math.sqrt(3) * 30.0 / math.sqrt(2))


def test_choice_is_the_thinnest_fine_wire() -> None:
    for system in ("awg", "mm2"):
        found = wiring.choose_lead(PACK, system=system)  # type: ignore[arg-type]
        assert found.recommended is not None and found.verdict == "fine"
        place = found.tried.index(found.recommended)
        assert place > 0
        assert all(each.verdict != "fine" for each in found.tried[:place])
        assert found.recommended.current_limit_a > 22.0


def test_choice_by_heat_and_by_voltage_drop() -> None:
    long_lead = LeadLoad("charge", 5.0, 5.0, 0.0, 6.0, 42.0)
    found = wiring.choose_lead(long_lead)
    thin = next(each for each in found.tried if each.wire == "AWG 20")
    assert (thin.verdict, "voltage lost" in thin.reason) == ("look again", True)
    hot = wiring.check_lead(wiring.wire_awg(20), LeadLoad("pack", 30.0, 30.0, 0.0, 0.2, 48.0))
    assert (hot.verdict, "for good" in hot.reason) == ("stop", True)
    burst = wiring.check_lead(wiring.wire_awg(20), LeadLoad("pack", 5.0, 150.0, 5.0, 0.1, 48.0))
    assert (burst.verdict, "after the peak" in burst.reason) == ("stop", True)
    nothing = wiring.choose_lead(LeadLoad("pack", 900.0, 900.0, 0.0, 1.0, 48.0))
    assert (nothing.recommended, nothing.verdict) == (None, "stop")


@pytest.mark.parametrize("series", ["r10", "blade"])
@given(sustained=st.floats(1.0, 50.0), ratio=st.floats(1.0, 4.0))
def test_fuse_lies_between_load_and_wire(series: wiring.FuseSeries, sustained: float, ratio: float) -> None:
    found = wiring.choose_fuse(sustained, sustained * ratio, 54.6, series=series)
    window = [r for r in wiring.FUSE_SERIES[series] if sustained / 0.75 <= r <= sustained * ratio]
    assert found.rating_a == (min(window) if window else None)
    assert found.verdict == ("fine" if window else "stop")


def test_fuse_series_and_remarks() -> None:
    found = wiring.choose_fuse(22.0, 60.0, 54.6, pack_resistance_mohm=91.0)
    assert found.rating_a == 31.5
    assert found.short_circuit_a == pytest.approx(600.0)
    assert any("DC" in remark and "55 V" in remark for remark in found.remarks)
    assert wiring.choose_fuse(22.0, 60.0, 54.6, series="blade").rating_a == 30.0


def test_fuse_that_a_long_peak_may_blow() -> None:
    brief = wiring.choose_fuse(22.0, 60.0, 54.6, peak_current_a=50.0, peak_s=0.2)
    long = wiring.choose_fuse(22.0, 60.0, 54.6, peak_current_a=50.0, peak_s=20.0)
    assert (brief.rating_a, brief.verdict) == (31.5, "fine")
    assert (long.rating_a, long.verdict) == (40.0, "fine")  # 50 A is under 1.35 times 40 A
    thin = wiring.choose_fuse(22.0, 35.0, 54.6, peak_current_a=50.0, peak_s=20.0)  # 40 A is past this wire
    assert (thin.rating_a, thin.verdict) == (31.5, "look again")


def test_strip_current_limit_brings_the_allowed_rise() -> None:
    for metal in ("nickel", "copper"):
        limit = wiring.check_strip(1.0, 8.0, 0.15, 20.0, metal=metal).current_limit_a  # type: ignore[arg-type]
        found = wiring.check_strip(limit, 8.0, 0.15, 20.0, metal=metal)  # type: ignore[arg-type]
        assert found.rise_k == pytest.approx(20.0)
        assert found.needed_thickness_mm == pytest.approx(0.15)


@given(current=st.floats(0.5, 30.0))
def test_needed_strip_thickness_is_just_enough(current: float) -> None:
    thickness = wiring.check_strip(current, 8.0, 0.15, 20.0).needed_thickness_mm
    assert wiring.check_strip(current, 8.0, thickness, 20.0).rise_k == pytest.approx(20.0)


def test_strip_carries_its_spread_and_shares_between_strips() -> None:
    one, two = (wiring.check_strip(6.0, 8.0, 0.15, 20.0, strips=n, temp_c=20.0) for n in (1, 2))
    assert one.resistance_mohm == pytest.approx(58.25 * 0.020, abs=1e-4)
    assert one.resistance_high_mohm / one.resistance_low_mohm == pytest.approx(1.5)
    assert two.resistance_mohm == pytest.approx(one.resistance_mohm / 2)
    assert two.resistance_high_mohm == pytest.approx(1.2 * two.resistance_mohm)
    assert two.drop_v == pytest.approx(one.drop_v / 2)
    assert two.current_limit_a == pytest.approx(2 * one.current_limit_a)
    assert one.loss_w == pytest.approx(36.0 * one.resistance_mohm / 1e3)
    assert wiring.check_strip(200.0, 8.0, 0.15, 20.0).rise_k is None
    verdicts = [wiring.check_strip(each, 8.0, 0.15, 20.0).verdict for each in (2.0, 5.5, 12.0, 200.0)]
    assert verdicts == ["fine", "look again", "stop", "stop"]


def test_strip_rise_balances_heat_by_hand() -> None:
    """At 45 degC and 4 A: both faces half free at 10 W/(m2 K), the poor end of nickel, warm resistance."""
    found = wiring.check_strip(4.0, 8.0, 0.15, 20.0, temp_c=45.0)
    assert found.rise_k is not None
    ohm_per_m = 69.9e-3 * 1.2 / (8.0 * 0.15) * (1.0 + 0.006 * (45.0 + found.rise_k - 20.0))
    assert 10.0 * 2.0 * (8.15e-3) * 0.5 * found.rise_k == pytest.approx(16.0 * ohm_per_m, rel=1e-9)
    twice = wiring.check_strip(8.0, 8.0, 0.15, 20.0, strips=2, temp_c=45.0)
    assert (twice.area_mm2, twice.rise_k) == (pytest.approx(2.4), pytest.approx(found.rise_k))
    assert twice.needed_area_mm2 == pytest.approx(2 * 8.0 * found.needed_thickness_mm)
    assert found.current_density_a_per_mm2 == pytest.approx(4.0 / 1.2)
    assert found.drop_v * 4.0 == pytest.approx(found.loss_w)


def test_connector_verdicts_and_the_one_that_fits() -> None:
    found = wiring.check_connector("round pin 4 mm", 60.0, 90.0)
    assert (found.verdict, found.smallest_that_fits) == ("stop", "round pin 5.5 mm")
    assert wiring.check_connector("round pin 4 mm", 45.0).verdict == "look again"
    assert wiring.check_connector("round pin 4 mm", 20.0, 120.0).verdict == "look again"
    assert wiring.check_connector("round pin 4 mm", 30.0, 60.0).verdict == "fine"
    assert wiring.check_connector("round pin 8 mm", 500.0).smallest_that_fits is None


def test_precharge_times_and_energy_in_closed_form() -> None:
    found = wiring.check_precharge(54.0, 1000.0, 220.0)
    assert found.time_constant_s == pytest.approx(0.22)
    assert found.time_to_95_percent_s == pytest.approx(0.22 * 2.995732)
    assert found.time_to_99_percent_s == pytest.approx(0.22 * 4.605170)
    assert found.resistor_energy_j == pytest.approx(1.458)
    assert found.resistor_peak_w == pytest.approx(13.2545, abs=1e-4)
    assert found.first_current_a == pytest.approx(54.0 / 220.0)
    assert found.verdict == "fine"


def test_precharge_mean_power_integrates_the_pulse() -> None:
    found = wiring.check_precharge(54.0, 1000.0, 220.0)
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
    found = wiring.inrush_current_a(54.0, 1000.0, loop_ohm, inductance_uh)
    assert found == pytest.approx(float(truth.y[0].max()), rel=1e-4)
    assert found < 54.0 / loop_ohm == wiring.inrush_current_a(54.0, 1000.0, loop_ohm, 0.0)


def test_precharge_choice_is_the_largest_that_is_quick_enough() -> None:
    found = wiring.choose_precharge(54.0, 1000.0, hold_s=2.0)
    assert found.resistor_ohm == 390.0
    assert found.time_to_99_percent_s <= 2.0 < 470.0 * 1e-3 * math.log(100.0)
    assert found.closing_current_a < 0.02 * found.inrush_without_a


def test_precharge_with_a_controller_that_draws() -> None:
    small, large, silly = (wiring.check_precharge(54.0, 1000.0, 390.0, standby_current_a=i) for i in (0.01, 0.03, 1.0))
    assert small.gap_at_closing_v == pytest.approx(3.9 + 0.01 * 50.1)
    assert [each.verdict for each in (small, large, silly)] == ["look again", "stop", "stop"]
    assert silly.gap_at_closing_v == pytest.approx(54.0)
    assert wiring.check_precharge(54.0, 1000.0, 2200.0).verdict == "look again"


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: wiring.wire_awg(44), "0 to 40"),
        (lambda: wiring.wire_mm2(3.0), "no standard size"),
        (lambda: wiring.insulation("paper"), "choose one of: pvc"),
        (lambda: wiring.standard_wires("inch"), "choose one of: awg, mm2"),  # type: ignore[arg-type]
        (lambda: wiring.lead_loss_w_per_m(WIRE, SILICONE, 80.0, 20.0, 0.0), "out of range"),
        (lambda: wiring.check_lead(WIRE, LeadLoad("pack", 1.0, 1.0, 0.0, -1.0, 48.0)), "0 or above"),
        (lambda: wiring.conductor_rms_a("brake", 1.0), "choose one of: pack"),  # type: ignore[arg-type]
        (lambda: wiring.choose_fuse(0.0, 30.0, 54.0), "above 0"),
        (lambda: wiring.choose_fuse(1.0, 30.0, 54.0, series="e96"), "choose one of: r10"),  # type: ignore[arg-type]
        (lambda: wiring.check_strip(5.0, 8.0, 0.15, 20.0, strips=0), "1 or more"),
        (lambda: wiring.check_connector("square pin", 5.0), "choose one of: round pin 2 mm"),
        (lambda: wiring.choose_precharge(54.0, 1000.0, hold_s=0.001), r"above 0\.0046 s"),
        (lambda: wiring.check_precharge(54.0, -1.0, 220.0), "above 0"),
    ],
)
def test_build_errors_say_what_and_what_to_do(call: Callable[[], object], words: str) -> None:
    with pytest.raises(BuildError, match=words) as caught:
        call()
    assert caught.value.where and caught.value.to_do


@pytest.mark.parametrize(
    "call",
    [
        lambda: wiring.check_lead(WIRE, LeadLoad("pack", 30.0, 20.0, 0.0, 1.0, 48.0)),
        lambda: wiring.choose_fuse(20.0, 60.0, 54.0, peak_current_a=10.0),
        lambda: wiring.lead_along_ride(WIRE, SILICONE, [0, 1], [1.0, math.nan], air_c=20.0),
        lambda: wiring.lead_along_ride(WIRE, SILICONE, [0, 1], [1.0, 1.0], air_c=20.0, start_c=10.0),
        lambda: wiring.steady_temp_c(WIRE, SILICONE, math.inf, 20.0),
        lambda: wiring.check_strip(math.nan, 8.0, 0.15, 20.0),
    ],
)
def test_broken_loads_are_ride_errors(call: Callable[[], object]) -> None:
    with pytest.raises(RideError):
        call()
