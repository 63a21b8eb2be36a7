"""Bad build files: one clear line each, with file, key, value, range and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from ridesim.bike.keys import ALSO_CALLED, RENAMED, bike_keys
from ridesim.bike.load import build_from_dict, load_build
from ridesim.bike.schema import Build
from ridesim.errors import BuildError
from ridesim.schema.keys import Key, kind_of, walk


def fault_of(path: Path, overrides: dict[str, object] | None = None) -> str:
    with pytest.raises(BuildError) as caught:
        load_build(path, overrides)
    return str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("mass_kg = 78", "mass_kg = -78", "rider.mass_kg = -78 is out of range (20 to 250 kg); "),
        ("driven_teeth = 136", "driven_teeth = 0", "drive.stage.0.driven_teeth = 0 is out of range (5 to 400); "),
        ("mass_kg = 78", 'mass_kg = "78"', 'rider.mass_kg = "78" is not a number (20 to 250 kg); write a number with'),
        ("mass_kg = 78", "mass_kg = true", "rider.mass_kg = true is not a number (20 to 250 kg); "),
        ("mass_kg = 78", "mass_kg = nan", "rider.mass_kg = nan is not a finite number (20 to 250 kg); "),
        ("mass_kg = 78", "mass_kg = inf", "rider.mass_kg = inf is not a finite number (20 to 250 kg); "),
        ("mass_kg = 78", "mass_kg = [78]", "rider.mass_kg = [78] is not a number (20 to 250 kg); "),
        ("series = 13", "series = 13.5", "pack.series = 13.5 is not a whole number (1 to 200); "),
        ('"test bike"', "3", "name = 3 is not text; write it in quotes"),
        ("mass_kg = 78", "mass_k = 78\nmass_kg = 78", "rider.mass_k = 78 is not a known key; did you mean mass_kg?"),
        ("mass_kg = 78", "mass_kg = 78\ncargo_kg = 5", "rider.cargo_kg = 5 is not a known key; it belongs under [bic"),
        ("[rider]", "[ridder]\n[rider]", "[ridder] is not a known section; did you mean rider?"),
        (
            "[[drive.stage]]",
            "[drive.stage]",
            "drive.stage = {...} is not a list of tables; write it as [[drive.stage]], once",
        ),
        ("driven_teeth = 136\n", "", "drive.stage.0.ratio is missing, and so are the teeth; give driver_teeth and"),
        ("driven_teeth = 136", "driven_teeth = 136\nratio = 9", "drive.stage.0.ratio = 9 is given together with teeth"),
        ("mass_kg = 78", "", "rider.mass_kg is missing: rider with clothes and bag (20 to 250 kg); add it under [ri"),
        ("motor-80mm", "motor-90mm", 'motor = "motor-90mm": there is no such part; nearest: motor-80mm'),
        ("motor-80mm", "cell-21700-nmc", 'motor = "cell-21700-nmc" names a cell, not a motor; name a motor part'),
        ('"motor-80mm"', "3", "motor = 3 is not a table; write its keys under [motor]"),
    ],
)
def test_one_fault_is_one_line(bike: Path, old: str, new: str, line: str) -> None:
    text = bike.read_text()
    assert old in text
    bike.write_text(text.replace(old, new, 1))
    fault = fault_of(bike)
    assert fault.startswith(f"{bike}: {line}")
    assert "\n" not in fault


def test_kv_of_zero_names_everything(bike: Path) -> None:
    fault = fault_of(bike, {"motor.kv_rpm_per_v": 0})
    assert fault == (
        "override: motor.kv_rpm_per_v = 0 is out of range (1 to 5000 rpm/V); give a value within "
        "(it means: unloaded speed per volt, line to line, peak)"
    )


def test_commutation_is_a_choice(bike: Path) -> None:
    fault = fault_of(bike, {"controller.commutation": "trapezoid"})
    assert 'controller.commutation = "trapezoid" is not one of sine or six_step' in fault


@pytest.mark.parametrize(
    ("text", "place"),
    [("a = = 1\n", "line 1, column 5"), ("ok = 1\nx = [1,\n", "line 2, column"), ('a = "x\n', "line 1, column")],
)
def test_syntax_error_has_line_and_column(bike: Path, text: str, place: str) -> None:
    bike.write_text(text)
    fault = fault_of(bike)
    assert fault.startswith(f"{bike}, {place}")
    assert "is not valid TOML" in fault
    assert "\n" not in fault


@pytest.mark.parametrize("text", ["a = " + "9" * 5000, "a = " + "[" * 50000])
def test_hostile_toml_is_a_plain_error(bike: Path, text: str) -> None:
    bike.write_text(text)
    assert fault_of(bike).startswith(f"{bike}: ")


def test_not_utf8(bike: Path) -> None:
    bike.write_bytes(b'name = "a"\nx = "\xff"\n')
    assert fault_of(bike) == f"{bike}, line 2: is not UTF-8 text; save the file as UTF-8"


def test_missing_file_suggests_the_nearest(bike: Path) -> None:
    assert f"did you mean {bike}?" in fault_of(bike.parent / "bikes.toml")
    assert "it is a folder, not a file" in fault_of(bike.parent)


def test_missing_parent_suggests_the_nearest(bike: Path) -> None:
    variant = bike.parent / "variant.toml"
    variant.write_text('extends = "bikke"\n')
    assert fault_of(variant) == f'{variant}: extends = "bikke": there is no such file; did you mean "bike.toml"?'


def test_empty_file_names_every_section(bike: Path) -> None:
    bike.write_text("")
    lines = fault_of(bike).splitlines()
    sections = [line.split("[")[1].split("]")[0] for line in lines]
    assert sections == ["rider", "bicycle", "tyre", "motor", "controller", "pack"]
    assert lines[0] == f"{bike}: section [rider] is missing (who rides, and how); give mass_kg (20 to 250 kg)"
    assert 'or name a part: motor = "..."' in lines[3]
    assert lines[5].endswith("; give series (1 to 200), parallel (1 to 200), cell")


def test_all_problems_of_a_file_at_once(bike: Path) -> None:
    text = bike.read_text().replace("mass_kg = 78", "mass_kg = -1\npower = 5").replace("series = 13", "series = 0")
    bike.write_text(text)
    with pytest.raises(BuildError) as caught:
        load_build(bike)
    assert len(caught.value.problems) == 3
    assert str(caught.value).splitlines()[0].endswith("did you mean power_w?")


def test_a_fault_in_a_part_names_the_parts_file(bike: Path) -> None:
    (bike.parent / "parts").mkdir()
    part = bike.parent / "parts" / "bad-cell.toml"
    part.write_text(
        "capacity_ah = 3\nresistance_mohm = 20\nmax_discharge_a = 8\nmax_charge_a = 2\nmass_kg = 0.05\n"
        "charge_fraction = [0.0, 0.5, 1.0]\nopen_circuit_v = [4.2, 3.7, 3.0]\n"
    )
    bike.write_text(bike.read_text().replace("cell-18650-nmc-energy", "bad-cell"))
    assert fault_of(bike) == (
        f"{part}: pack.cell.open_circuit_v does not rise (4.2 is followed by 3.7); list the points from empty to full"
    )


@pytest.mark.parametrize(
    ("overrides", "fragment"),
    [
        ({"pack.cell.charge_fraction": [0.0]}, "pack.cell.charge_fraction = [0.0] has too few points"),
        ({"pack.cell.charge_fraction": [0.1, 1.0]}, "pack.cell.charge_fraction does not run from 0 to 1"),
        ({"pack.cell.open_circuit_v": [3.0, 4.2]}, "has not as many values as charge_fraction"),
        ({"pack.cell.open_circuit_v": ["3.0", 4.2]}, 'pack.cell.open_circuit_v.0 = "3.0" is not a number'),
        ({"pack.cell.resistance_curve": [1.0]}, "pack.cell.resistance_curve has not as many values"),
        ({"pack.cell.max_voltage_v": 2.4}, "pack.cell.max_voltage_v = 2.4 is not more than min_voltage_v"),
        ({"motor.no_load": [{"speed_rpm": 10, "current_a": 1}]}, "motor.no_load needs readings at two"),
        ({"motor.body_to_air_still_w_per_k": None}, "belong together; give both, or neither"),
        ({"motor.body_to_air_still_w_per_k": 5}, "is less than body_to_air_still_w_per_k"),
        ({"controller.motor_no_current_above_c": None}, "belong together; give both, or neither"),
        (
            {"controller.motor_no_current_above_c": 90},
            "_above_c = 90 is not above motor_full_current_below_c",
        ),
        (
            {"controller.full_current_above_v": 30, "controller.no_current_below_v": 31},
            "not above no_current_below_v",
        ),
        ({"bicycle.mass_centre_ahead_mm": 1100}, "is not less than wheelbase_mm"),
    ],
)
def test_keys_at_odds(bike: Path, overrides: dict[str, object], fragment: str) -> None:
    fault = fault_of(bike, overrides)
    assert fragment in fault
    assert "\n" not in fault
    assert "; " in fault


NUMBERS = [item for item in bike_keys() if not item.in_array and kind_of(item.field) in ("number", "whole number")]


@pytest.mark.parametrize("item", NUMBERS, ids=lambda item: f"{item.section}.{item.name}")
def test_every_number_has_a_range_that_holds(item: Key) -> None:
    data: dict[str, object] = {}
    holder = data
    for step in item.section.split("."):
        holder = holder.setdefault(step, {})  # type: ignore[assignment]
    for wrong in (-1e9, 1e9):
        holder[item.name] = int(wrong)
        with pytest.raises(BuildError) as caught:
            build_from_dict(data)
        lines = [line for line in str(caught.value).splitlines() if f"{item.section}.{item.name} = " in line]
        assert len(lines) == 1
        assert f"is out of range ({item.allowed})" in lines[0]


def test_no_message_is_pydantics(bike: Path) -> None:
    wrong: dict[str, object] = {item.name: object() for item in NUMBERS if item.section == "motor"}
    for value in ({}, [], "x", None, 1, wrong):
        for section in ("rider", "motor", "pack", "drive", "weather"):
            try:
                build_from_dict({section: value})
            except BuildError as fault:
                text = str(fault)
                assert "Input should" not in text and "Field required" not in text and "pydantic" not in text
                assert all(": " in line and "; " in line for line in text.splitlines())


@pytest.mark.parametrize(("old", "new"), sorted(RENAMED.items()))
def test_a_key_of_an_earlier_version_names_its_new_one(bike: Path, old: str, new: str) -> None:
    line = fault_of(bike, {f"controller.{old}": 50.0})
    assert "\n" not in line
    assert f"controller.{old} = 50 is not a known key" in line
    assert line.endswith(f"it is called {new} now")


@pytest.mark.parametrize(("word", "told"), [
    ("[bike]\nmass_kg = 20", "[bike] is not a known section; did you mean bicycle?"),
    ("[battery]\ns = 4", "[battery] is not a known section; did you mean pack?"),
    ("[Frame]\nx = 4", "[Frame] is not a known section; did you mean bicycle?"),
])  # fmt: skip
def test_a_section_by_what_people_call_it_is_led_to_its_own(bike: Path, word: str, told: str) -> None:
    """[bike] was asked whether it meant brakes."""
    bike.write_text(f"{bike.read_text()}\n{word}\n")
    assert told in fault_of(bike)


@pytest.mark.parametrize(("section", "word", "told"), [
    ("motor", "poles = 14", "did you mean pole_pairs (half of the poles)?"),
    ("motor", "weight_g = 900", "did you mean mass_kg?"),
    ("controller", "max_amps = 60", "did you mean motor_current_limit_a or pack_current_limit_a?"),
    ("pack", "p = 4", "did you mean parallel?"),
    ("rider", "weight = 80", "did you mean mass_kg?"),
    ("rider", "poles = 4", "did you mean pole_pairs"),
])  # fmt: skip
def test_a_key_by_what_people_call_it_is_led_to_its_own(bike: Path, section: str, word: str, told: str) -> None:
    """Only where the section has such a key: a rider has no poles."""
    key, value = word.split(" = ")
    assert (told in fault_of(bike, {f"{section}.{key}": float(value)})) == ((section, key) != ("rider", "poles"))


def test_what_keys_are_also_called_leads_to_keys_that_are() -> None:
    names = {key.name for key in walk(Build)} | set(Build.model_fields) | {"stage", "no_load"}
    assert {each.split(" ")[0] for called in ALSO_CALLED.values() for each in called} <= names
    assert set(ALSO_CALLED) & names == {"ratio"}  # a key of [[drive.stage]], and asked of [drive]


@pytest.mark.parametrize(("value", "cure"), [
    ("20 kg", "number alone"), ("20kg", "number alone"), ("1,5", "number alone"), ("20 %", "number alone"),
    ("[20", "correct the file there"), ("20 # kg\n]", "correct the file there"),
])  # fmt: skip
def test_a_number_with_its_unit_is_told_to_stand_alone(bike: Path, value: str, cure: str) -> None:
    bike.write_text(f"extra = {value}\n{bike.read_text()}")
    told = fault_of(bike)
    assert "is not valid TOML" in told and cure in told


@pytest.mark.parametrize(("before", "table", "named"), [
    ('controller = "controller-sine-75v-70a"\n', "[controller]\nbrake_current_limit_a = 5\n", "controller"),
    ('[pack]\ncell = "cell-21700-nmc"  # the big one\n', "[pack.cell]\nmass_kg = 0.07\n", "pack.cell"),
])  # fmt: skip
def test_a_part_named_and_changed_is_told_how(tmp_path: Path, before: str, table: str, named: str) -> None:
    """ "Cannot overwrite a value" was told to who names a part and changes one key of it in a table below."""
    file = tmp_path / "bike.toml"
    file.write_text(before + table)
    told = fault_of(file)
    assert f"{named} is both the name of a part and a table; write part" in told and f"under [{named}]" in told
    file.write_text(table + before.replace("[pack]\n", ""))  # the other way round it is another fault, or none
    assert "both the name of a part" not in fault_of(file)
