"""How each answer is shown in Python: the same views as terminal and page, the same figures as JSON."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, NamedTuple

from ridesim.errors import RideError

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from ridesim.report.view import View

LONGEST_LINE = 110
"""Characters of an answer's one line."""


class _Way(NamedTuple):
    """Where an answer's parts are made: `module:function`, its pictures' names in order."""

    view: str
    figures: str
    rows: Callable[[Any], Any]
    pictures: tuple[str, ...]
    more: tuple[Any, ...] = ()
    """What view and figures are told beside the answer."""


def _rows(name: str) -> Callable[[Any], Any]:
    return lambda answer: [vars(each) for each in getattr(answer, name)]


def _numbered(answer: Any) -> Sequence[str]:
    """Pictures of a comparison: two a road."""
    return [name for number in range(1, len(answer.roads) + 1) for name in (f"losses-{number}", f"along-{number}")]


def _map_rows(answer: Any) -> list[dict[str, Any]]:
    return [
        {
            "grade_percent": float(grade), "speed_km_h": float(speed), "minutes": float(answer.minutes[row, column]),
            "ended_by": answer.ended_by[row][column], "winding_temp_c": float(answer.winding_temp_c[row, column]),
            "steady_winding_temp_c": float(answer.steady_winding_c[row, column]),
        }
        for row, grade in enumerate(answer.grade_percent)
        for column, speed in enumerate(answer.speed_km_h)
    ]  # fmt: skip


def _pull_rows(answer: Any) -> dict[str, Any]:
    loads = {
        f"resistance_at_{grade:g}_percent_n": answer.load_n[row] for row, grade in enumerate(answer.grades_percent)
    }
    return {
        "speed_km_h": answer.speed_km_h, "motor_force_n": answer.motor_force_n, "pedal_force_n": answer.pedal_force_n,
        "held_by": answer.held_by, **loads,
    }  # fmt: skip


def _draw_rows(answer: Any) -> dict[str, Any]:
    from ridesim.sure.batch import ANSWERS

    ridden = answer.drawn.ridden
    columns = {name: answer.drawn.answers[ridden, at] for at, name in enumerate(ANSWERS)}
    return {"end": answer.drawn.stops[ridden], **columns}


def _candidate_rows(answer: Any) -> Any:
    from ridesim.report.ratios.plain import ratio_figures

    return ratio_figures(answer)["candidates"]


def _road_rows(answer: Any) -> Any:
    from ridesim.report.compare.plain import ride_rows

    return ride_rows(answer)


def _reach_rows(answer: Any) -> Any:
    from ridesim.report.reach.plain import all_cases

    return all_cases(answer)


def _season_rows(answer: Any) -> Any:
    from ridesim.report.season.plain import day_rows

    return day_rows(answer)


def _side_rows(answer: Any) -> list[dict[str, Any]]:
    return [
        {name: value for name, value in vars(case).items() if not hasattr(value, "__dict__") and name != "causes"}
        for case in answer.cases
    ]


ABOUT = "peak_winding_temp_c"
"""What a spread is asked about first."""

_PARTS: Mapping[str, tuple[Any, ...]] = {
    "Ride": (
        "ride.view:view", "", lambda ride: ride.trace,
        ("road", "speed", "currents", "temperatures", "charge", "energy", "way"), (None,),
    ),
    "Climb": ("climb.view:view", "climb.plain:climb_figures", lambda a: a.ride.trace, ("heat-along-the-climb",)),
    "ClimbMap": ("climb.view:map_view", "climb.plain:map_figures", _map_rows, ("grade-and-speed",)),
    "Ratios": (
        "ratios.view:view", "ratios.plain:ratio_figures", _candidate_rows, ("on-the-road", "at-full-throttle"),
    ),
    "Comparison": ("compare.view:view", "compare.plain:compare_figures", _road_rows, ()),
    "Reach": (
        "reach.view:view", "reach.plain:range_figures", _reach_rows, ("charge-and-voltage", "range-against-speed"),
    ),
    "Regen": ("regen.view:view", "regen.plain:regen_figures", _side_rows, ("braking-energy", "along-the-road")),
    "Season": ("season.view:view", "season.plain:season_figures", _season_rows, ("year", "pack-years")),
    "CheckSheet": ("check.view:view", "check.plain:check_figures", _rows("findings"), ("margins",)),
    "Spread": (
        "spread.view:view", "spread.plain:spread_figures", _draw_rows, ("along-the-road", "answers", "carriers"),
        (ABOUT,),
    ),
    "Throttle": (
        "throttle.view:view", "throttle.plain:throttle_figures", _rows("cases"), ("limits-on", "limits-off"),
    ),
    "Launch": (
        "launch.view:view", "launch.plain:launch_figures", _pull_rows,
        ("pull-against-speed", "speed-against-time"),
    ),
}  # fmt: skip
WAYS: Mapping[str, _Way] = {name: _Way(*parts) for name, parts in _PARTS.items()}
"""By the name of the answer's class."""


def _found(place: str) -> Callable[..., Any]:
    module, name = place.split(":")
    found: Callable[..., Any] = getattr(import_module(f"ridesim.report.{module}"), name)
    return found


@dataclass(frozen=True)
class Shown:
    """An answer and how it is shown."""

    answer: Any
    way: _Way

    @property
    def pictures(self) -> tuple[str, ...]:
        """Names of its pictures."""
        return self.way.pictures or tuple(_numbered(self.answer))

    def view(self, units: str, pictures: bool) -> View:
        """Return the view that pages and terminals show."""
        view: View = _found(self.way.view)(self.answer, *self.way.more, units, pictures=pictures)
        return view

    def figures(self) -> dict[str, Any]:
        """Return the figures of its JSON answer."""
        found: dict[str, Any] = _found(self.way.figures)(self.answer, *self.way.more)
        return found

    def frame(self) -> pd.DataFrame:
        """Return its main table."""
        import pandas as pd

        rows = self.way.rows(self.answer)
        return rows if isinstance(rows, pd.DataFrame) else pd.DataFrame(rows)

    def draw(self, picture: str | None, units: str) -> Figure:
        """Return one of its pictures. Raises RideError for a name it has not."""
        if type(self.answer).__name__ == "Ride":  # each picture of a ride is drawn alone
            from ridesim.report.ride.figures import draw

            return draw(self.answer, picture or self.pictures[0], units)
        drawn = dict(zip(self.pictures, (figure for _, figure in self.view(units, True).figures), strict=False))
        if not drawn:
            raise RideError("draw", "this answer has no picture", "read its words: print(answer)")
        if picture is not None and picture not in drawn:
            raise RideError("draw", f"there is no picture {picture!r}", f"choose one of {', '.join(drawn)}")
        return drawn[picture if picture is not None else next(iter(drawn))]

    def line(self) -> str:
        """Return the answer in one line."""
        return one_line(type(self.answer).__name__, self.view("metric", False))

    def html(self) -> str:
        """Return the answer as a notebook shows it."""
        from ridesim.report.page import fragment_text

        return fragment_text(self.view("metric", True))


def one_line(kind: str, view: View) -> str:
    """Return `<Kind: title: verdict, first reason>`, cut where it is long."""
    verdict = f"{view.verdict}: " if view.verdict else ""
    words = f"{view.title}: {verdict}{view.answer[0] if view.answer else ''}".replace("\n", " ").replace("?:", "?")
    return f"<{kind}: {words if len(words) <= LONGEST_LINE else words[: LONGEST_LINE - 3] + '...'}>"


def shown(answer: Any) -> Shown:
    """Return how an answer is shown."""
    return Shown(answer, WAYS[type(answer).__name__])
