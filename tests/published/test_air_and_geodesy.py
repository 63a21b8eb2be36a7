"""Atmosphere, moist air, geodesy and driving cycles against published rows and against other libraries."""

from __future__ import annotations

import numpy as np
import pytest

from ridesim.errors import RoadError
from ridesim.road.air import air_density, pressure_pa, saturation_pressure_pa, standard_temperature_k
from ridesim.road.geodesy import geodesic_inverse, leg_lengths
from ridesim.road.made import make_cycle

# ISO 2533:1975 table, geometric altitude: altitude m, temperature K, pressure Pa, density kg/m3.
STANDARD_ATMOSPHERE = [
    (-500.0, 291.400, 107478.0, 1.284895),
    (0.0, 288.150, 101325.0, 1.225000),
    (500.0, 284.900, 95461.3, 1.167273),
    (1000.0, 281.651, 89876.3, 1.111660),
    (1500.0, 278.402, 84559.7, 1.058104),
    (2000.0, 275.154, 79501.4, 1.006554),
    (2500.0, 271.906, 74691.7, 0.956954),
    (3000.0, 268.659, 70121.1, 0.909254),
    (4000.0, 262.166, 61660.4, 0.819347),
]

# CIPM-2007 (Picard, Davis, Glaeser, Fujii 2008, Metrologia 45:149-155), 400 ppm of carbon dioxide.
MOIST_AIR = [
    (20.0, 101325.0, 0.5, 1.199314),
    (15.0, 101325.0, 0.0, 1.225521),
    (20.0, 101325.0, 0.0, 1.204557),
    (20.0, 101325.0, 1.0, 1.194087),
    (25.0, 101325.0, 0.5, 1.177315),
    (30.0, 101325.0, 0.8, 1.150012),
    (0.0, 101325.0, 0.5, 1.291578),
    (40.0, 101325.0, 0.5, 1.111945),
    (20.0, 90000.0, 0.5, 1.064638),
    (30.0, 80000.0, 0.3, 0.914009),
    (-10.0, 101325.0, 0.0, 1.342373),
]

# name, (latitude, longitude) twice, distance m, heading at the start (or None), tolerance m. Vincenty iterates to
# 0.6 micrometres, so a tighter tolerance than 1e-6 m is luck; his series is good to 0.1 mm over thousands of km.
GEODESICS = [
    ("Karney 2013 table 3, short", (-30.12345, 0.0, -30.12344, 0.00005), 4.944208283969, 77.04353354, 5e-7),
    (
        "GDA manual, rounded ends",
        (-37.9510334, 144.4248679, -37.6528211, 143.9264955),
        54_972.271,
        None,
        0.02,
    ),
    ("GeographicLib, JFK to LHR", (40.6, -73.8, 51.6, -0.5), 5_551_759.400319, 51.19888285, 1e-3),
    ("0.001 degree north at 50 degrees", (50.0, 0.0, 50.001, 0.0), 111.229074, 0.0, 3e-5),
    ("0.001 degree east at 50 degrees", (50.0, 0.0, 50.0, 0.001), 71.695754, None, 1e-6),
    ("1 degree on the equator", (0.0, 0.0, 0.0, 1.0), 111_319.490793, 90.0, 1e-6),
    ("1 degree from the equator", (0.0, 0.0, 1.0, 0.0), 110_574.388558, 0.0, 1e-5),
    ("45 to 46 degrees north", (45.0, 0.0, 46.0, 0.0), 111_141.548474, 0.0, 1e-5),
    ("1 degree east at 45 degrees", (45.0, 0.0, 45.0, 1.0), 78_846.334710, None, 1e-6),
    ("1 degree east at 60 degrees", (60.0, 0.0, 60.0, 1.0), 55_799.470393, None, 1e-6),
    ("quarter meridian", (0.0, 0.0, 90.0, 0.0), 10_001_965.729313, 0.0, 1e-3),
    ("Paris to London", (48.8566, 2.3522, 51.5074, -0.1278), 343_923.120, None, 1e-3),
]

