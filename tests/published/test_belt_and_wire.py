"""Belts and wires against published numbers. Each id names the source; a looser tolerance says why."""

from __future__ import annotations

from typing import Any

import pytest
from _pytest.mark.structures import ParameterSet

from ridesim.workshop import belt


def half_digit(printed: str) -> float:
    """Half a unit of the last printed digit."""
    decimals = len(printed.partition(".")[2])
    return 0.5000001 * 10.0**-decimals


def cases(source: str, rows: list[tuple[Any, ...]]) -> list[ParameterSet]:
    """Rows of a published table as test cases that carry their source in the id."""
    return [pytest.param(*row, id=f"{source}: {' '.join(str(each) for each in row)}") for row in rows]


@pytest.mark.parametrize(
    ("teeth", "pitch", "printed"),
    cases("ISO 13050 / ISO 5294 pitch diameter", [
        (20, 5.0, "31.8310"), (60, 5.0, "95.4930"), (100, 5.0, "159.1549"), (22, 8.0, "56.0225"), (66, 8.0, "168.0676"),
        (15, 5.0, "23.8732"),
    ]),
)  # fmt: skip
def test_pitch_diameter(teeth: int, pitch: float, printed: str) -> None:
    assert belt.pitch_diameter_mm(teeth, pitch) == pytest.approx(float(printed), abs=half_digit(printed))


@pytest.mark.parametrize(
    ("small", "large", "pitch", "centre", "printed"),
    cases("open belt length in closed form, plane geometry", [
        (20, 60, 5.0, 200.0, "605.07684"), (15, 60, 5.0, 150.0, "496.09029"), (16, 72, 5.0, 180.0, "591.09017"),
        (22, 66, 8.0, 300.0, "962.49248"), (20, 100, 5.0, 130.0, "591.84914"), (18, 18, 5.0, 100.0, "290.000"),
    ]),
)  # fmt: skip
def test_belt_length(small: int, large: int, pitch: float, centre: float, printed: str) -> None:
    assert belt.belt_length_mm(small, large, pitch, centre) == pytest.approx(float(printed), abs=half_digit(printed))
    assert belt.belt_length_mm(large, small, pitch, centre) == belt.belt_length_mm(small, large, pitch, centre)


@pytest.mark.parametrize(
    ("small", "large", "pitch", "belt_teeth", "printed"),
    cases("centre distance, exact inverse of the belt length", [
        (20, 60, 5.0, 120, "197.428374"), (15, 60, 5.0, 90, "126.131633"), (20, 100, 5.0, 116, "123.144323"),
        (22, 66, 8.0, 120, "298.731350"),
    ]),
)  # fmt: skip
def test_centre_distance(small: int, large: int, pitch: float, belt_teeth: int, printed: str) -> None:
    found = belt.centre_distance_mm(small, large, pitch, belt_teeth)
    assert found == pytest.approx(float(printed), abs=half_digit(printed))


@pytest.mark.parametrize(
    ("small", "large", "pitch", "centre", "teeth_in_mesh", "wrap"),
    cases("teeth in mesh, design note after SDP/SI Handbook of Timing Belts", [
        (20, 100, 5.0, 130.0, "6.74", "121.357"), (20, 100, 5.0, 100.0, "5.6", "100.920"),
        (20, 60, 5.0, 200.0, "8.9825", "161.684"), (15, 60, 5.0, 150.0, "6.3490", None),
        (16, 72, 5.0, 180.0, "6.7259", None), (22, 66, 8.0, 300.0, "9.6846", None),
    ]),
)  # fmt: skip
def test_teeth_in_mesh(
    small: int, large: int, pitch: float, centre: float, teeth_in_mesh: str, wrap: str | None
) -> None:
    found = belt.drive_geometry(small, large, pitch, centre)
    assert found.teeth_in_mesh == pytest.approx(float(teeth_in_mesh), abs=half_digit(teeth_in_mesh))
    if wrap is not None:
        assert found.wrap_small_deg == pytest.approx(float(wrap), abs=half_digit(wrap))


@pytest.mark.parametrize(
    ("teeth_in_mesh", "factor"),
    cases(
        "SDP/SI Handbook of Timing Belts section 13.3",
        [(12.0, 1.0), (6.0, 1.0), (5.0, 0.8), (4.0, 0.6), (3.0, 0.4), (2.0, 0.2), (5.6, 0.8), (1.9, 0.0)],
    ),
)
def test_mesh_factor(teeth_in_mesh: float, factor: float) -> None:
    assert belt.mesh_factor(teeth_in_mesh) == pytest.approx(factor, abs=1e-12)


@pytest.mark.parametrize(
    ("name", "width", "printed"),
    cases("SDP/SI Technical Section table 3", [
        ("3M", 25.4, "285"), ("5M", 25.4, "454"), ("8M", 25.4, "792"), ("3M modified", 25.4, "507"),
        ("5M modified", 25.4, "712"), ("8M modified", 25.4, "1690"), ("5M", 15.0, "268.1"), ("5M", 25.0, "446.9"),
        ("8M", 20.0, "623.6"),
    ]),
)  # fmt: skip
def test_allowed_pull(name: str, width: float, printed: str) -> None:
    found = belt.belt_capacity(name, width, 8.0)
    assert found.allowed_pull_n == pytest.approx(float(printed), abs=half_digit(printed))


def test_torque_of_20_teeth_at_the_allowed_pull_sdp_si_table_3() -> None:
    allowed = belt.belt_capacity("5M", 15.0, 8.0).allowed_pull_n
    assert belt.effective_pull_n(4.267, 20, 5.0) == pytest.approx(allowed, rel=0.5e-3 / 4.267)


def test_effective_pull_engineers_handbook_4_nm_on_20_teeth() -> None:
    assert belt.effective_pull_n(4.0, 20, 5.0) == pytest.approx(251.33, abs=0.005)


def test_pull_from_power_sdp_si_equation_24_1_1_kw_at_3000_rpm() -> None:
    torque = 1000.0 / (3000.0 * 2.0 * 3.141592653589793 / 60.0)
    assert torque == pytest.approx(3.183, abs=0.0005)
    assert belt.effective_pull_n(torque, 20, 5.0) == pytest.approx(200.0, abs=0.05)


@pytest.mark.parametrize(
    ("driver", "driven", "add_on"),
    cases(
        "SDP/SI section 24 and engineer's handbook speed-up add-on",
        [(20, 60, 0.0), (24, 20, 0.0), (25, 20, 0.1), (35, 20, 0.2), (50, 20, 0.3), (70, 20, 0.4)],
    ),
)
def test_service_factor(driver: int, driven: int, add_on: float) -> None:
    assert belt.service_factor(driver, driven) == pytest.approx(1.5 + add_on)
