"""The default step against a tenth of it, and the ledger, on every demo build and demo road."""

from __future__ import annotations

from typing import Any

import pytest

from ridesim.ride.range import range_of
from ridesim.ride.simulate import Ride, simulate

from .conftest import BUILDS, NEVER_UP, build, demo, road
from .conftest import PAIRS as ARRIVING

SHARE, KELVIN = 1e-3, 0.1
HEADLINES = (
    "distance_km", "total_time_s", "moving_time_s", "mean_speed_km_h", "top_speed_km_h", "pack_energy_out_wh",
    "net_energy_wh", "net_wh_per_km", "rider_energy_wh", "charge_left_fraction", "range_km", "peak_motor_current_a",
    "peak_pack_current_a", "peak_cell_current_a", "rms_motor_current_a", "rms_pack_current_a",
    "sustained_motor_current_a", "sustained_pack_current_a", "lowest_pack_voltage_v", "highest_pack_voltage_v",
    "peak_shaft_torque_nm", "peak_shaft_power_w",
)  # fmt: skip
"""Not here: places on the road and seconds on a limit, which move with the last digit of a flat maximum, and what regen
adds to the range, a difference of two nearly equal distances."""
TEMPERATURES = ("peak_winding_temp_c", "peak_body_temp_c", "peak_controller_temp_c", "peak_pack_temp_c")
PAIRS = [pytest.param(b, r, id=f"{b} on {r.split('.')[0]}") for b, r in ARRIVING]
RIDGE = "ridge-climb.gpx"


def answer(ride: Ride) -> dict[str, Any]:
    """The summary of a ride with the range it promises."""
    return {**ride.summary, **vars(range_of(ride))}


@pytest.mark.parametrize(("build_name", "road_name"), PAIRS)
def test_headlines_do_not_depend_on_the_step(build_name: str, road_name: str) -> None:
    ours, fine = (answer(demo(build_name, road_name, step_s)) for step_s in (0.1, 0.01))
    assert ours["stop"] == fine["stop"] == "finished"
    assert ours["verdict"]["word"] == fine["verdict"]["word"]
    for name in HEADLINES:
        assert ours[name] == pytest.approx(fine[name], rel=SHARE), name
    for name in TEMPERATURES:
        assert ours[name] == pytest.approx(fine[name], abs=KELVIN), name


def test_the_loaded_bike_is_stuck_where_the_ridge_is_steepest() -> None:
    ours, fine = (demo(*NEVER_UP, step_s) for step_s in (0.1, 0.01))
    assert ours.summary["stop"] == fine.summary["stop"] == "stalled"
    assert ours.figures.distance_km == pytest.approx(fine.figures.distance_km, rel=SHARE)
    assert 4.0 < ours.figures.distance_km < 4.1


@pytest.mark.parametrize(("build_name", "road_name"), PAIRS)
def test_braking_does_not_depend_on_the_step(build_name: str, road_name: str) -> None:
    """Pulses of a few tenths of a second, in bends of a climb too."""
    ours, fine = (answer(demo(build_name, road_name, step_s)) for step_s in (0.1, 0.01))
    for name in (
        "pack_energy_returned_wh", "peak_brake_current_a", "peak_charge_current_a", "peak_brake_torque_nm",
    ):  # fmt: skip
        near = 2.0 * SHARE if name.startswith("peak") else SHARE  # the top of a pulse may lie inside a step
        assert ours[name] == pytest.approx(fine[name], rel=near), name


@pytest.mark.parametrize("step_s", [0.1, 0.01])
@pytest.mark.parametrize(("build_name", "road_name"), PAIRS)
def test_ledger_closes(build_name: str, road_name: str, step_s: float) -> None:
    ride = demo(build_name, road_name, step_s)
    assert abs(ride.ledger_residual_fraction) < 1e-6
    assert ride.summary["ledger_residual_fraction"] == ride.ledger_residual_fraction


@pytest.mark.parametrize("step_s", [0.2, 0.5, 1.0])
@pytest.mark.parametrize("build_name", BUILDS)
def test_ledger_closes_at_long_steps(build_name: str, step_s: float) -> None:
    ride = simulate(build(build_name), road("valley-commute.toml"), step_s=step_s, trace=False)
    assert abs(ride.ledger_residual_fraction) < 1e-6


@pytest.mark.parametrize("build_name", BUILDS)
def test_same_inputs_same_bits(build_name: str) -> None:
    """And a trace changes nothing but the trace."""
    first = demo(build_name, RIDGE)
    again = simulate(build(build_name), road(RIDGE))
    bare = simulate(build(build_name), road(RIDGE), trace=False)
    for other in (again, bare):
        assert other.raw.end == first.raw.end
        assert other.raw.totals.tobytes() == first.raw.totals.tobytes()
        assert other.raw.ledger.tobytes() == first.raw.ledger.tobytes()
    assert again.raw.trace.tobytes() == first.raw.trace.tobytes()
