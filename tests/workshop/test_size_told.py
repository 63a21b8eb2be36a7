"""What a sizing tells a builder: currents as finely as they are set, what set the pack, and what was not tried."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from ridesim.cli.app import app
from ridesim.errors import RidesimError
from ridesim.report.size.view import view
from ridesim.workshop.pack.design import PackNeeds, design_pack
from ridesim.workshop.pack.plan import cell_data, load_cell
from ridesim.workshop.size import sizing
from ridesim.workshop.size.cells import harder_cell
from ridesim.workshop.size.parts import SIZE_CLASSES, Layout
from ridesim.workshop.size.sizing import Sizing, thumb_rules
from ridesim.workshop.size.trial import current_step_a, refuse_impossible, trial, with_limits
from ridesim.workshop.size.wish import Demand, Wish, demand_at

from .test_size_choice import candidate, pack

WISH = Wish(140.0, 30.0, 8.0, 3.0, 40.0, voltages_v=(48.0,))
SMALLEST = next(each for each in SIZE_CLASSES if each.mass_kg == 0.35)
DESIGN = design_pack(cell_data(load_cell(WISH.cell)), PackNeeds(48.0, 300.0, 40.0))


def result(wish: Wish = WISH, demands: tuple[Demand, ...] = (), **of_pack: Any) -> Sizing:
    """A sizing with one proposal, laid in by hand."""
    told = dataclasses.replace(pack(), **{"design": DESIGN, "belts": (), "set_by": "range", **of_pack})
    chosen = dataclasses.replace(candidate(0.9), winding_limit_c=155.0, magnet_limit_c=120.0, total_mass_kg=145.0)
    some = demands or (demand_at(wish, "hill", wish.hill_speed_km_h, wish.hill_percent, 145.0),)
    return Sizing(wish, some, (chosen,), chosen, (told,), (), (), "fine", "its reason")


def said(found: Sizing, units: str = "metric") -> str:
    return " ".join(view(found, units, pictures=False).answer)


def test_a_current_limit_is_the_same_torque_on_every_voltage() -> None:
    """In whole amperes 3.2 A were 4 A: a fourth more torque on 72 V than on 36 V, and three of four voltages were
    stopped for a heat that does not depend on them. In steps of a hundredth to a tenth of it they are alike."""
    easy = Wish(95.0, 25.0, 0.5, 0.1, 40.0)
    torques = []
    for volts, kv in ((36.0, 96.0), (48.0, 72.0), (60.0, 57.6), (72.0, 48.0)):
        limit = with_limits(easy, trial(easy, Layout(SMALLEST, 2), 14.4, kv, volts))[1]
        assert limit == pytest.approx(round(limit, 1), abs=1e-9)
        torques.append(limit / kv)
    assert max(torques) / min(torques) < 1.03


@pytest.mark.parametrize(("amperes", "step"), [(0.5, 0.1), (19.99, 0.1), (99.9, 0.1), (100.0, 1.0), (1200.0, 1.0)])
def test_currents_have_three_figures_and_a_tenth_at_the_finest(amperes: float, step: float) -> None:
    assert current_step_a(amperes) == step


def test_a_limit_is_told_with_the_tenth_that_it_has() -> None:
    """6.2 A were told as 6 A; 82 A and 206 A need no more."""
    for limit_a, words, sine in ((6.2, "6.2 A", "7.2 A"), (82.0, "82 A", "94.7 A"), (206.0, "206 A", "238 A")):
        found = result(motor_current_limit_a=limit_a, pack_current_limit_a=37.5)
        assert f"a motor current limit of {words} DC-equivalent ({sine} as a sine controller" in said(found)
        table = next(each for each in view(found, pictures=False).tables if each.title.startswith("By pack voltage"))
        assert f"{limit_a:g} A" in table.rows[0] and "37.5 A" in table.rows[0]


def test_the_demand_is_that_of_the_day_s_air() -> None:
    """Cold air is heavier: by the ideal gas 298 K / 263 K at -10 degC; on the level nothing else asks for it."""
    cold, warm = (dataclasses.replace(WISH, temperature_c=each) for each in (-10.0, 25.0))
    force = {each: demand_at(each, "", 40.0, 0.0, 140.0, pedalled=False).wheel_force_n for each in (cold, warm)}
    drag = 0.5 * 1.1839 * 0.559 * (40.0 / 3.6) ** 2
    assert force[cold] - force[warm] == pytest.approx(drag * (298.15 / 263.15 - 1.0), rel=1e-3)


def test_the_rule_of_a_kilogram_a_kilowatt_counts_what_asks_for_most() -> None:
    """A commute on the flat, where legs do the hill: 0.00 kg were told. At 85 % of what the top speed takes."""
    flat = Wish(95.0, 25.0, 0.5, 0.1, 40.0, rider_power_w=120.0)
    hill, top = demand_at(flat, "", 15.0, 0.5, 98.0), demand_at(flat, "", 25.0, 0.0, 98.0, pedalled=False)
    assert hill.wheel_power_w == 0.0 < top.wheel_power_w
    told = next(row for row in thumb_rules(result(flat, (hill, top))) if row[0].startswith("1 kg"))
    assert told[1] == f"{top.wheel_power_w / 850.0:.2f} kg"


def test_the_rules_stand_beside_the_heat_that_the_answer_tells() -> None:
    """The candidate's 82 degC stood in the table, the 81 degC of its build in the answer."""
    rules = thumb_rules(result(peak_winding_temp_c=81.2))
    assert any(row[2] == "0.9 kg (the winding reaches 81 °C of 155 °C)" for row in rules)


