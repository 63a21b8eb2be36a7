"""A bike of two different drives: who knows it answers for both, any other says in one line that it does not."""

from __future__ import annotations

import copy
import json
from pathlib import Path

import pytest

from ridesim.bike.load import build_from_dict, load_build, replace_keys
from ridesim.cli.app import COMMANDS
from ridesim.cli.door import run
from ridesim.errors import BuildError
from ridesim.ride.brakes import brakes_heat
from ridesim.ride.drives import each_drive
from ridesim.ride.judge import judge
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb

from ..bikes import twice

BUILD, ROAD = "configs/longtail-two-drives.toml", "short.toml"
SHORT = """
[road]
kind = "points"
name = "a short hill"
distance_km = [0.0, 0.3, 0.7]
altitude_m = [100.0, 103.0, 120.0]
"""
KNOW_BOTH = {
    "ride", "spread", "range", "regen", "compare", "ratios", "season", "live", "dossier", "search", "check", "wire",
    "law", "descend", "throttle", "launch", "climb",
}  # fmt: skip
ASK_NO_BUILD = {"road", "new", "pack", "group", "bench", "size", "evidence", "explain", "log", "cell", "coastdown"}
LOG = "time_s,speed_km_h,motor_current_a\n" + "".join(f"{t},18,10\n" for t in range(60))
GOALS = f'build = "{BUILD}"\nmatters = ["total_time_s"]\n[[road]]\nfile = "{ROAD}"\n'
REFUSED = {
    "belt": f"{BUILD} {ROAD}",
    "mount": f"{BUILD} {ROAD}",
    "rewind": f"{BUILD} {ROAD} --turns 10 --teeth 12 --connection star",
    "replay": f"{BUILD} log.csv",
    "fit": f"{BUILD} log.csv",
}


