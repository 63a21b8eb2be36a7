"""A build fitted to a log of a winter ride: what the cold does to its cells is found, and a warm log says nothing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.learn.build_fit import _other_air, fit_build
from ridesim.learn.fitted_file import fitted_text
from ridesim.learn.log import load_log
from ridesim.learn.posterior import prepare
from ridesim.learn.priors import OF_THE_COLD, STEADY, STEADY_COLD, priors_of
from ridesim.ride.limits import FINE, LOOK_AGAIN
from ridesim.road.load import load_road
from ridesim.road.profile import Road

from .made_logs import Faults, columns_of, spoiled, write_log

ROOT = Path(__file__).parents[2]
CELL = "pack.cell."
LOSS = f"{CELL}cold_capacity_loss_percent"
WINTER_C = -10.0


@pytest.fixture(scope="module")
def road() -> Road:
    return load_road(ROOT / "routes" / "terrace-round.gpx")


def winter(keys: dict[str, float]) -> LoadedBuild:
    """The demo bike with a smaller pack on a day of hard frost."""
    cold = {"weather.temperature_c": WINTER_C, "pack.parallel": 4, "pack.start_charge_fraction": 0.5}
    return load_build(ROOT / "configs" / "longtail-belt.toml", {**cold, **keys})


def written(place: Path, bike: LoadedBuild, road: Road, laps: int = 1) -> Path:
    """A log of a bike's ride, with a recorder's faults."""
    columns = columns_of(bike, road, laps=laps)
    return write_log(place / "log.csv", spoiled(columns, Faults(), np.random.default_rng(3)))


@pytest.mark.parametrize(
    ("keys", "true"),
    [
        ({STEADY: 40.0, STEADY_COLD: 75.0}, {STEADY: 46.0, STEADY_COLD: 95.0, LOSS: 10.0}),
        ({}, {f"{CELL}activation_kj_per_mol": 28.0, LOSS: 10.0}),
    ],
    ids=["stated as a whole", "fast and slow part"],
)
def test_a_winter_ride_tells_what_the_cold_does(
    keys: dict[str, float], true: dict[str, float], road: Road, tmp_path: Path
) -> None:
    """From half charge until the pack is empty, three deviations; the file that is written loads, and says the same."""
    bike = winter(keys)
    fit = fit_build(load_log(written(tmp_path, replace_keys(bike, true), road, laps=3)), bike)
    found = {each.key: each for each in fit.keys}
    for key, truth in true.items():
        assert abs(found[key].after - truth) < 3.0 * found[key].after_sd + 1e-3 * truth, found[key]
        assert found[key].narrowed < 0.3, found[key]
    (tmp_path / "fitted.toml").write_text(fitted_text(fit, str(ROOT / "configs" / "longtail-belt.toml"), "test"))
    again = load_build(tmp_path / "fitted.toml").build.pack.cell
    for key in true:
        assert getattr(again, key.removeprefix(CELL)) == pytest.approx(found[key].after, rel=1e-4)


def test_a_warm_log_moves_nothing_of_the_cold(road: Road, tmp_path: Path) -> None:
    """Nor does a warm log of a bike whose own day is cold: the log's cells say how cold it was."""
    bike = winter({"weather.temperature_c": 22.0})
    path = written(tmp_path, bike, road)
    for day in (22.0, WINTER_C):
        problem = prepare(load_log(path), replace_keys(bike, {"weather.temperature_c": day}))
        assert not set(OF_THE_COLD) & set(problem.priors.keys)
    cold = replace_keys(bike, {"weather.temperature_c": WINTER_C})
    frosty = prepare(load_log(written(tmp_path, cold, road)), bike)  # the build says a warm day, the log a cold one
    assert {f"{CELL}activation_kj_per_mol", LOSS} <= set(frosty.priors.keys)


def test_fitted_steady_resistances_stay_in_an_order_that_loads() -> None:
    """Whatever a log says, warm stays between the fast part and the middle of both, cold above it."""
    bike = winter({STEADY: 40.0, STEADY_COLD: 75.0})
    priors = priors_of(bike, ["pack_voltage_v"], air_known=True, charge=1.0, windy=False, coldest_c=WINTER_C)
    numbers = {each.key: each.number for each in priors.unknowns}
    assert numbers[STEADY].low == bike.build.pack.cell.resistance_mohm
    assert numbers[STEADY].high == numbers[STEADY_COLD].low == pytest.approx((40.0 * 75.0) ** 0.5)


def test_a_log_of_another_days_air_says_so_first(road: Road, tmp_path: Path) -> None:
    """All parts begin as cold as the day: 8 K off the build's weather is another day (guess), just inside it is not."""
    path = written(tmp_path, winter({}), road)
    for weather, told in ((WINTER_C + 7.0, False), (WINTER_C + 9.0, True)):
        found = list(_other_air(prepare(load_log(path), winter({"weather.temperature_c": weather}))))
        assert [each.verdict for each in found] == [LOOK_AGAIN if told else FINE]
        assert "begins at -10 °C" in found[0].reason or not told
    ridden = spoiled(columns_of(winter({}), road), Faults(), np.random.default_rng(3))
    warm = {name: values[400:] for name, values in ridden.items()}  # from the middle of a ride on: no part has stood
    later = prepare(load_log(write_log(tmp_path / "later.csv", warm)), winter({"weather.temperature_c": 20.0}))
    assert list(_other_air(later)) == []
