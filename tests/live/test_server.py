"""The live page's server: the same figures as the command, and answers to nobody else."""

from __future__ import annotations

import json
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import load_build, replace_keys
from ridesim.ride.simulate import simulate
from ridesim.road.load import load_road

from .conftest import BUILD, RAMP, ROAD, Server, demo_folder, eventually, head_of, start, state

CHANGES = {"drive.stage.0.driver_teeth": 18, "bicycle.cargo_kg": 63.5, "motor": "motor-63mm"}


def result_of(body: bytes) -> dict[str, Any]:
    lines = [json.loads(line) for line in body.splitlines()]
    assert "error" not in lines[-1], lines[-1]
    found: dict[str, Any] = lines[-1]["result"]
    return found


def test_figures_equal_the_command_to_the_last_digit(server: Server, ridesim_command: Callable[..., Any]) -> None:
    sets = [word for key, value in CHANGES.items() for word in ("--set", f"{key}={value}")]
    said = json.loads(ridesim_command("ride", BUILD, ROAD, *sets, "--json", cwd=server.folder).stdout)
    at_once = server.ride(CHANGES)["figures"]
    assert {key: at_once[key] for key in at_once if key != "verdict"} == {
        key: said[key] for key in at_once if key != "verdict"
    }
    status, body = server.post("more", {"kind": "sure", "state": state(CHANGES)})
    assert status == 200
    later = result_of(body)["figures"]
    assert later == {key: said[key] for key in later}
    assert set(said) - set(later) == {"schema", "version", "command", "inputs"}


def test_columns_are_those_of_the_trace(server: Server) -> None:
    _, body = server.post("ride", {"state": state(), "points": 8000})
    head = head_of(body)
    length = int.from_bytes(body[:4], "little")
    table = np.frombuffer(body[4 + length :], "<f4").reshape(len(head["columns"]), head["rows"])
    ride = simulate(server.folder / BUILD, server.folder / ROAD)
    for name, values in zip(head["columns"][:-1], table[:-1], strict=True):
        assert np.allclose(values, ride.trace[name], rtol=1e-6, atol=1e-4), name


def test_a_bound_that_held_for_one_row_is_still_there_when_thinned() -> None:
    from ridesim.live.riding import LEAST_POINTS, thinned

    bound = np.zeros(5000)
    bound[1234] = 7.0
    kept = thinned({"distance_km": np.linspace(0.0, 9.0, 5000), "bound": bound}, LEAST_POINTS)
    at = np.flatnonzero(kept["bound"] == 7.0)
    assert len(kept["bound"]) == LEAST_POINTS and len(at) == 2
    assert kept["distance_km"][at[0]] <= 9.0 * 1234 / 4999 <= kept["distance_km"][at[-1] + 1]


def test_each_strip_draws_the_limits_of_its_own_parts() -> None:
    """Winding and magnets by their class and grade, driving above zero, braking and charging below it."""
    from ridesim.live.riding import limits_of
    from ridesim.road.made import make_flat

    keys = {
        "controller.motor_current_limit_a": 60.0, "controller.brake_current_limit_a": 25.0, "pack.parallel": 5,
        "controller.pack_current_limit_a": 31.0, "controller.charge_current_limit_a": 7.0,
        "motor.insulation_class": "F", "motor.magnet_grade": "SH", "controller.motor_full_current_below_c": 110.0,
        "controller.motor_no_current_above_c": 130.0, "drive.coupling": "fixed",
    }  # fmt: skip
    bike = replace_keys(load_build("configs/longtail-belt.toml"), keys)
    drawn = limits_of(simulate(bike, make_flat(200.0)))
    motor = bike.build.motor
    assert motor.winding_limit_c != motor.magnet_limit_c
    assert drawn["motor"] == [[60.0, "motor current limit"], [-25.0, "braking current limit"]]
    assert drawn["pack"] == [[31.0, "pack current limit"], [-7.0, "charging current limit"]]
    assert drawn["heat"] == [
        [motor.winding_limit_c, "winding, class F"],
        [motor.magnet_limit_c, "magnets, grade SH"],
        [110.0, "folds back from"],
    ]  # fmt: skip
    freely = replace_keys(bike, {"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0})
    assert [len(limits_of(simulate(freely, make_flat(200.0)))[strip]) for strip in ("motor", "pack")] == [1, 1]


def test_a_thinned_line_keeps_its_peaks(server: Server) -> None:
    _, body = server.post("ride", {"state": state(), "points": 300})
    head = head_of(body)
    length = int.from_bytes(body[:4], "little")
    table = np.frombuffer(body[4 + length :], "<f4").reshape(len(head["columns"]), head["rows"])
    assert head["rows"] == 300
    ride = simulate(server.folder / BUILD, server.folder / ROAD)
    for name in ("winding_temp_c", "motor_current_high_a", "pack_current_low_a", "speed_km_h"):
        column = table[head["columns"].index(name)]
        assert column.max() == pytest.approx(ride.trace[name].max(), rel=1e-6)
        assert column.min() == pytest.approx(ride.trace[name].min(), rel=1e-6)


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Host": "ridesim.example"}, 421),
        ({"Host": "127.0.0.1"}, 421),
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({}, 403),
    ],
)
def test_other_hosts_and_origins_are_refused(server: Server, headers: dict[str, str], status: int) -> None:
    body = json.dumps({"state": state()}).encode()
    assert server.ask("POST", "ride", body, **{k.replace("-", "_"): v for k, v in headers.items()}) == (status, b"")


