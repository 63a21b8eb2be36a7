"""Every picture of every kind of ride shows what the ride's figures say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from ridesim.errors import RideError
from ridesim.report.ride.energy import balance
from ridesim.report.ride.figures import PICTURES, draw
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.load import load_road


def words_of(figure: Figure) -> str:
    axes = figure.axes
    texts = [text.get_text() for one in axes for text in one.texts]
    return "\n".join([*texts, *(f"{one.get_xlabel()} {one.get_ylabel()}" for one in axes)])


@pytest.mark.parametrize("picture", PICTURES)
@pytest.mark.parametrize("kind", ["hot_ride", "stuck_ride", "clock_ride"])
def test_every_picture_has_named_axes(picture: str, kind: str, request: pytest.FixtureRequest) -> None:
    figure = draw(request.getfixturevalue(kind), picture)
    if picture == "way":
        assert [axes.get_ylabel() for axes in figure.axes] == ["north [km]", "winding [°C]"]
        return
    lowest = figure.axes[-1].get_xlabel()
    assert lowest == (
        "energy [Wh]" if picture == "energy" else "time [min]" if kind == "clock_ride" else "distance [km]"
    )
    assert all(axes.lines or axes.patches or axes.collections for axes in figure.axes)


def test_pictures_in_miles(hot_ride: Ride) -> None:
    assert "distance [mi] speed [mph]" in words_of(draw(hot_ride, "speed", "imperial"))
    assert "temperature [°F]" in words_of(draw(hot_ride, "temperatures", "imperial"))


def test_a_ride_that_stops_is_marked_where_it_stopped(stuck_ride: Ride, hot_ride: Ride) -> None:
    assert "stopped at 0.3 km" in words_of(draw(stuck_ride, "road"))
    assert "stopped" not in words_of(draw(hot_ride, "road"))


def test_temperatures_name_the_peak_and_the_limits(hot_ride: Ride) -> None:
    words = words_of(draw(hot_ride, "temperatures"))
    assert f"{hot_ride.summary['peak_winding_temp_c']:.0f} °C" in words
    assert "winding, class F 155 °C" in words and "magnets, grade H 120 °C" in words


def test_peaks_between_rows_are_drawn(root: Path) -> None:
    road = load_road(root / "routes" / "valley-commute.toml")
    coarse = simulate(root / "configs" / "longtail-hub.toml", road, record_every_s=60.0)
    motor, pack = draw(coarse, "currents").axes[:2]
    for axes, name in ((motor, "peak_motor_current_a"), (pack, "peak_pack_current_a")):
        highest = max(float(np.max(path.vertices[:, 1])) for band in axes.collections for path in band.get_paths())
        assert highest == pytest.approx(coarse.summary[name], rel=1e-3)


def test_no_limit_is_drawn_where_none_is_set(root: Path, hot_ride: Ride) -> None:
    free = simulate(hot_ride.loaded, hot_ride.road, limits=False)
    assert "limit 70 A" in words_of(draw(hot_ride, "currents"))
    assert "limit" not in words_of(draw(free, "currents"))
    driven = simulate(root / "configs" / "longtail-freewheel.toml", hot_ride.road)
    assert "limit 50 A" not in words_of(draw(driven, "currents"))


def test_energy_in_equals_energy_out(hot_ride: Ride, stuck_ride: Ride, clock_ride: Ride) -> None:
    for ride in (hot_ride, stuck_ride, clock_ride):
        given, taken = (sum(value for _, value in rows) for rows in balance(ride.ledger))
        assert given == pytest.approx(taken, rel=2e-3)  # lines below the smallest shown share are left out
        assert taken >= 0.99 * ride.ledger["pack_chemistry_out"]


def test_height_lost_is_a_source() -> None:
    given, taken = balance({"pack_chemistry_out": 1.0, "climbed_height": -3.0, "air_drag": 4.0})
    assert given == [("height lost", 3.0), ("cells", 1.0)] and taken == [("air", 4.0)]


def test_an_unknown_picture_or_an_unrecorded_ride_is_refused(hot_ride: Ride) -> None:
    with pytest.raises(RideError, match="choose one of road, speed"):
        draw(hot_ride, "nonsense")
    with pytest.raises(RideError, match="not recorded"):
        draw(simulate(hot_ride.loaded, hot_ride.road, trace=False))


@pytest.mark.parametrize("laps", [1, 2])
def test_the_way_ends_where_the_road_ends(laps: int) -> None:
    """A ride ends a hair beyond its road: that is its end, not its start again."""
    from ridesim.report.ride.way import _places

    ride = simulate("configs/longtail-two-motors.toml", "routes/ridge-climb.gpx", laps=laps)
    distance = ride.trace["distance_km"].to_numpy(dtype=float)
    east, north, joined = _places(ride, distance, "metric")
    once = _places(ride, np.array([0.0, ride.road.length_m / 1000.0]), "metric")
    assert (east[-1], north[-1]) == pytest.approx((once[0][1], once[1][1]), abs=1e-4)
    step = np.hypot(np.diff(east), np.diff(north))
    assert (step > 0.2).sum() == (~joined).sum() == laps - 1
    assert not joined[step > 0.2].any()
