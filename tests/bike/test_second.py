"""What is said of a second drive before any ride: currents that add up on one pack, warnings and faults told once."""

from __future__ import annotations

from pathlib import Path

import pytest

from ridesim.bike.load import load_build
from ridesim.errors import BuildError

DEMO = Path(__file__).parents[2] / "configs" / "longtail-two-drives.toml"
BRAKING = {
    "second.drive.coupling": "fixed", "second.controller.brake_current_limit_a": 20.0,
    "controller.brake_current_limit_a": 20.0,
}  # fmt: skip


@pytest.mark.parametrize(("second_a", "told"), [(24.0, 0), (24.2, 1)])
def test_pack_limits_add_up_to_the_cells_rating(second_a: float, told: int) -> None:
    """Three cells of 18 A in parallel: 30 A and 24 A are 18 A each, just inside."""
    keys = {"controller.pack_current_limit_a": 30.0, "second.controller.pack_current_limit_a": second_a}
    found = [each for each in load_build(DEMO, keys).warnings if each.startswith("The pack current limits of both")]
    assert len(found) == told
    assert all("18.1 A a cell" in each and "Lower them to 54 A together" in each for each in found)


@pytest.mark.parametrize(("second_a", "told"), [(4.0, 0), (4.2, 1)])
def test_charge_limits_add_up_to_the_cells_rating(second_a: float, told: int) -> None:
    """Three cells that charge with 3 A in parallel: 5 A and 4 A are 3 A each, just inside."""
    limits = {"controller.charge_current_limit_a": 5.0, "second.controller.charge_current_limit_a": second_a}
    found = [each for each in load_build(DEMO, BRAKING | limits).warnings if "charge current limits of both" in each]
    assert len(found) == told
    assert all("9.2 A together" in each and "Lower them to 9 A together" in each for each in found)


def test_a_warning_says_that_it_is_of_the_second_drive() -> None:
    (told,) = load_build(DEMO, {"second.controller.electrical_frequency_limit_hz": 200.0}).warnings
    assert told.startswith("Second drive (its keys begin with second): ") and "= 200:" in told
    (told,) = load_build(DEMO, {"controller.electrical_frequency_limit_hz": 50.0}).warnings
    assert "econd drive" not in told and "= 50:" in told


def test_a_fault_of_both_is_told_once_and_one_of_the_second_as_its_own() -> None:
    with pytest.raises(BuildError) as both:
        load_build(DEMO, {"pack.series": 8})
    assert str(both.value).count("28.0 V full, not above") == 1 and "second drive" not in str(both.value)
    with pytest.raises(BuildError) as one:
        keys = {"second.controller.no_current_below_v": 70.0, "second.controller.full_current_above_v": 75.0}
        load_build(DEMO, keys)
    assert str(one.value).count("second drive (its keys begin with second)") == 1
