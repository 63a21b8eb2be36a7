"""The stream of points: the same as another reader finds, whatever the file's form, and never without end."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridesim.errors import RoadError
from ridesim.road import clock, stream
from ridesim.road.gpx import parse_gpx
from ridesim.road.load import load_road

from .conftest import COPIED, PROJECT, gpx_xml, point_xml

ROUTES = sorted((PROJECT / "routes").glob("*.gpx"))
LINE = [point_xml(45.0 + 1e-4 * i, 7.0, 100.0 + i, f"2024-05-01T06:00:{i:02d}Z") for i in range(40)]


def same_as_gpxpy(path: Path) -> None:
    """Assert that gpxpy finds the same points with the same columns."""
    gpxpy = pytest.importorskip("gpxpy")
    with path.open(encoding="utf-8-sig") as file:
        document = gpxpy.parse(file)
    lines = [s.points for t in document.tracks for s in t.segments if s.points]
    lines = lines or [route.points for route in document.routes if route.points]
    points = [point for line in lines for point in line]
    ours = parse_gpx(path)
    assert ours.latitude_deg.tolist() == [point.latitude for point in points]
    assert ours.longitude_deg.tolist() == [point.longitude for point in points]
    altitude = [np.nan if point.elevation is None else point.elevation for point in points]
    assert np.array_equal(ours.altitude_m, altitude, equal_nan=True)
    seconds = [np.nan if point.time is None else point.time.timestamp() for point in points]
    assert np.array_equal(ours.time_s, seconds, equal_nan=True)
    assert ours.segment.tolist() == [number for number, line in enumerate(lines) for _ in line]


@pytest.mark.parametrize("path", [*sorted(COPIED.glob("*.gpx")), *ROUTES], ids=lambda path: path.name)
def test_points_are_those_of_gpxpy(path: Path) -> None:
    if path.name != "ext-no-ns.gpx":  # it has no track, and is refused elsewhere
        same_as_gpxpy(path)


@pytest.mark.parametrize("name", ["ride-c", "commute-phone", "flat-36km", "noisy-30km", "quarter-without-altitude"])
def test_shared_points_are_those_of_gpxpy(name: str, shared_track) -> None:
    same_as_gpxpy(shared_track(f"{name}.gpx"))


FORMS = {
    "comment around points": lambda text: text.replace(LINE[3], f"<!-- {LINE[3]}\n{LINE[4]} -->"),
    "comment that ends at a point": lambda text: text.replace(LINE[3], f"<!-- {LINE[2]} --> {LINE[3]}"),
    "CDATA around points": lambda text: text.replace(LINE[3], f"<name><![CDATA[{LINE[3]}{LINE[4]}]]></name>"),
    "CDATA in a segment": lambda text: text.replace(LINE[3], f"<![CDATA[ x {LINE[3]}\n]]>"),
    "extensions": lambda text: text.replace("</trkpt>", "<extensions><hr>99</hr><ele>7</ele></extensions></trkpt>"),
    "single quotes": lambda text: text.replace('lat="', "lat='").replace('" lon', "' lon"),
    "other order": lambda text: text.replace('lat="45.0" lon="7.0"', 'n="1" lon="7.0" lat="45.0"'),
    "numbers with exponents": lambda text: text.replace("<ele>100.0", "<ele> 1e2\n"),
    "an empty time and altitude": lambda text: text.replace("<ele>103.0</ele>", "<ele/>", 1).replace(
        "<time>2024-05-01T06:00:05Z</time>", "<time></time>", 1
    ),
    "instructions": lambda text: text.replace(LINE[5], f"<?x {LINE[4]} ?>{LINE[5]}"),
    "waypoint and route beside": lambda text: text.replace(
        "<trk>", '<wpt lat="1" lon="1"><ele>5</ele></wpt><rte><rtept lat="2" lon="2"><ele>1</ele></rtept></rte><trk>'
    ),
    "several tracks": lambda text: text.replace(LINE[9], "</trkseg></trk><trk><trkseg/><trkseg>" + LINE[9]),
    "other times": lambda text: text.replace("06:00:07Z", "08:00:07+02:00").replace("06:00:08Z", "06:00:08.250Z"),
}  # fmt: skip


@pytest.mark.parametrize("form", list(FORMS))
@pytest.mark.parametrize("joint", ["", "\n"])
def test_any_form_reads_as_gpxpy_does(form: str, joint: str, tmp_path: Path) -> None:
    path = tmp_path / "form.gpx"
    text = gpx_xml(joint.join(LINE))
    changed = FORMS[form](text)
    assert changed != text
    path.write_text(changed, encoding="utf-8")
    same_as_gpxpy(path)


def test_names_may_have_a_prefix(tmp_path: Path) -> None:
    path, plain = tmp_path / "prefix.gpx", tmp_path / "plain.gpx"
    text = gpx_xml("".join(LINE))
    plain.write_text(text)
    path.write_text(text.replace("<", "<g:").replace("<g:/", "</g:").replace("<g:?", "<?"))
    assert np.array_equal(parse_gpx(path).altitude_m, parse_gpx(plain).altitude_m)


def test_pieces_may_end_anywhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "form.gpx"
    path.write_text(FORMS["comment that ends at a point"](gpx_xml("\n".join(LINE))))
    whole = parse_gpx(path)
    for size in (1, 7, 61, 173):
        monkeypatch.setattr(stream, "PIECE_BYTES", size)
        again = parse_gpx(path)
        assert np.array_equal(again.altitude_m, whole.altitude_m) and np.array_equal(again.time_s, whole.time_s)


def test_a_fault_behind_lifted_points_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "form.gpx"
    path.write_text(gpx_xml("\n".join(LINE) + "\n</trk>"))
    with pytest.raises(RoadError, match=r"broken XML \(mismatched tag, line 41, column 3\)"):
        parse_gpx(path)


@given(st.lists(st.datetimes(clock.datetime(1901, 1, 1), clock.datetime(2199, 12, 31)), min_size=1, max_size=20))
@settings(max_examples=100, deadline=None)
def test_plain_times_are_those_of_the_standard_library(times: list) -> None:
    texts = [time.replace(microsecond=0).isoformat() + "Z" for time in times]
    expected = [(time.replace(microsecond=0, tzinfo=clock.UTC) - clock.EPOCH).total_seconds() for time in times]
    assert clock.seconds_of(texts)[0].tolist() == expected


@pytest.mark.parametrize(
    "text", ["2024-02-30T06:00:00Z", "2024-05-01T06:00:00+99:99", "2024-05-01T24:61:00Z", "yesterday", "0001-01-01"]
)
def test_a_time_that_is_none_is_missing_and_told(text: str, tmp_path: Path) -> None:
    path = tmp_path / "form.gpx"
    path.write_text(gpx_xml("".join(LINE).replace("2024-05-01T06:00:05Z", text)))
    track = parse_gpx(path)
    assert np.isnan(track.time_s).sum() == 1 and np.isnan(track.time_s[5])
    assert track.warnings == ("1 times cannot be read and count as missing",)


ENDLESS = {
    "token": lambda: b"<gpx><trk><name x='" + b"y" * (6 << 20) + b"'/></trk></gpx>",
    "text": lambda: b"<gpx><trk><name>" + b"y\n" * (2 << 20) + b"</name></trk></gpx>",
    "comment": lambda: b"<gpx><!--" + b" y" * (3 << 20) + b"--></gpx>",
    "names": lambda: b"<gpx>" + b"".join(b"<a%d/>" % i for i in range(20_000)) + b"</gpx>",
    "attributes": lambda: b"<gpx>" + b"".join(b"<a b%d='1'/>" % i for i in range(150_000)) + b"</gpx>",
    "depth": lambda: b"<gpx>" + b"<a>" * 1_000_000,
    "segments": lambda: b"<gpx><trk>" + b"<trkseg><trkpt lat='1' lon='1'/></trkseg>" * 210_000 + b"</trk></gpx>",
    "elements": lambda: b"<gpx>" + b"<a/>" * 2_300_000 + b"</gpx>",
}


@pytest.mark.parametrize("what", list(ENDLESS))
def test_what_has_no_end_is_refused(what: str, tmp_path: Path) -> None:
    path = tmp_path / "endless.gpx"
    path.write_bytes(ENDLESS[what]())
    with pytest.raises(RoadError) as caught:
        parse_gpx(path)
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 400


REFUSING = """
import sys
from pathlib import Path
from ridesim.errors import RoadError
from ridesim.road.load import load_road
for path in sys.argv[1:]:
    try:
        load_road(path)
    except RoadError:
        # Of this program alone: getrusage would tell the peak of the process that started it.
        (peak,) = (row for row in Path("/proc/self/status").read_text().splitlines() if row.startswith("VmHWM"))
        print(float(peak.split()[1]) / 1024.0)
