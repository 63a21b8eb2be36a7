"""Draws the README's pictures from the demo builds and roads: `python -m ridesim.report.gallery`, in a clone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from matplotlib.figure import Figure

from ridesim.evidence.run import run_checks
from ridesim.report.climb.figure import draw_map
from ridesim.report.evidence import view as evidence_view
from ridesim.report.ride.figures import draw
from ridesim.report.road.figure import draw_road
from ridesim.report.style import save
from ridesim.ride.simulate import simulate
from ridesim.road.load import load_road
from ridesim.studies.climb_map import climb_map

FOLDER = Path(".github") / "pictures"


def gallery(project: Path) -> dict[str, Callable[[], Figure]]:
    """Return the pictures by file name, each as a function that draws it."""
    builds, roads = project / "configs", project / "routes"

    def ridden(build: str, road: str, picture: str) -> Callable[[], Figure]:
        return lambda: draw(simulate(builds / f"{build}.toml", roads / road), picture)

    return {
        "climb-map.png": lambda: draw_map(climb_map(builds / "longtail-two-stage.toml")),
        "evidence.png": lambda: evidence_view.picture(run_checks()),
        "commute-road.png": lambda: draw_road(load_road(roads / "valley-commute.toml")),
        "commute-speed.png": ridden("longtail-hub", "valley-commute.toml", "speed"),
        "ridge-currents.png": ridden("longtail-belt", "ridge-climb.gpx", "currents"),
        "ridge-temperatures.png": ridden("longtail-two-stage", "ridge-climb.gpx", "temperatures"),
        "terrace-charge.png": ridden("longtail-belt", "terrace-round.gpx", "charge"),
        "terrace-energy.png": ridden("longtail-belt", "terrace-round.gpx", "energy"),
    }


def draw_gallery(project: Path, folder: Path) -> list[Path]:
    """Write every picture into `folder` and return the files."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, picture in gallery(project).items():
        save(picture(), folder / name)
    return [folder / name for name in gallery(project)]


if __name__ == "__main__":
    draw_gallery(Path.cwd(), Path.cwd() / FOLDER)