@pytest.mark.parametrize(
    ("set_by", "left", "told"),
    [("current", 0.51, True), ("current", 0.49, False), ("cell limits", 0.51, True), ("range", 0.9, False)],
)
def test_a_pack_that_its_current_made_large_says_which_cells_make_it_smaller(
    set_by: str, left: float, told: bool
) -> None:
    """A steep hill of half a kilometre: 1069 Wh and 4.9 kg for 15 km, with cells for current 360 Wh and 2.1 kg."""
    words = said(result(set_by=set_by, charge_left_fraction=left))
    assert ("--cell cell-18650-nmc-power" in words) is told
    assert (f"comes home with {left:.0%}" in words) is told


def test_cells_that_give_more_current_are_named_where_there_are_any(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """By what a cell's rating is to its capacity; half as much again is worth a word, a little less is not."""
    assert harder_cell("cell-18650-nmc-energy") == harder_cell("cell-21700-nmc") == "cell-18650-nmc-power"
    assert harder_cell("cell-18650-nmc-power") == ""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "parts").mkdir()
    own = "capacity_ah = {}\nresistance_mohm = 14\nmass_kg = 0.05\nmax_charge_a = 4\nmax_discharge_a = {}\n"
    for share, found in ((0.99, ""), (1.01, "cell-own")):
        (tmp_path / "parts" / "cell-own.toml").write_text(own.format(2.5, share * 1.5 * 20.0))
        assert harder_cell("cell-18650-nmc-power") == found
    (tmp_path / "parts" / "cell-own.toml").write_text(own.format(9.0, 60.0))  # more current, of a larger cell
    assert harder_cell("cell-18650-nmc-energy") == "cell-18650-nmc-power"
    (tmp_path / "parts" / "cell-own.toml").write_text("capacity_ah = -1\n")
    assert harder_cell("cell-18650-nmc-energy") == "cell-18650-nmc-power"  # what is no cell is passed over


def test_where_none_does_it_what_was_left_out_is_said() -> None:
    """A builder who has motors up to 0.35 kg was told that none of the sizes does it."""
    for changes, words in (
        ({}, "None of the sizes does it: a slower hill"),
        ({"heaviest_motor_kg": 0.9}, "None of the sizes up to the 0.9 kg asked for does it: a heavier motor"),
    ):
        wish = dataclasses.replace(WISH, **changes)
        found = dataclasses.replace(result(wish), packs=(), verdict="stop")
        assert words in said(found)
        assert ("Without --heaviest-motor-kg other ways are tried too." in said(found)) is bool(changes)
    both = dataclasses.replace(WISH, motors=1, heaviest_motor_kg=0.9)
    found = dataclasses.replace(result(both), packs=(), verdict="stop")
    assert "Without --motors and --heaviest-motor-kg other ways are tried too." in said(found)
    assert "up to the 2.0 lb asked for" in said(found, "imperial")


