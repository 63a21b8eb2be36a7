"""General-purpose libraries, run beside ours: air, geodesics, heat transfer. None is needed to ride."""

from __future__ import annotations

import numpy as np
import pytest

from ridesim.physics import cooling
from ridesim.road.air import AIR_GAS_CONSTANT_J_PER_KG_K, pressure_pa, standard_temperature_k
from ridesim.road.geodesy import geodesic_inverse

ALTITUDES = np.linspace(-400.0, 5000.0, 28)


def test_atmosphere_of_ambiance() -> None:
    ambiance = pytest.importorskip("ambiance")
    theirs = ambiance.Atmosphere(ALTITUDES)
    assert pressure_pa(ALTITUDES) == pytest.approx(theirs.pressure, rel=1e-6)
    assert standard_temperature_k(ALTITUDES) == pytest.approx(theirs.temperature, rel=1e-6)


def test_atmosphere_of_fluids() -> None:
    fluids = pytest.importorskip("fluids")
    for altitude in ALTITUDES.tolist():
        theirs = fluids.ATMOSPHERE_1976(altitude)
        ours = float(pressure_pa(altitude)), float(standard_temperature_k(altitude))
        assert ours == pytest.approx((theirs.P, theirs.T), rel=1e-5)
        assert ours[0] / (AIR_GAS_CONSTANT_J_PER_KG_K * ours[1]) == pytest.approx(theirs.rho, rel=1e-5)


def test_geodesics_of_geographiclib() -> None:
    geodesic = pytest.importorskip("geographiclib.geodesic").Geodesic.WGS84
    random = np.random.default_rng(11)
    points = np.column_stack([random.uniform(-80.0, 80.0, 300), random.uniform(-180.0, 180.0, 300)])
    points[150:] = points[:150] + random.uniform(-0.01, 0.01, (150, 2))  # legs of a recording are short
    ends = np.column_stack([random.uniform(-80.0, 80.0, 300), random.uniform(-180.0, 180.0, 300)])
    ends[150:] = points[150:] + random.uniform(-0.001, 0.001, (150, 2))
    length, start, _ = geodesic_inverse(points[:, 0], points[:, 1], ends[:, 0], ends[:, 1])
    for index, (from_, to) in enumerate(zip(points, ends, strict=True)):
        theirs = geodesic.Inverse(*from_, *to)
        assert length[index] == pytest.approx(theirs["s12"], rel=2e-10, abs=2e-6)
        assert (start[index] - theirs["azi1"] + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("reynolds", [30.0, 800.0, 6071.0, 62280.0, 2.5e5])
def test_cross_flow_of_ht(reynolds: float) -> None:
    external = pytest.importorskip("ht.conv_external")
    for prandtl in (0.69, 0.71):
        theirs = external.Nu_cylinder_Churchill_Bernstein(reynolds, prandtl)
        assert cooling.churchill_bernstein(reynolds, prandtl) == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize("grashof", [1e4, 1e6, 2.63e9])
def test_still_air_of_ht(grashof: float) -> None:
    free = pytest.importorskip("ht.conv_free_immersed")
    theirs = free.Nu_horizontal_cylinder_Churchill_Chu(0.70, grashof)
    assert cooling.churchill_chu(0.70 * grashof, 0.70) == pytest.approx(theirs, rel=1e-12)


def test_radiation_of_ht() -> None:
    radiation = pytest.importorskip("ht.radiation")
    theirs = radiation.q_rad(emissivity=0.85, T=390.0, T2=295.0)
    # The library keeps the Stefan-Boltzmann constant of CODATA 2014: 1.3e-6 below that of 2018.
    assert cooling.radiation_coefficient(0.85, 390.0, 295.0) * 95.0 == pytest.approx(theirs, rel=2e-6)