# UN R83 annex 4a table 1: times s, speeds km/h; 178 s reads 35 or 32 km/h in different prints.
URBAN_TIMES_S = [0, 11, 15, 23, 25, 28, 49, 54, 56, 61, 85, 93, 96, 117, 122, 124, 133, 135, 143, 155, 163, 176, 178]
URBAN_SPEEDS_KM_H = [0, 0, 15, 15, 10, 0, 0, 15, 15, 32, 32, 10, 0, 0, 15, 15, 35, 35, 50, 50, 35, 35]
URBAN_END = [(185, 10), (188, 0), (195, 0)]
# UN R83 annex 4a table 2.
EXTRA_URBAN = [
    (0, 0), (20, 0), (25, 15), (27, 15), (36, 35), (38, 35), (46, 50), (48, 50), (61, 70), (111, 70), (119, 50),
    (188, 50), (201, 70), (251, 70), (286, 100), (316, 100), (336, 120), (346, 120), (362, 80), (370, 50), (380, 0),
    (400, 0),
]  # fmt: skip


@pytest.mark.parametrize(("altitude_m", "kelvin", "pascal", "density"), STANDARD_ATMOSPHERE)
def test_iso_2533_table(altitude_m: float, kelvin: float, pascal: float, density: float) -> None:
    assert standard_temperature_k(altitude_m) == pytest.approx(kelvin, abs=5.1e-4)
    assert pressure_pa(altitude_m) == pytest.approx(pascal, abs=0.051)
    dry = pressure_pa(altitude_m) / (287.05287 * standard_temperature_k(altitude_m))
    assert dry == pytest.approx(density, abs=5.1e-7)


@pytest.mark.parametrize(("celsius", "pascal", "humidity", "density"), MOIST_AIR)
def test_cipm_2007_density(celsius: float, pascal: float, humidity: float, density: float) -> None:
    assert air_density(pascal, celsius, humidity) == pytest.approx(density, abs=5.1e-7)


@pytest.mark.parametrize(("celsius", "pascal"), [(20.0, 2339.163), (25.0, 3169.757), (30.0, 4246.799)])
def test_cipm_2007_saturation(celsius: float, pascal: float) -> None:
    assert saturation_pressure_pa(celsius) == pytest.approx(pascal, abs=5.1e-4)


@pytest.mark.parametrize(
    ("name", "ends", "distance_m", "heading_deg", "within_m"), GEODESICS, ids=[row[0] for row in GEODESICS]
)
def test_published_geodesics(
    name: str, ends: tuple[float, ...], distance_m: float, heading_deg: float | None, within_m: float
) -> None:
    distance, start, _ = geodesic_inverse(*ends)
    assert distance == pytest.approx(distance_m, abs=within_m), name
    if heading_deg is not None:
        assert start == pytest.approx(heading_deg, abs=1e-7)


def test_flinders_peak_headings() -> None:
    # GDA technical manual: 306 deg 52' 05.37" there, 127 deg 10' 25.07" back.
    at = (-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600)
    to = (-(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600)
    distance, start, end = geodesic_inverse(*at, *to)
    assert distance == pytest.approx(54_972.271, abs=5e-4)
    assert start == pytest.approx(306 + 52 / 60 + 5.37 / 3600, abs=0.005 / 3600 * 1.01)
    assert (end + 180.0) % 360.0 == pytest.approx(127 + 10 / 60 + 25.07 / 3600, abs=0.005 / 3600 * 1.01)


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


@pytest.mark.parametrize(("at_178_s", "distance_m"), [(35, 1018.3333), (32, 1014.5833)])
def test_urban_cycle_distance(at_178_s: int, distance_m: float) -> None:
    times = URBAN_TIMES_S + [time for time, _ in URBAN_END]
    speeds = [*URBAN_SPEEDS_KM_H, at_178_s] + [speed for _, speed in URBAN_END]
    road = make_cycle(times, np.array(speeds) / 3.6)
    assert road.length_m == pytest.approx(distance_m, abs=5.1e-5)


def test_extra_urban_cycle_distance() -> None:
    times, speeds = zip(*EXTRA_URBAN, strict=True)
    assert make_cycle(times, np.array(speeds) / 3.6).length_m == pytest.approx(6954.861, abs=5.1e-4)