def test_a_voltage_named_twice_is_answered_once_and_the_leading_build_is_the_one_that_leans(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    near = tuple(each for each in SIZE_CLASSES if not each.hub and each.mass_kg == 0.7)
    monkeypatch.setattr(sizing, "SIZE_CLASSES", near)
    words = "size --mass-kg 95 --top-speed-km-h 25 --hill 6,0.5 --range-km 5 --motors 1 --gears 1 --json --voltages"
    done = CliRunner().invoke(app, [*words.split(), "36,48,48"])
    assert done.exit_code == 0, done.stderr
    assert [each["nominal_voltage_v"] for each in json.loads(done.stdout)["packs"]] == [36.0, 48.0]
    assert "48 V leans on" in done.stdout.replace("\\n", " ") + done.stderr
    with pytest.raises(RidesimError, match="voltages"):
        dataclasses.replace(WISH, voltages_v=())


def test_a_short_hill_is_asked_about_as_long_as_it_is() -> None:
    """Fifty metres were told as 0.1 km."""
    for hill_km, words in ((0.05, "8 % for 0.05 km at"), (0.5, "8 % for 0.5 km at"), (3.0, "8 % for 3.0 km at")):
        assert words in view(result(dataclasses.replace(WISH, hill_km=hill_km)), pictures=False).question


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"cell": "cell-of-nobody"}, "no such part"),
        ({"changes": (("bicycle.grippy", 1.0),)}, "grippy"),
        ({"changes": (("bicycle.grip", 99.0),)}, "grip"),
        ({"changes": (("drive.coupling", "banana"),)}, "banana"),
    ],
)
def test_what_no_bike_can_have_is_told_as_that_and_not_as_too_hard_a_wish(changes: dict[str, Any], says: str) -> None:
    """A cell or a key that is not there: "no candidate can be ridden; ask for less speed, less hill or less mass"."""
    with pytest.raises(RidesimError, match=says) as caught:
        sizing.size_drive(dataclasses.replace(WISH, **changes))
    assert "less speed" not in str(caught.value)


def test_a_wish_too_hard_for_any_is_still_told_as_that(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sizing, "coolest", lambda *_: None)
    with pytest.raises(RidesimError, match="no candidate can be ridden at all; ask for less speed"):
        sizing.size_drive(WISH)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"hill_percent": 0.0}, r"0 is below the 0\.5 % .* flat way: give --hill 0\.5,0\.05"),
        ({"hill_percent": 0.0, "hill_km": 0.0}, r"flat way: give --hill 0\.5,0\.05"),
        ({"hill_km": 0.0}, r"hill_km: 0 is out of range \(0\.05"),
        ({"hill_percent": 0.49}, "flat way"),
        ({"hill_percent": 31.0}, r"31 is out of range \(0\.5 to 30\)"),
        ({"top_speed_km_h": 12.0}, r"15 km/h is above the top speed of 12 km/h; give --hill-speed"),
    ],
)
def test_a_flat_way_and_a_slow_bike_are_told_what_to_ask_for(changes: dict[str, float], says: str) -> None:
    """The hill speed has a default: a builder who gave none was told to lower it."""
    with pytest.raises(RidesimError, match=says):
        dataclasses.replace(WISH, **changes)
    dataclasses.replace(WISH, hill_percent=0.5, hill_km=0.05, top_speed_km_h=15.0)


def test_no_wish_is_refused_by_a_key_that_nobody_gave() -> None:
    """440 kg are 20 of bicycle, 120 of rider and 300 of load, all that a build may have; 500 kg were let in, and ended
    as no candidate or as a key of a trial bike."""
    with pytest.raises(RidesimError, match=r"wish\.mass_kg: 441 is out of range \(40 to 440\)"):
        dataclasses.replace(WISH, mass_kg=441.0)
    wildest = Wish(440.0, 100.0, 30.0, 50.0, 500.0, hill_speed_km_h=80.0)
    for each in (wildest, Wish(40.0, 10.0, 0.5, 0.05, 1.0, hill_speed_km_h=4.0)):
        refuse_impossible(each)
    with pytest.raises(RidesimError, match="no such part"):
        refuse_impossible(dataclasses.replace(wildest, cell="cell-of-nobody"))
