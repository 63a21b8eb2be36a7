"""Atmosphere, moist air, geodesy and driving cycles against published rows and against other libraries."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ridesim.errors import RoadError
from ridesim.evidence.cycles import extra_urban, urban
from ridesim.evidence.geodesy import degrees
from ridesim.evidence.store import sheet
from ridesim.road.air import (
    AIR_GAS_CONSTANT_J_PER_KG_K,
    air_density,
    pressure_pa,
    saturation_pressure_pa,
    standard_temperature_k,
)
from ridesim.road.geodesy import geodesic_inverse, leg_lengths
from ridesim.road.made import make_cycle

from .rows import near, rows_of

FLINDERS = sheet("geodesy.flinders_peak_to_buninyong")
HEADING_DEG = 1e-7
"""Of a heading: Vincenty's series over the longest lines."""


@rows_of("air.standard_atmosphere")
def test_iso_2533_table(row: Any) -> None:
    kelvin, pascal = standard_temperature_k(row.altitude_m), pressure_pa(row.altitude_m)
    # Half a unit and 2 % of it: the libraries' gas constants differ in the seventh digit.
    assert kelvin == pytest.approx(row.temperature_k, abs=1.02 * row.temperature_k.half_unit)
    assert pascal == pytest.approx(row.pressure_pa, abs=1.02 * row.pressure_pa.half_unit)
    dry = pascal / (AIR_GAS_CONSTANT_J_PER_KG_K * kelvin)
    assert dry == pytest.approx(row.density_kg_per_m3, abs=1.02 * row.density_kg_per_m3.half_unit)


@rows_of("air.moist_air")
def test_cipm_2007_density(row: Any) -> None:
    ours = air_density(row.pressure_pa, row.temperature_c, row.humidity)
    assert ours == pytest.approx(row.density_kg_per_m3, abs=1.02 * row.density_kg_per_m3.half_unit)


@rows_of("air.saturation")
def test_cipm_2007_saturation(row: Any) -> None:
    ours = saturation_pressure_pa(row.temperature_c)
    assert ours == pytest.approx(row.pressure_pa, abs=1.02 * row.pressure_pa.half_unit)


@rows_of("geodesy.lines")
def test_published_geodesics(row: Any) -> None:
    """Vincenty iterates to 0.6 micrometres; his series is good to 0.1 mm over thousands of kilometres."""
    distance, start, _ = geodesic_inverse(*row.points_deg)
    assert distance == pytest.approx(row.distance_m, abs=row.within_m)
    if row.heading_deg is not None:
        assert start == pytest.approx(row.heading_deg, abs=HEADING_DEG)


def test_gda_manual_line_of_rounded_ends() -> None:
    """Ends rounded to 1e-7 degrees move by 11 mm."""
    distance, _, _ = geodesic_inverse(*FLINDERS.rounded_points_deg)
    assert distance == pytest.approx(FLINDERS.distance_m, abs=0.02)


def test_flinders_peak_headings() -> None:
    distance, start, end = geodesic_inverse(*map(degrees, FLINDERS.points_dms))
    assert distance == near(FLINDERS.distance_m)
    last_digit_deg = degrees((0, 0, FLINDERS.heading_there_dms[2].half_unit)) * 1.01
    assert start == pytest.approx(degrees(FLINDERS.heading_there_dms), abs=last_digit_deg)
    assert (end + 180.0) % 360.0 == pytest.approx(degrees(FLINDERS.heading_back_dms), abs=last_digit_deg)


@pytest.mark.parametrize(("parts", "angle"), [((-37, 30, 36.0), -37.51), ((12, 0, 0.0), 12.0), ((0, 6, 3.6), 0.101)])
def test_degrees_minutes_and_seconds(parts: tuple[float, float, float], angle: float) -> None:
    assert degrees(parts) == pytest.approx(angle, rel=1e-14)