def test_nothing_is_served_without_the_token(server: Server) -> None:
    wrong = Server(server.port, "x" * 32, server.folder, server.process)
    for path in ("", "start", "static/main.js"):
        assert wrong.ask("GET", path) == (404, b"")
        assert server.ask("GET", path)[0] == 200
    assert server.ask("PUT", "ride", b"{}", Origin=server.origin)[0] == 405


def test_every_answer_forbids_scripts_from_elsewhere(server: Server) -> None:
    import http.client

    for path in (f"/{server.token}/", f"/{server.token}/start", "/x/"):
        line = http.client.HTTPConnection("127.0.0.1", server.port)
        line.request("GET", path)
        answer = line.getresponse()
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; script-src 'self';") and "unsafe-eval" not in policy
        assert answer.headers["cache-control"] == "no-store" and answer.headers["referrer-policy"] == "no-referrer"
        line.close()


OUTSIDE = ("/etc/passwd", "../secret.toml", "parts/../../secret.toml", "link.toml", "a\0.toml", "", ".", "x" * 5000,
           "dropped/../../secret.toml", "~/secret.toml", "file:///etc/passwd", "parts")  # fmt: skip


@pytest.mark.parametrize("name", OUTSIDE)
def test_no_name_leads_out_of_the_folder(server: Server, name: str) -> None:
    secret = server.folder.parent / "secret.toml"
    secret.write_text((server.folder / BUILD).read_text(encoding="utf-8"), encoding="utf-8")
    link = server.folder / "link.toml"
    if not link.is_symlink():
        link.symlink_to(secret)
    status, body = server.post("ride", {"state": state(build=name), "points": 500})
    assert status == 422 and b"no file of the start folder" in body
    status, body = server.post("ride", {"state": state(road=name), "points": 500})
    assert status == 422 and (b"no file of the start folder" in body or b"drop the file again" in body)


@pytest.mark.parametrize(
    "key", ["motor", "motor.part", "extends", "pack.cell", "drive.stage.9.driver_teeth", "__class__"]
)
def test_no_key_reads_a_file(server: Server, key: str) -> None:
    status, body = server.post("ride", {"state": state({key: "../secret"}), "points": 500})
    assert status == 422, body
    assert b"no part at hand" in body or b"is no key of this build" in body
    status, body = server.post("ride", {"state": {**state(), "changes": {"motor": {"part": "../secret"}}}})
    assert status == 422 and b"no plain value" in body


def test_a_fault_says_why_in_words(server: Server) -> None:
    _, body = server.post("ride", {"state": state({"tyre.rolling_resistance": 7})})
    assert "rolling_resistance" in json.loads(body)["error"] and "0.001 to 0.1" in json.loads(body)["error"]


def test_bodies_are_bounded(server: Server) -> None:
    assert server.ask("POST", "ride", b"x" * 300_000, Origin=server.origin)[0] == 413
    with socket.create_connection(("127.0.0.1", server.port)) as line:  # a body without an end
        head = f"POST /{server.token}/ride HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nOrigin: {server.origin}\r\n"
        line.sendall((head + "Transfer-Encoding: chunked\r\n\r\n").encode())
        piece = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
        line.settimeout(10)
        try:
            for _ in range(20):
                line.sendall(piece)
            answer = line.recv(100)
        except OSError:
            answer = b"HTTP/1.1 413"  # hung up on
    assert b" 413" in answer


