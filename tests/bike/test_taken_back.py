"""Keys taken back to their defaults: by a variant's list, by `--set key=default`, and every way to get it wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from ridesim.bike.load import LoadedBuild, load_build, parse_override, replace_keys
from ridesim.bike.schema import Pack, Rider
from ridesim.errors import BuildError


@pytest.fixture(scope="module")
def plain(root: Path) -> LoadedBuild:
    return load_build(
        root / "configs" / "longtail-belt.toml", {"rider.mass_kg": 90.0, "pack.start_charge_fraction": 0.5}
    )


def variant(folder: Path, *lines: str) -> LoadedBuild:
    """A variant of a demo build in a folder of its own."""
    root = Path(__file__).parents[2]
    base = (root / "configs" / "longtail-belt.toml").read_text(encoding="utf-8")
    (folder / "base.toml").write_text(base, encoding="utf-8")
    (folder / "variant.toml").write_text("\n".join(('extends = "base.toml"', *lines)) + "\n", encoding="utf-8")
    return load_build(folder / "variant.toml")


def test_a_bare_default_takes_a_key_back_and_a_quoted_one_is_a_text(plain: LoadedBuild) -> None:
    assert parse_override("rider.mass_kg=default") == ("rider.mass_kg", None)
    assert parse_override('name="default"') == ("name", "default")
    back = replace_keys(plain, {"pack.start_charge_fraction": None})
    assert back.build.pack.start_charge_fraction == Pack.model_fields["start_charge_fraction"].default
    assert "pack.start_charge_fraction" not in back.given
    assert replace_keys(plain, dict([parse_override('name="default"')])).build.name == "default"


def test_a_variant_lists_what_it_takes_back(tmp_path: Path) -> None:
    found = variant(tmp_path, 'back_to_default = ["bicycle.cargo_kg", "rider.power_w"]',
                    "[rider]", "cruise_speed_km_h = 21")  # fmt: skip
    given = load_build(tmp_path / "base.toml")
    assert "rider.power_w" in given.given and "rider.power_w" not in found.given
    assert found.build.rider.power_w == Rider.model_fields["power_w"].default != given.build.rider.power_w
    assert found.build.rider.cruise_speed_km_h == 21.0
    assert {each.key for each in found.defaults_used} >= {"rider.power_w"}


def test_a_grandchild_may_give_again_what_was_taken_back(tmp_path: Path) -> None:
    variant(tmp_path, 'back_to_default = ["rider.power_w"]')
    (tmp_path / "last.toml").write_text('extends = "variant.toml"\n[rider]\npower_w = 77\n', encoding="utf-8")
    assert load_build(tmp_path / "last.toml").build.rider.power_w == 77.0


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (["back_to_default = 3"], "back_to_default = 3 is not a list of keys; write for example"),
        (['back_to_default = ["rider.powr_w"]'], "rider.powr_w is not a known key; did you mean power_w"),
        (
            ['back_to_default = ["rider.power_w"]', "[rider]", "power_w = 9"],
            "gives rider.power_w and takes rider.power_w",
        ),
        (['back_to_default = ["rider.mass_kg"]'], "rider.mass_kg is missing"),
        (['back_to_default = ["drive.stage.7.ratio"]'], "drive.stage.7 does not exist (1 there)"),
    ],
)
def test_what_is_wrong_is_told(tmp_path: Path, lines: list[str], words: str) -> None:
    with pytest.raises(BuildError) as told:
        variant(tmp_path, *lines)
    assert words in str(told.value) and "variant.toml" in str(told.value)


def test_a_file_that_extends_nothing_has_nothing_to_take_back(tmp_path: Path) -> None:
    (tmp_path / "alone.toml").write_text('back_to_default = ["rider.power_w"]\n', encoding="utf-8")
    with pytest.raises(BuildError, match="nothing is extended; leave the keys out"):
        load_build(tmp_path / "alone.toml")


@pytest.mark.parametrize(
    ("key", "words"),
    [("bicycle.cargo", "did you mean cargo_kg"), ("bicyle.cargo_kg", "not a known"), ("x", "not a known")],
)
def test_a_misspelt_key_is_not_taken_back_in_silence(plain: LoadedBuild, key: str, words: str) -> None:
    with pytest.raises(BuildError, match=words):
        replace_keys(plain, {key: None})
