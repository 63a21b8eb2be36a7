"""Files that must be refused in one clear line, and never with a traceback."""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import pytest

from ridesim.errors import RoadError
from ridesim.road import stream
from ridesim.road.load import load_road

from .conftest import gpx_xml, point_xml

TWO = point_xml(45.0, 7.0, 100.0) + point_xml(45.001, 7.0, 101.0)
BILLION_LAUGHS = (
    '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
    '<gpx version="1.1"><trk><name>&b;</name></trk></gpx>'
)
EXTERNAL = '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/hostname">]><gpx version="1.1"><metadata>&x;</metadata></gpx>'

HOSTILE: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "is not XML"),
    "prose": (b"turn left at the pump", "is not XML"),
    "image": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(200, 256)), "is not XML"),
    "gzip": (gzip.compress(gpx_xml(TWO).encode()), r"is compressed .gzip."),
    "zip": (b"PK\x03\x04" + bytes(50), "is a zip archive"),
    "binary recording": (b"\x0e\x10\x00\x00\x00\x01\x00\x00.FIT" + bytes(50), "is a binary recording"),
    "zero bytes": (b"<gpx>\x00</gpx>", "broken XML"),
    "billion laughs": (BILLION_LAUGHS.encode(), "DOCTYPE"),
    "billion laughs in UTF-16": (BILLION_LAUGHS.encode("utf-16"), "DOCTYPE"),
    "external entity": (EXTERNAL.encode(), "DOCTYPE"),
    "lower case doctype": (b"<!doctype gpx><gpx version='1.1'/>", "not XML"),
    "other XML": (b"<?xml version='1.0'?><kml><Placemark/></kml>", "not GPX"),
    "cut short": (gpx_xml(TWO).encode()[:-20], "broken XML"),
    "wrong bytes": (gpx_xml(TWO).encode().replace(b"test", b"t\xe9st"), "not XML"),
    "unknown encoding": (b"<?xml version='1.0' encoding='nonsense-9'?><gpx/>", "cannot be read as text"),
    "no points": (gpx_xml("").encode(), "0 points"),
    "one point": (gpx_xml(point_xml(45.0, 7.0, 100.0)).encode(), "1 points"),
    "one place": (gpx_xml(point_xml(45.0, 7.0, 100.0) * 5).encode(), "stand at one place"),
    "ten metres at most": (gpx_xml(point_xml(45, 7, 1) + point_xml(45.00005, 7, 1)).encode(), "m long"),
    "no altitude": (gpx_xml(point_xml(45.0, 7.0) + point_xml(45.001, 7.0)).encode(), "have an altitude"),
    "latitude not a number": (gpx_xml(TWO + point_xml("nan", 7.0, 1)).encode(), "latitude is impossible"),
    "latitude off the globe": (gpx_xml(TWO + point_xml(95.0, 7.0, 1)).encode(), "latitude is impossible"),
    "longitude off the globe": (gpx_xml(TWO + point_xml(45.0, 540.0, 1)).encode(), "longitude is impossible"),
    "no altitude that can be": (
        gpx_xml(point_xml(45, 7, 40_000) + point_xml(45.01, 7, "nan")).encode(),
        "have an altitude",
    ),
    "words for a latitude": (gpx_xml(TWO + point_xml("north", 7.0, 1)).encode(), 'lat is "north"'),
    "no latitude": (gpx_xml(TWO + '<trkpt lon="7"><ele>1</ele></trkpt>').encode(), "GPX|latitude"),
    "deep nest": (
        b"<gpx version='1.1'><extensions>" + b"<a>" * 30_000 + b"</a>" * 30_000 + b"</extensions></gpx>",
        ".",
    ),
}


@pytest.mark.parametrize("name", list(HOSTILE))
def test_refused_in_one_line(name: str, tmp_path: Path) -> None:
    content, told = HOSTILE[name]
    path = tmp_path / "road.gpx"
    path.write_bytes(content)
    with pytest.raises(RoadError) as caught:
        load_road(path)
    text = str(caught.value)
    assert "\n" not in text
    assert text.startswith(str(path))
    assert re.search(told, caught.value.what)
    assert len(caught.value.to_do) > 5
    assert text.count("; ") >= 1


def test_impossible_point_is_numbered(tmp_path: Path) -> None:
    path = tmp_path / "road.gpx"
    path.write_text(gpx_xml(TWO + point_xml(95.0, 7.0, 1)))
    with pytest.raises(RoadError, match=r"point 3: latitude is impossible \(95°, allowed -90 to 90°\)"):
        load_road(path)


def test_huge_file_is_refused_before_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "road.gpx"
    path.write_text(gpx_xml(TWO))
    monkeypatch.setattr(stream, "GPX_BYTES", 50)
    with pytest.raises(RoadError, match="too large"):
        load_road(path)


@pytest.mark.parametrize("name", ["gone.gpx", "gone.toml"])
def test_missing_file(name: str, tmp_path: Path) -> None:
    with pytest.raises(RoadError, match="no such file"):
        load_road(tmp_path / name)


def test_folder_and_other_endings(tmp_path: Path) -> None:
    folder = tmp_path / "road.gpx"
    folder.mkdir()
    with pytest.raises(RoadError, match="cannot be read"):
        load_road(folder)
    with pytest.raises(RoadError, match=r"neither \.gpx nor \.toml"):
        load_road(tmp_path / "road.csv")


@pytest.mark.parametrize("option", [{"smoothing_m": -1.0}, {"smoothing_m": float("nan")}, {"spacing_m": 0.0}])
def test_options_out_of_range(option: dict[str, float], tmp_path: Path) -> None:
    with pytest.raises(RoadError, match="out of range"):
        load_road(tmp_path / "road.gpx", **option)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1"])
def test_honest_encodings_are_read(encoding: str, tmp_path: Path) -> None:
    text = gpx_xml(TWO).replace("<trk>", "<trk><name>Brückenweg</name>")
    if encoding == "iso-8859-1":
        text = text.replace('version="1.0"?', 'version="1.0" encoding="ISO-8859-1"?')
    path = tmp_path / "road.gpx"
    path.write_bytes(text.encode(encoding))
    assert load_road(path).name == "Brückenweg"