def test_save_writes_only_what_changed_and_never_over_a_file_unasked(server: Server) -> None:
    changes = {"bicycle.cargo_kg": 12.5, "drive.stage.0.driver_teeth": 17, "motor": "motor-63mm", "motor.mass_kg": 1.1}
    status, body = server.post("save", {"state": state(changes), "name": "lighter"})
    assert status == 200, body
    text = (server.folder / "lighter.toml").read_text(encoding="utf-8")
    assert json.loads(body) == {"written": "lighter.toml", "text": text}
    assert text.startswith('extends = "longtail-belt.toml"\n') and "cargo_kg = 12.5" in text and "rider" not in text
    plain = load_build(server.folder / BUILD)
    wanted = replace_keys(
        replace_keys(plain, {"motor": "motor-63mm"}), {k: v for k, v in changes.items() if k != "motor"}
    )
    saved = load_build(server.folder / "lighter.toml").build
    assert saved.model_copy(update={"name": plain.build.name}) == wanted.build and saved.name == "lighter"
    again = server.post("save", {"state": state({"bicycle.cargo_kg": 1.0}), "name": "lighter"})
    assert again == (409, b'{"there":"lighter.toml"}')
    assert (server.folder / "lighter.toml").read_text(encoding="utf-8") == text
    assert server.post("save", {"state": state({"bicycle.cargo_kg": 1.0}), "name": "lighter", "over": True})[0] == 200
    assert "cargo_kg = 1.0" in (server.folder / "lighter.toml").read_text(encoding="utf-8")
    assert not list(server.folder.glob(".ridesim-*"))


def test_a_key_taken_back_to_its_default_is_saved_so_and_the_command_says_it(server: Server) -> None:
    from ridesim.live.state import State, command_of

    changes = {"rider.power_w": None, "bicycle.cargo_kg": 12.5, "drive.stage.0.width_mm": None}
    status, body = server.post("save", {"state": state(changes), "name": "plainer"})
    assert status == 200 and 'back_to_default = ["rider.power_w"]' in json.loads(body)["text"], body
    plain, saved = load_build(server.folder / BUILD), load_build(server.folder / "plainer.toml")
    wanted = replace_keys(plain, changes)
    assert saved.build.model_copy(update={"name": plain.build.name}) == wanted.build
    assert "rider.power_w" in plain.given and "rider.power_w" not in saved.given
    assert "--set=rider.power_w=default" in command_of(State(BUILD, ROAD, changes))


@pytest.mark.parametrize("name", ["../out", "/else/where", "a/b", ".hidden", "", "a\nb", "x" * 200, "con|x", "link"])
def test_save_takes_plain_names_only(server: Server, name: str) -> None:
    before = {place.name for place in server.folder.parent.iterdir()}
    link = server.folder / "link.toml"
    if not link.is_symlink():
        link.symlink_to(server.folder.parent / "elsewhere.toml")
    status, body = server.post("save", {"state": state({"bicycle.cargo_kg": 1.0}), "name": name, "over": True})
    assert status == 422 and b"name" in body
    assert {place.name for place in server.folder.parent.iterdir()} == before


def test_a_saved_variant_of_a_build_in_a_folder_finds_its_parts(root: Path, tmp_path: Path) -> None:
    from ridesim.live.folder import Folder
    from ridesim.live.state import Shelf, State
    from ridesim.live.variant import variant_text

    inner = tmp_path / "bikes"
    inner.mkdir()
    demo_folder(inner, root)
    own = (inner / "parts" / "motor-63mm.toml").read_text(encoding="utf-8")
    (inner / "parts" / "motor-own.toml").write_text(own, encoding="utf-8")
    folder = Folder(tmp_path, tmp_path)
    asked = State(f"bikes/{BUILD}", f"bikes/{ROAD}", {"motor": "motor-own"})
    changed = Shelf(folder).build(asked)
    (tmp_path / "v.toml").write_text(variant_text(asked, changed, "v", folder), encoding="utf-8")
    assert load_build(tmp_path / "v.toml").build.motor == changed.build.motor


