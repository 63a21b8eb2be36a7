"""Where the recordings are, and small GPX files made on the spot."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[2]
COPIED = PROJECT / "tests" / "data" / "tracks"

WriteGpx = Callable[..., Path]


@pytest.fixture
def shared_track() -> Callable[[str], Path]:
    """Find a recording of the shared data, or skip with the reason."""
    folder = Path(os.environ.get("RIDESIM_DATA", PROJECT.parent / "shared" / "data")) / "tracks"

    def find(name: str) -> Path:
        if not (folder / name).exists():
            pytest.skip(f"the shared recording {name} is not on this machine (set RIDESIM_DATA)")
        return folder / name

    return find


def point_xml(latitude: object, longitude: object, altitude: object = None, time: str = "", more: str = "") -> str:
    """One track point."""
    elevation = "" if altitude is None else f"<ele>{altitude}</ele>"
    stamp = f"<time>{time}</time>" if time else ""
    return f'<trkpt lat="{latitude}" lon="{longitude}">{elevation}{stamp}{more}</trkpt>'


def gpx_xml(*segments: str) -> str:
    """A GPX 1.1 document with one track of segments."""
    inside = "".join(f"<trkseg>{segment}</trkseg>" for segment in segments)
    return f'<?xml version="1.0"?><gpx version="1.1" creator="test"><trk>{inside}</trk></gpx>'


@pytest.fixture
def write_gpx(tmp_path: Path) -> WriteGpx:
    """Write a GPX document of segments of point texts and return its path."""

    def write(*segments: str, name: str = "made.gpx") -> Path:
        path = tmp_path / name
        path.write_text(gpx_xml(*segments), encoding="utf-8")
        return path

    return write