"""


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the peak of memory is read from Linux")
def test_what_is_refused_stays_small(tmp_path: Path) -> None:
    paths = []
    for name, make in ENDLESS.items():
        paths.append(tmp_path / f"{name}.gpx")
        paths[-1].write_bytes(make())
    done = subprocess.run(
        [sys.executable, "-c", REFUSING, *map(str, paths)], capture_output=True, text=True, check=True
    )
    mebibytes = [float(line) for line in done.stdout.split()]
    assert len(mebibytes) == len(ENDLESS) and max(mebibytes) < 400.0


def test_too_many_points_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stream, "GPX_POINTS", 39)
    path = tmp_path / "long.gpx"
    path.write_text(gpx_xml("".join(LINE)))
    with pytest.raises(RoadError, match="more than 39 points"):
        parse_gpx(path)


@pytest.mark.parametrize("ending", [".gpx", ".toml"])
def test_what_is_no_file_is_refused_before_it_is_opened(ending: str, tmp_path: Path) -> None:
    pipe, plug, folder = (tmp_path / f"{name}{ending}" for name in ("pipe", "plug", "folder"))
    os.mkfifo(pipe)
    folder.mkdir()
    with socket.socket(socket.AF_UNIX) as end:
        end.bind(str(plug))
        for path, kind in ((pipe, "a pipe"), (plug, "a socket"), (folder, "a folder")):
            found: list[str] = []

            def read(path: Path = path, found: list[str] = found) -> None:
                try:
                    load_road(path)
                except RoadError as error:
                    found.append(str(error))

            thread = threading.Thread(target=read, daemon=True)
            thread.start()
            thread.join(5.0)
            assert found == [f"{path}: cannot be read: it is {kind}, not a file; name a file"]


def test_a_circle_of_links_and_a_device_are_refused(tmp_path: Path) -> None:
    circle, device = tmp_path / "circle.gpx", tmp_path / "device.gpx"
    circle.symlink_to(circle)
    device.symlink_to("/dev/zero")
    with pytest.raises(RoadError, match="cannot be read"):
        load_road(circle)
    with pytest.raises(RoadError, match="it is a device"):
        load_road(device)
    with pytest.raises(RoadError, match="cannot be read"):
        load_road(tmp_path / ("x" * 300 + ".gpx"))
    with pytest.raises(RoadError) as caught:
        load_road(tmp_path / "two\nlines.gpx")
    assert "\n" not in str(caught.value)


BIG = """
import resource, sys, time
from ridesim.road.load import load_road
began = time.process_time()
road = load_road(sys.argv[1])
print(time.process_time() - began, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0, road.length_m)
"""


@pytest.mark.slow
@pytest.mark.parametrize("timed", [False, True])
def test_a_million_points(timed: bool, tmp_path: Path) -> None:
    path = tmp_path / "million.gpx"
    number = np.arange(1_000_000)
    latitude, longitude = 45.0 + 1.5 * np.sin(2e-5 * number), 7.0 + 1.2e-5 * number
    altitude = 500.0 + 100.0 * np.sin(number * 3.0 / 800.0)
    stamp = np.datetime_as_string(np.datetime64("2024-05-01T06:00:00") + number.astype("timedelta64[s]"))
    with path.open("w") as file:
        file.write('<?xml version="1.0"?><gpx version="1.1"><trk><trkseg>\n')
        for i in range(len(number)):
            time_text = f"<time>{stamp[i]}Z</time>" if timed else ""
            place = f'lat="{latitude[i]:.7f}" lon="{longitude[i]:.7f}"'
            file.write(f"<trkpt {place}><ele>{altitude[i]:.1f}</ele>{time_text}</trkpt>\n")
        file.write("</trkseg></trk></gpx>\n")
    done = subprocess.run([sys.executable, "-c", BIG, str(path)], capture_output=True, text=True, check=True)
    seconds, mebibytes, length_m = map(float, done.stdout.split())
    assert seconds < 8.0 and mebibytes < 1024.0 and length_m > 1e6