def test_a_dropped_road_is_kept_and_a_text_is_refused_in_words(server: Server) -> None:
    gpx = (server.folder / "ridge-climb.gpx").read_bytes()
    status, body = server.ask("POST", "drop?name=my%20way.gpx", gpx, Origin=server.origin)
    assert status == 200, body
    name = json.loads(body)["road"]
    assert server.ride(road=name)["figures"]["road_km"] == server.ride(road="ridge-climb.gpx")["figures"]["road_km"]
    for title, text in (
        ("a.gpx", b"no road at all"),
        ("b.toml", b'[road]\nkind = "gpx"\nfile = "../x.gpx"\n'),
        ("c.txt", gpx),
    ):
        status, body = server.ask("POST", f"drop?name={title}", text, Origin=server.origin)
        assert status == 422 and json.loads(body)["error"].startswith((title, "road: ")), body
        assert "/" not in json.loads(body)["error"].replace("and/or", "").replace("../x.gpx", "")


def test_two_pages_at_once_do_not_mix(server: Server) -> None:
    loads = [5.0, 80.0]
    alone = [server.ride({"bicycle.cargo_kg": load})["figures"]["net_energy_wh"] for load in loads]
    assert alone[0] < alone[1]
    wrong: list[str] = []

    def page(which: int) -> None:
        for _ in range(25):
            found = server.ride({"bicycle.cargo_kg": loads[which]})["figures"]["net_energy_wh"]
            if found != alone[which]:
                wrong.append(f"page {which}: {found}")

    pages = [threading.Thread(target=page, args=(which,)) for which in (0, 1, 0, 1)]
    for each in pages:
        each.start()
    for each in pages:
        each.join()
    assert not wrong


def test_a_slow_client_does_not_stop_others(server: Server) -> None:
    slow = [socket.create_connection(("127.0.0.1", server.port)) for _ in range(15)]
    head = f"POST /{server.token}/ride HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nOrigin: {server.origin}\r\n"
    for line in slow[:5]:
        line.sendall(head.encode()[:40])
    asked = json.dumps({"state": state(), "points": 8000}).encode()
    for line in slow[10:]:  # asks, and does not read
        line.sendall(f"{head}Content-Length: {len(asked)}\r\n\r\n".encode() + asked)
    for line in slow[5:10]:
        line.sendall((head + "Content-Length: 1000\r\n\r\n{").encode())
    begun = time.monotonic()
    for _ in range(5):
        server.ride()
    assert time.monotonic() - begun < 8.0  # less than the patience with a body
    for line in slow:
        line.close()


def test_a_page_that_goes_away_stops_its_question_and_spoils_no_ride(server: Server) -> None:
    wanted = server.ride()["figures"]
    for _ in range(3):
        with socket.create_connection(("127.0.0.1", server.port)) as line:
            body = json.dumps({"kind": "map", "state": state()}).encode()
            head = f"POST /{server.token}/more HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nOrigin: {server.origin}\r\n"
            line.sendall(f"{head}Content-Length: {len(body)}\r\n\r\n".encode() + body)
            assert b"200" in line.recv(200)
            assert server.ride()["figures"] == wanted
        assert server.ride()["figures"] == wanted
    status, body = server.post("more", {"kind": "check", "state": state()})  # a worker is free again
    assert status == 200 and "<svg" in result_of(body)["html"]


@pytest.mark.parametrize("kind", ["map", "ratios", "range", "regen", "check", "belt", "road"])
def test_each_question_is_answered_by_the_view_of_its_command(server: Server, kind: str) -> None:
    status, body = server.post("more", {"kind": kind, "state": state()})
    found = result_of(body)
    assert status == 200 and found["title"] and "<svg" in found["html"] and "<script" not in found["html"]


def test_names_from_files_are_escaped(server: Server) -> None:
    nasty = '<img src=x onerror="alert(1)">'
    text = (server.folder / BUILD).read_text(encoding="utf-8")
    name = next(line for line in text.splitlines() if line.startswith("name = "))
    (server.folder / "nasty.toml").write_text(text.replace(name, f"name = '{nasty}'"), encoding="utf-8")
    _, body = server.post("more", {"kind": "check", "state": state(build="nasty.toml")})
    assert "<img" not in result_of(body)["html"] and "&lt;img" in result_of(body)["html"]


