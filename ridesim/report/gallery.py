"""Draws the README's pictures from the demo builds and roads: `python -m ridesim.report.gallery`, in a clone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from matplotlib.figure import Figure

from ridesim.evidence.run import run_checks
from ridesim.report.climb.figure import draw_map
from ridesim.report.descend.figure import draw_along as draw_brakes
from ridesim.report.evidence import view as evidence_view
from ridesim.report.ride.figures import draw
from ridesim.report.road.figure import draw_road
from ridesim.report.season.figure import draw_year
from ridesim.report.spread.figure import draw_along as draw_spread
from ridesim.report.style import save
from ridesim.ride.simulate import simulate
from ridesim.road.load import load_road
from ridesim.road.made import make_climb
from ridesim.road.profile import Road
from ridesim.studies.climb_map import climb_map
from ridesim.studies.descend import descend
from ridesim.sure.spread import spread
from ridesim.workshop.season.season import season

FOLDER = Path(".github") / "pictures"


def gallery(project: Path) -> dict[str, Callable[[], Figure]]:
    """Return the pictures by file name, each as a function that draws it."""
    builds, roads = project / "configs", project / "routes"

    def ridden(build: str, road: str, picture: str) -> Callable[[], Figure]:
        """Return what draws a picture of a ride."""
        return lambda: draw(simulate(builds / f"{build}.toml", roads / road), picture)

    return {
        "climb-map.png": lambda: draw_map(climb_map(builds / "longtail-two-stage.toml")),
        "evidence.png": lambda: evidence_view.picture(run_checks()),
        "commute-road.png": lambda: draw_road(load_road(roads / "valley-commute.toml")),
        "commute-year.png": lambda: draw_year(
            season(builds / "longtail-belt.toml", roads / "valley-commute.toml", quick=True)
        ),
        "commute-speed.png": ridden("longtail-hub", "valley-commute.toml", "speed"),
        "descent-brakes.png": lambda: draw_brakes(descend(builds / "longtail-hub.toml", descent())),
        "ridge-currents.png": ridden("longtail-belt", "ridge-climb.gpx", "currents"),
        "ridge-spread.png": lambda: draw_spread(spread(builds / "longtail-two-stage.toml", roads / "ridge-climb.gpx")),
        "ridge-temperatures.png": ridden("longtail-two-stage", "ridge-climb.gpx", "temperatures"),
        "terrace-charge.png": ridden("longtail-belt", "terrace-round.gpx", "charge"),
        "terrace-energy.png": ridden("longtail-belt", "terrace-round.gpx", "energy"),
    }


def descent() -> Road:
    """Return the hill of the picture of the brakes: 3 km of 10 %."""
    return make_climb(3000.0, -10.0, name="a hill of 10 %, down")


def draw_gallery(project: Path, folder: Path) -> list[Path]:
    """Write every picture into `folder` and return the files."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, picture in gallery(project).items():
        save(picture(), folder / name)
    return [folder / name for name in gallery(project)]


if __name__ == "__main__":
    draw_gallery(Path.cwd(), Path.cwd() / FOLDER)
