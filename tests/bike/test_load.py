"""Parts, parents, overrides, and who said what."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from ridesim.bike.files import part_names, shipped_parts
from ridesim.bike.load import build_from_dict, load_build, parse_override, replace_keys
from ridesim.bike.schema import Build
from ridesim.errors import BuildError


def test_shipped_part_is_found_from_any_folder(bike: Path) -> None:
    loaded = load_build(bike)
    assert loaded.build.motor.kv_rpm_per_v == 100
    assert loaded.build.pack.cell.capacity_ah == 3.3
    assert loaded.warnings == ()


def test_part_beside_the_build_wins_over_a_shipped_one(bike: Path) -> None:
    (bike.parent / "parts").mkdir()
    text = (shipped_parts() / "motor-80mm.toml").read_text(encoding="utf-8")
    own = bike.parent / "parts" / "motor-80mm.toml"
    own.write_text(text.replace("kv_rpm_per_v = 100", "kv_rpm_per_v = 111"), encoding="utf-8")
    loaded = load_build(bike)
    assert loaded.build.motor.kv_rpm_per_v == 111
    assert loaded.sources["motor.kv_rpm_per_v"] == str(own)


def test_part_by_relative_path(bike: Path) -> None:
    (bike.parent / "mine").mkdir()
    text = (shipped_parts() / "motor-63mm.toml").read_text(encoding="utf-8")
    (bike.parent / "mine" / "m.toml").write_text(text, encoding="utf-8")
    bike.write_text(bike.read_text().replace('"motor-80mm"', '"mine/m.toml"'))
    assert load_build(bike).build.motor.kv_rpm_per_v == 180


def test_keys_beside_a_part_override_it(bike: Path) -> None:
    text = bike.read_text().replace('motor = "motor-80mm"\n', "")
    bike.write_text(f'{text}[motor]\npart = "motor-80mm"\nkv_rpm_per_v = 95\n')
    loaded = load_build(bike)
    assert (loaded.build.motor.kv_rpm_per_v, loaded.build.motor.resistance_mohm) == (95, 26)
    assert loaded.sources["motor.kv_rpm_per_v"] == str(bike)
    assert loaded.sources["motor.resistance_mohm"] == "motor-80mm.toml (ships with ridesim)"


def test_variant_in_three_lines(bike: Path) -> None:
    variant = bike.parent / "variant.toml"
    variant.write_text('extends = "bike.toml"\nrider.mass_kg = 60\npack.parallel = 4\n')
    base, changed = load_build(bike), load_build(variant)
    assert changed.build.rider.mass_kg == 60
    assert changed.build.pack.parallel == 4
    assert changed.build.pack.cell == base.build.pack.cell
    assert changed.sources["rider.mass_kg"] == str(variant)
    assert changed.sources["pack.series"] == str(bike)
    assert changed.sha256 != base.sha256


def test_variant_replaces_the_stages_as_a_whole(bike: Path) -> None:
    variant = bike.parent / "variant.toml"
    variant.write_text('extends = "bike"\n[[drive.stage]]\nratio = 9\n')
    loaded = load_build(variant)
    assert loaded.build.drive.turns == 9
    assert "drive.stage.0.driver_teeth" not in loaded.given


def test_another_part_leaves_nothing_of_the_parents_part(bike: Path) -> None:
    variant = bike.parent / "variant.toml"
    variant.write_text('extends = "bike.toml"\nmotor = "motor-63mm"\n[[drive.stage]]\nratio = 18\n')
    motor = load_build(variant).build.motor
    assert motor.kv_rpm_per_v == 180
    assert motor.body_heat_capacity_j_per_k is None  # the 80 mm motor gives it, the 63 mm one does not


def test_parents_parts_are_looked_up_beside_the_parent(bike: Path) -> None:
    (bike.parent / "parts").mkdir()
    text = (shipped_parts() / "motor-80mm.toml").read_text(encoding="utf-8")
    (bike.parent / "parts" / "mine.toml").write_text(text, encoding="utf-8")
    bike.write_text(bike.read_text().replace('"motor-80mm"', '"mine"'))
    (bike.parent / "below").mkdir()
    variant = bike.parent / "below" / "variant.toml"
    variant.write_text('extends = "../bike.toml"\nrider.mass_kg = 60\n')
    assert load_build(variant).build.motor.mass_kg == 1.75


def test_circle_of_parents(bike: Path) -> None:
    a, b = bike.parent / "a.toml", bike.parent / "b.toml"
    a.write_text('extends = "b.toml"\n')
    b.write_text('extends = "a.toml"\n')
    with pytest.raises(BuildError, match=r"extends itself \(a.toml -> b.toml -> a.toml\)"):
        load_build(a)


def test_overrides_by_dotted_key(bike: Path) -> None:
    loaded = load_build(bike, {"drive.stage.0.driven_teeth": 60, "rider.cruise_speed_km_h": 30})
    assert loaded.build.drive.turns == 60 / 14
    assert loaded.build.rider.cruise_speed_km_h == 30
    assert loaded.sources["drive.stage.0.driven_teeth"] == "override"
    assert "rider.cruise_speed_km_h" in loaded.given
    assert dict(loaded.overrides)["rider.cruise_speed_km_h"] == 30


def test_override_names_a_part(bike: Path) -> None:
    for key, value in (("motor", "motor-63mm"), ("motor.part", "motor-63mm"), ("motor", {"part": "motor-63mm"})):
        loaded = load_build(bike, {key: value})
        assert loaded.build.motor.kv_rpm_per_v == 180
        assert loaded.build.motor.body_heat_capacity_j_per_k is None
    assert load_build(bike, {"pack.cell": "cell-lfp-32700"}).build.pack.cell.max_voltage_v == 3.65


def test_override_replaces_a_whole_stage(bike: Path) -> None:
    loaded = load_build(bike, {"drive.stage.0": {"ratio": 9}})
    assert loaded.build.drive.turns == 9
    assert "drive.stage.0.driver_teeth" not in loaded.given


def test_overrides_are_kept_through_replacements(bike: Path) -> None:
    loaded = replace_keys(load_build(bike, {"pack.parallel": 5}), {"rider.mass_kg": 60})
    assert dict(loaded.overrides) == {"pack.parallel": 5, "rider.mass_kg": 60}
    assert loaded.build.pack.parallel == 5


def test_replace_keys_leaves_the_original_alone(bike: Path) -> None:
    loaded = load_build(bike)
    before = loaded.build.model_dump()
    changed = replace_keys(loaded, {"drive.stage.0.driven_teeth": 120, "pack.cell.capacity_ah": 2.0})
    assert changed.build.pack.cell.capacity_ah == 2.0
    assert loaded.build.model_dump() == before
    assert replace_keys(loaded, {}).sha256 == loaded.sha256
    back = replace_keys(changed, {"drive.stage.0.driven_teeth": 136, "pack.cell.capacity_ah": 3.3})
    assert back.build == loaded.build


def test_none_takes_a_key_back_to_its_default(bike: Path) -> None:
    loaded = load_build(bike, {"controller.brake_current_limit_a": None})
    assert loaded.build.controller.brake_current_limit_a == 0
    assert "controller.brake_current_limit_a" in {used.key for used in loaded.defaults_used}


@pytest.mark.parametrize(
    ("key", "value", "fragment"),
    [
        ("drive.stage.1.ratio", 3, "drive.stage.1 does not exist"),
        ("drive.stage.first.ratio", 3, "drive.stage.first does not exist"),
        ("rider.mass_kg.x", 3, "rider.mass_kg is a value, not a section"),
        ("motor.kv", 90, "motor.kv = 90 is not a known key; did you mean kv_rpm_per_v?"),
        ("motor", "motor-81mm", "nearest: motor-80mm"),
        ("drive.stage.driven_teeth", 60, "drive.stage.driven_teeth does not exist (1 there); number them from 0 to 0"),
        ("drive.stage.0.ratio.x", 3, "drive.stage.0.ratio"),
        ("motor", "a\nb\x1b[31m", 'motor = "a b [31m": there is no such part'),
        ("motor", "x" * 5000, f'motor = "{"x" * 100}...": there is no such part'),
    ],
)
def test_bad_overrides(bike: Path, key: str, value: object, fragment: str) -> None:
    with pytest.raises(BuildError) as caught:
        load_build(bike, {key: value})
    assert str(caught.value).startswith("override: ")
    assert "\n" not in str(caught.value)
    assert "\x1b" not in str(caught.value)
    assert fragment in str(caught.value)


def test_parse_override() -> None:
    assert parse_override("rider.mass_kg = 60") == ("rider.mass_kg", 60)
    assert parse_override("motor=motor-63mm") == ("motor", "motor-63mm")
    assert parse_override("drive.coupling='freewheel'") == ("drive.coupling", "freewheel")
    with pytest.raises(BuildError, match="is not key=value"):
        parse_override("rider.mass_kg")


def test_every_key_is_either_given_or_a_default(bike: Path) -> None:
    loaded = load_build(bike)
    used = {default.key: default for default in loaded.defaults_used}
    assert not loaded.given & set(used)
    assert used["rider.power_w"].value == 75.0
    assert used["weather.temperature_c"].value == 20.0
    assert used["controller.full_current_above_v"].value is None
    assert "empty" in used["controller.full_current_above_v"].help
    assert not [key for key in used if key.endswith((".name", ".price"))]
    assert "drive.stage.0.efficiency" in used


def test_dict_and_file_give_the_same_build(bike: Path) -> None:
    loaded = load_build(bike)
    data = loaded.build.model_dump(exclude_none=True)
    assert build_from_dict(data).build == loaded.build


def test_dict_is_not_changed() -> None:
    data = {"pack": {"cell": "cell-21700-nmc"}, "motor": {"part": "motor-80mm"}}
    with pytest.raises(BuildError):
        build_from_dict(data)
    assert data == {"pack": {"cell": "cell-21700-nmc"}, "motor": {"part": "motor-80mm"}}


def test_hash_follows_every_file(bike: Path) -> None:
    (bike.parent / "parts").mkdir()
    part = bike.parent / "parts" / "motor-80mm.toml"
    text = (shipped_parts() / "motor-80mm.toml").read_text(encoding="utf-8")
    part.write_text(text, encoding="utf-8")
    before = load_build(bike).sha256
    assert load_build(bike).sha256 == before
    part.write_text(text.replace("1.75", "1.76"), encoding="utf-8")
    assert load_build(bike).sha256 != before


def test_build_is_frozen(bike: Path) -> None:
    build: Build = load_build(bike).build
    with pytest.raises(Exception, match="frozen"):
        build.rider.mass_kg = 1  # type: ignore[misc]


def test_every_shipped_part_fits_its_section(bike: Path) -> None:
    sections = {"cell": "pack.cell", "motor": "motor", "controller": "controller", "tyre": "tyre"}
    names = part_names()
    assert len(names) >= 12
    for name in names:
        load_build(bike, {sections[name.split("-")[0]]: name})


def test_import_is_light() -> None:
    code = (
        "import sys, ridesim.bike.load, ridesim.bike.starter\n"
        "print([m for m in ('numpy', 'numba', 'pandas', 'scipy') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_wheel_carries_the_parts(configs: Path) -> None:
    project = tomllib.loads((configs.parent / "pyproject.toml").read_text(encoding="utf-8"))
    mapping = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert mapping["configs/parts"] == "ridesim/bike/parts"
    assert shipped_parts().samefile(configs / "parts")