def test_a_page_to_keep_is_that_of_the_command(server: Server, ridesim_command: Callable[..., Any]) -> None:
    (server.folder / "ramp.toml").write_text(RAMP, encoding="utf-8")
    asked = state({"bicycle.cargo_kg": 50.0}, "ramp.toml")
    status, body = server.post("keep", {"kind": "page", "state": asked, "name": "kept"})
    assert (status, json.loads(body)) == (200, {"written": "kept.html"})
    words = ("ride", BUILD, "ramp.toml", "--set", "bicycle.cargo_kg=50.0", "--report", "said.html")
    ridesim_command(*words, cwd=server.folder)
    pages = [(server.folder / name).read_text(encoding="utf-8").splitlines() for name in ("kept.html", "said.html")]
    apart = [pair for pair in zip(*pages, strict=True) if pair[0] != pair[1]]
    assert len(apart) == 2 and 'class="command"' in apart[0][0] and "as ridesim wrote it" in apart[1][0]
    assert server.post("keep", {"kind": "page", "state": state(), "name": "kept"})[0] == 409


def test_the_whole_bike_is_written_too(server: Server) -> None:
    (server.folder / "ramp.toml").write_text(RAMP, encoding="utf-8")
    status, body = server.post("keep", {"kind": "dossier", "state": state(road="ramp.toml"), "name": "whole"})
    assert (status, json.loads(body)) == (200, {"written": "whole.html"}), body
    text = (server.folder / "whole.html").read_text(encoding="utf-8")
    assert text.count('<section class="chapter"') == 10 and "ridesim dossier longtail-belt.toml ramp.toml" in text


