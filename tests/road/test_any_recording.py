"""Any recording at all is either refused in a RoadError or becomes a road that holds together."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ridesim.errors import RoadError
from ridesim.road.load import load_road
from ridesim.road.plan import plan_speed

from .conftest import gpx_xml, point_xml
from .test_tracks import hold_together


def random_gpx(seed: int) -> str:
    """Return a GPX document of a random walk with missing, repeated and disordered entries in several segments."""
    random = np.random.default_rng(seed)
    count = int(random.integers(1, 60))
    step = 10.0 ** random.uniform(-8.0, -1.0)
    latitude = np.clip(
        random.choice([0.0, 45.0, -89.99, 90.0]) + np.cumsum(random.normal(0.0, step, count)), -90.0, 90.0
    )
    longitude = random.choice([0.0, 179.999, -180.0]) + np.cumsum(random.normal(0.0, step, count))
    longitude = np.mod(longitude + 180.0, 360.0) - 180.0
    altitude = np.clip(random.normal(500.0, 10.0 ** random.uniform(-1.0, 2.5), count), -500.0, 9000.0)
    seconds = np.cumsum(random.choice([0, 0, 1, 1, 2, 5, 600, -3], count))
    repeated = random.integers(0, count, count // 3)
    latitude[repeated], longitude[repeated] = latitude[0], longitude[0]
    segments = [""]
    for i in range(count):
        height = None if random.random() < 0.2 else round(float(altitude[i]), 2)
        time = "" if random.random() < 0.05 else f"{np.datetime64(1_700_000_000 + int(seconds[i]), 's')}Z"
        segments[-1] += point_xml(f"{latitude[i]:.9f}", f"{longitude[i]:.9f}", height, time)
        if random.random() < 0.1:
            segments.append("")
    return gpx_xml(*segments)


@given(seed=st.integers(0, 10**6), smoothing=st.sampled_from([0.0, 60.0, 300.0]), flat=st.booleans())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_recording(seed: int, smoothing: float, flat: bool, tmp_path: Path) -> None:
    path = tmp_path / "any.gpx"
    path.write_text(random_gpx(seed), encoding="utf-8")
    try:
        road = load_road(path, smoothing_m=smoothing, spacing_m=20.0, flat=flat)
    except RoadError as error:
        assert "\n" not in str(error) and str(path) in str(error)
        return
    hold_together(road)
    if road.recorded_speed_m_per_s is not None:
        assert plan_speed(road, 7.0, source="recorded").speed_m_per_s.min() >= 1.0 - 1e-12


@given(content=st.binary(max_size=200))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes(content: bytes, tmp_path: Path) -> None:
    for name in ("any.gpx", "any.toml"):
        path = tmp_path / name
        path.write_bytes(content)
        with pytest.raises(RoadError):
            load_road(path)