def test_geodesic_agrees_with_geographiclib() -> None:
    geodesic = pytest.importorskip("geographiclib.geodesic").Geodesic.WGS84
    random = np.random.default_rng(4)
    legs = []
    for _ in range(400):
        latitude, longitude = random.choice([random.uniform(-90, 90), 90.0, -89.9999]), random.uniform(-180, 180)
        end = geodesic.Direct(latitude, longitude, random.uniform(0, 360), 10 ** random.uniform(-2, 4))
        legs.append((latitude, longitude, end["lat2"], end["lon2"]))
    exact = [geodesic.Inverse(*leg)["s12"] for leg in legs]
    distance, _, _ = geodesic_inverse(*np.array(legs).T)
    assert np.abs(distance - exact).max() < 1e-3


@pytest.mark.parametrize("ends", [(0, 0, 0, 180), (0, 0, 0, 179.9), (30, 0, -30, 180), (-29.9, 5, 30, -174.8)])
def test_opposite_sides_of_the_globe_are_refused(ends: tuple[float, ...]) -> None:
    with pytest.raises(RoadError, match="opposite sides of the globe"):
        geodesic_inverse(*ends)


def test_legs_agree_with_geographiclib() -> None:
    geodesic = pytest.importorskip("geographiclib.geodesic").Geodesic.WGS84
    random = np.random.default_rng(7)
    for longest_m, rel, within_deg in ((1000.0, 3e-7, 1e-4), (9e5, 1e-9, 0.05)):
        for _ in range(200):
            start = random.choice([random.uniform(-79.9, 79.9), 89.99]), random.uniform(-180, 180)
            end = geodesic.Direct(*start, random.uniform(0, 360), longest_m * random.uniform(1e-4, 1.0))
            latitude, longitude = np.array([start[0], end["lat2"]]), np.array([start[1], end["lon2"]])
            length, heading = leg_lengths(latitude, longitude)
            assert length[0] == pytest.approx(end["s12"], rel=rel, abs=1e-5)
            if abs(start[0]) < 80.0 and longest_m < 2000.0:
                line = geodesic.InverseLine(*start, end["lat2"], end["lon2"])
                middle = line.Position(0.5 * end["s12"])["azi2"]
                assert (heading[0] - middle + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=within_deg)


def test_a_hop_over_the_globe_has_a_length_to_be_dropped_by() -> None:
    length, _ = leg_lengths(np.array([0.0, 0.0, -30.0]), np.array([0.0, 180.0, 0.0]))
    assert length == pytest.approx([20_015_000.0, 16_680_000.0], rel=0.01)


def test_atmosphere_agrees_with_ambiance() -> None:
    ambiance = pytest.importorskip("ambiance")
    altitude = np.linspace(-500.0, 4000.0, 19)
    other = ambiance.Atmosphere(altitude)
    assert np.allclose(pressure_pa(altitude), other.pressure, rtol=2e-6)
    assert np.allclose(standard_temperature_k(altitude), other.temperature, rtol=2e-6)


def test_atmosphere_agrees_with_fluids() -> None:
    fluids = pytest.importorskip("fluids")
    for altitude in (-500.0, 0.0, 1234.0, 4000.0):
        assert pressure_pa(altitude) == pytest.approx(fluids.atmosphere.ATMOSPHERE_1976(altitude).P, rel=2e-6)


PRINTED = sheet("cycles.distances")


@pytest.mark.parametrize(
    ("at_178_s", "metres"), [(35.0, PRINTED.urban_held_m), (32.0, PRINTED.urban_falling_m)], ids=["held", "falling"]
)
def test_urban_cycle_distance(at_178_s: float, metres: Any) -> None:
    assert make_cycle(*urban(at_178_s)).length_m == pytest.approx(metres, abs=1.02 * metres.half_unit)


def test_extra_urban_cycle_distance() -> None:
    metres = PRINTED.extra_urban_m
    assert make_cycle(*extra_urban()).length_m == pytest.approx(metres, abs=1.02 * metres.half_unit)