@pytest.mark.parametrize("many", [1000, pytest.param(10_000, marks=pytest.mark.slow)])
def test_malformed_requests_leave_it_standing(server: Server, many: int) -> None:
    chance = random.Random(7)
    good = f"POST /{server.token}/ride HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nOrigin: {server.origin}\r\n"
    nonsense = ({"state": state({"a" * 300: 1e308})}, {"state": state(), "points": "x"}, {"state": state({"": None})})
    bodies = (
        b"", b"{", b"[]", b"null", b'{"state":1}', b'{"state":{"build":[],"road":{}}}', b"\xff\xfe",
        b'{"state":' * 400, b'{"points":NaN}', b"9" * 5000, *(json.dumps(each).encode() for each in nonsense),
    )  # fmt: skip
    heads = (
        b"GET / HTTP/1.1\r\n\r\n", b"\x16\x03\x01\x02", b"GET " + b"/" * 20_000 + b" HTTP/1.1\r\n\r\n",
        b"\r\n" * 50, b"POST / HTTP/9.9\r\nHost: x\r\n\r\n", b"GET /%00%ff HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    )  # fmt: skip
    for number in range(many):
        with socket.create_connection(("127.0.0.1", server.port), timeout=20) as line:
            if chance.random() < 0.5:
                body = chance.choice(bodies)
                text = bytearray(good.encode() + f"Content-Length: {len(body)}\r\n\r\n".encode() + body)
            else:
                text = bytearray(chance.choice(heads))
            for _ in range(chance.randrange(4)):
                text[chance.randrange(len(text))] = chance.randrange(256)
            try:
                line.sendall(bytes(text))
                if number % 3:
                    line.settimeout(0.5 if number % 50 == 0 else 0.01)
                    line.recv(64)
            except OSError:
                continue
    assert server.process.poll() is None
    assert server.ride()["arrived"]


def test_ctrl_c_ends_it_and_leaves_nothing(root: Path, tmp_path: Path) -> None:
    import tempfile

    before = set(Path(tempfile.gettempdir()).glob("tmp*"))
    made = start(demo_folder(tmp_path, root), root, BUILD, ROAD)
    try:
        made.post("more", {"kind": "road", "state": state()})
        made.process.send_signal(signal.SIGINT)
        made.process.wait(20)
    finally:
        made.process.kill()
    assert "Traceback" not in (tmp_path / "stderr.txt").read_text(encoding="utf-8")
    assert eventually(lambda: not (set(Path(tempfile.gettempdir()).glob("tmp*")) - before)), "its room is gone"
    looked_for = ["pgrep", "-f", f"ridesim.live.worker {tmp_path}"]
    assert eventually(lambda: not subprocess.run(looked_for, capture_output=True, text=True).stdout.strip())


def test_without_the_extra_it_says_what_to_install(root: Path) -> None:
    code = (
        "import sys, importlib.util as u\nreal = u.find_spec\n"
        "u.find_spec = lambda name, *more: None if name == 'uvicorn' else real(name, *more)\n"
        "sys.argv = ['ridesim', 'live']\nfrom ridesim.cli.door import main\nmain()"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2 and "live: needs uvicorn; install" in done.stderr


@pytest.mark.benchmark
def test_a_change_is_answered_in_15_ms(server: Server) -> None:
    """The server's own time by its processor's clock: other work on the machine does not count."""
    from ridesim.live.folder import Folder
    from ridesim.live.riding import answer_ride
    from ridesim.live.state import Shelf, State

    shelf, taken = Shelf(Folder(server.folder, server.folder)), []
    for number in range(30):
        asked = State(BUILD, ROAD, {"bicycle.cargo_kg": 20.0 + number})
        begun = time.process_time()
        answer_ride(shelf.build(asked), shelf.road(asked), 4000)
        taken.append(time.process_time() - begun)
    assert sorted(taken)[len(taken) // 2] < 0.015
    assert load_road(server.folder / ROAD).length_m > 19_000.0


@pytest.mark.benchmark
def test_three_hundred_kilometres_are_thinned_and_quick(root: Path) -> None:
    """A day's tour is drawn from at most as many points as were asked for, in a sixth of a second of processor time."""
    from ridesim.live.riding import answer_ride

    loaded = load_build(root / "configs" / BUILD, {"pack.parallel": 80})
    road = load_road(root / "routes" / ROAD).repeated(15)
    answer_ride(loaded, road, 4000)
    begun = time.process_time()
    head = head_of(answer_ride(loaded, road, 4000))
    assert time.process_time() - begun < 0.16
    assert road.length_m > 300_000.0 and head["arrived"] and head["rows"] <= 4000


def test_a_page_draws_both_of_two_different_drives(tmp_path: Path):
    """The figures of the ride, a line for each winding, sliders and parts of the second drive."""
    from ridesim.live.folder import Folder
    from ridesim.live.hands import hands_of
    from ridesim.live.riding import answer_ride
    from ridesim.live.state import Shelf, State
    from ridesim.ride.drives import each_drive
    from ridesim.road.made import make_climb

    configs, hill = Path(__file__).parents[2] / "configs", make_climb(300.0, 5.0)
    shelf, changes = Shelf(Folder(configs, tmp_path)), {"second.drive.stage.0.ratio": 6.0}
    loaded = shelf.build(State("longtail-two-drives.toml", "", changes))
    body = answer_ride(loaded, hill, 8000)
    head, ride = head_of(body), simulate(loaded, hill)
    length = int.from_bytes(body[:4], "little")
    table = np.frombuffer(body[4 + length :], "<f4").reshape(len(head["columns"]), head["rows"])
    for name, values in zip(head["columns"][:-1], table[:-1], strict=True):
        assert np.allclose(values, ride.trace[name], rtol=1e-6, atol=1e-4), name
    assert {"second_winding_temp_c", "second_motor_current_a"} < set(head["columns"])
    told = {each["name"]: each for each in head["headlines"]}
    second = each_drive(ride)[1].figures
    assert told["second_peak_winding_temp_c"]["value"] == second.peak_winding_temp_c
    assert told["peak_winding_temp_c"]["words"] == "first drive, hottest winding"
    assert [35.0, "pack current limit, both"] in head["limits"]["pack"]
    assert [35.0, "2nd motor current limit"] in head["limits"]["motor"]
    hands = hands_of(loaded, configs)
    sliders = {each["key"]: each["words"] for each in hands["hands"]}
    assert sliders["second.drive.stage.0.ratio"] == "2nd drive, ratio"
    assert sliders["second.controller.motor_current_limit_a"] == "2nd drive, motor current limit"
    assert "second.motor" in {each["key"] for each in hands["parts"]}
    plain = hands_of(shelf.build(State("longtail-belt.toml", "", {})), configs)
    assert not any(each["key"].startswith("second.") for each in (*plain["hands"], *plain["parts"]))