@pytest.fixture
def here(tmp_path: Path, root: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the demo builds, a short road, goals and a log."""
    (tmp_path / "configs").symlink_to(root / "configs")
    for name, text in ((ROAD, SHORT), ("goals.toml", GOALS), ("log.csv", LOG)):
        (tmp_path / name).write_text(text)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_every_command_is_told_apart():
    assert set(COMMANDS) == KNOW_BOTH | ASK_NO_BUILD | set(REFUSED)


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_who_knows_one_drive_only_says_so(name: str, here: Path, capfd):
    assert run([name, *REFUSED[name].split()]) == 2
    told = capfd.readouterr()
    assert told.out == ""
    assert "two different drives" in told.err and "Traceback" not in told.err


def test_a_ride_tells_of_both(here: Path, capfd):
    assert run(["ride", BUILD, ROAD, "--json", "--quick"]) == 0
    answer = json.loads(capfd.readouterr().out)
    first, second = answer["drives"]
    assert (first["drive"], second["drive"]) == ("first drive", "second drive")
    assert second["peak_winding_temp_c"] > first["peak_winding_temp_c"] > 20.0
    assert answer["ledger_wh"]["second_motor_copper_loss"] > 0.0
    assert any(row["key"] == "second.motor.rotor_inertia_kg_m2" and row["value"] > 0.0
               for row in answer["defaults_used"])  # fmt: skip
    subjects = {each["subject"] for each in answer["verdict"]["findings"] if each["name"] == "winding"}
    assert subjects == {"first drive", "second drive"}
    assert run(["ride", BUILD, ROAD, "--out", "rides", "--quick"]) == 0
    words = capfd.readouterr().out
    assert "first drive" in words and "second drive" in words
    heads = (here / "rides" / "trace.csv").read_text().splitlines()[0].split(",")
    assert {"second_motor_current_a", "second_winding_temp_c", "second_limit"} <= set(heads)
    assert (here / "rides" / "currents.png").stat().st_size > 10_000


def test_check_and_wire_know_a_controller_each(here: Path, capfd):
    assert run(["check", BUILD, ROAD, "--json"]) == 0
    findings = json.loads(capfd.readouterr().out)["findings"]
    for name in ("winding", "electrical_frequency", "standing_force", "supply_voltage", "lead", "fuse"):
        subjects = [each["subject"] for each in findings if each["name"] == name]
        assert any("first drive" in each for each in subjects), name
        assert any("second drive" in each for each in subjects), name
    assert run(["wire", BUILD, ROAD, "--json"]) == 0
    copper = json.loads(capfd.readouterr().out)
    assert [lead["kind"] for lead in copper["leads"]] == ["pack", "charge"]
    assert [[lead["kind"] for lead in part["leads"]] for part in copper["drives"]] == [["pack", "phase"]] * 2
    assert all(part["fuse"] and part["precharge"] for part in copper["drives"]) and not copper["precharge"]
    trunk, *parts = (each["leads"][0]["load"]["peak_current_a"] for each in (copper, *copper["drives"]))
    assert max(parts) < trunk <= sum(parts) * 1.001


def test_the_brakes_know_which_wheel_each_motor_brakes(here: Path, capfd):
    """A front motor's regen takes its part off the front brake, a rear one's off the rear: by moments, as one drive."""
    keys = {"second.drive.coupling": "fixed", "second.controller.brake_current_limit_a": 30.0}
    down, stopped = make_climb(1500.0, -13.0), {"brakes.front.kind": "disc", "brakes.rear.kind": "disc"}
    heat = {}
    for first, second in (("rear", "front"), ("rear", "rear"), ("front", "front")):
        wheels = {"drive.driven_wheel": first, "second.drive.driven_wheel": second}
        loaded = load_build(BUILD, {**keys, **stopped, **wheels, "pack.start_charge_fraction": 0.6})
        found = {each.wheel: each.taken_wh for each in brakes_heat(simulate(loaded, down)).brakes}
        heat[first, second] = found["front"] / (found["front"] + found["rear"])
    assert heat["front", "front"] < heat["rear", "front"] - 0.02 < heat["rear", "rear"] - 0.04
    assert run(["descend", BUILD, "--grade", "8", "--minutes", "2", "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["verdict"] in ("fine", "look again", "stop")


@pytest.mark.parametrize(("above_k", "word"), [(-25.0, "fine"), (-2.0, "look again"), (1.0, "stop")])
def test_the_second_winding_is_judged_by_its_own_limit(above_k: float, word: str):
    """Its class allows 130 degC (IEC 60085, class B), the first one's 155: just inside, near, and just outside."""
    from ridesim.engine.state import Total

    loaded = load_build("configs/longtail-two-drives.toml", {"second.motor.insulation_class": "B"})
    ride = simulate(loaded, make_climb(200.0, 2.0), trace=False)
    second = ride.raw.second
    assert second is not None
    second.totals[Total.PEAK_WINDING] = 130.0 + above_k
    ride.raw.totals[Total.PEAK_WINDING] = 130.0 + above_k
    (held,) = [each for each in judge(ride).findings if each.name == "winding" and each.subject == "second drive"]
    assert (held.verdict, held.limit) == (word, 130.0)
    assert held.reason.startswith("Second drive: The winding reaches")
    assert each_drive(ride)[1].figures.winding_limit_c == 130.0


def faulty(**keys: object) -> str:
    with pytest.raises(BuildError) as fault:
        load_build("configs/longtail-two-drives.toml", {name.replace("__", "."): keys[name] for name in keys})
    return str(fault.value)


def test_what_cannot_be_together_is_told():
    laws = faulty(second__controller__throttle_law="voltage")
    assert "has the throttle law voltage, the first drive torque; one throttle commands both" in laws
    assert "motors = 2" in faulty(drive__motors=2)
    assert "one motor" in faulty(second__drive__motors=2)
    assert "describe that drive as the first one" in faulty(second__drive__gears__ratios=[2.0, 1.0])
    assert "second.motor.kv_rpm_per_v" in faulty(second__motor__kv_rpm_per_v=0.0)
    assert "second drive" in faulty(
        second__controller__no_current_below_v=70.0, second__controller__full_current_above_v=75.0
    )


def test_its_keys_are_those_of_a_drive():
    loaded = load_build("configs/longtail-two-drives.toml")
    own = replace_keys(loaded, {"second.motor": "motor-63mm", "second.motor.mass_kg": 2.0, "tolerance": {}})
    assert own.build.second is not None
    assert (own.build.second.motor.kv_rpm_per_v, own.build.second.motor.mass_kg) == (180, 2.0)
    sure = build_from_dict({**loaded.data, "tolerance": {"second.motor.resistance_mohm": "5 %"}})
    assert "second.motor.resistance_mohm" in sure.stated.by_key
    mass = loaded.build.mass_kg
    assert replace_keys(loaded, {"second.motor.mass_kg": 3.6}).build.mass_kg == pytest.approx(mass + 1.0)


def test_a_dossier_says_which_chapters_know_one_drive_only(here: Path):
    from ridesim.report.dossier.chapters import CHAPTERS, Asked, _shown
    from ridesim.road.load import load_road
    from ridesim.workshop.check.sheet import check_build

    loaded, road = load_build(BUILD), load_road(ROAD)
    asked = Asked(loaded, road, simulate(loaded, road), check_build(loaded, road), "metric", lambda _: None)
    told = {
        name: _shown(words, make, asked) for name, words, make in CHAPTERS if name not in ("ride", "sure", "ratios")
    }
    silent = {name for name, view in told.items() if view.answer[0].startswith("Nothing to say here")}
    assert silent == {"belts"} and "no stage of kind belt" in told["belts"].answer[0]
    assert "it holds 8 %" in told["hold"].answer[2]
    assert told["mount"].title.endswith(": first drive") and "--drive 2" in told["mount"].notes[-1]
    belts = {name: make for name, _, make in CHAPTERS}["belts"]
    _, written = twice("longtail-two-stage.toml")
    twin = Asked(written, road, simulate(written, road), check_build(written, road), "metric", lambda _: None)
    assert belts(twin).title.endswith(": first drive")
    assert "second drive" in " ".join(told["leads"].answer)


def test_a_law_that_both_cannot_have_is_refused_on_the_command_line_too(here: Path, capfd):
    """A drive with gears beside another one has no voltage law, in the build or by --law."""
    data = copy.deepcopy(dict(load_build("configs/longtail-mid-drive.toml").data))
    data["second"] = copy.deepcopy(load_build(BUILD).data["second"])
    data["second"]["controller"] |= {"full_current_above_v": 40.0, "no_current_below_v": 36.0}
    geared, hill = build_from_dict(data), make_climb(200.0, 3.0)
    assert simulate(geared, hill, throttle_law="governor", trace=False).finished
    with pytest.raises(BuildError, match="shares a voltage throttle with a drive of gears"):
        simulate(geared, hill, throttle_law="voltage", trace=False)
    assert run(["ride", BUILD, ROAD, "--law", "voltage", "--quick"]) == 0
    capfd.readouterr()
