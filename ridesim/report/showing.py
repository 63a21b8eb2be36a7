"""How each answer is shown in Python: the same views as terminal and page, the same figures as JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
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
    pictures: tuple[str, ...] | Callable[[Any], Sequence[str]]
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
    ridden = answer.drawn.ridden
    columns = {name: answer.drawn.answers[ridden, at] for at, name in enumerate(answer.drawn.names)}
    return {"draw": ridden.nonzero()[0], "end": answer.drawn.stops[ridden], **columns}


def _candidate_rows(answer: Any) -> Any:
    from ridesim.report.ratios.plain import ratio_figures

    return ratio_figures(answer)["candidates"]


def _side_rows(answer: Any) -> list[dict[str, Any]]:
    return [
        {name: value for name, value in vars(case).items() if not hasattr(value, "__dict__") and name != "causes"}
        for case in answer.cases
    ]


def _flat_rows(name: str) -> Callable[[Any], Any]:
    """Rows of an answer whose parts have parts: their plain values, named by the way to them."""

    def rows(answer: Any) -> list[dict[str, Any]]:
        """Return the entries of an answer as flat rows."""
        from ridesim.report.plain import as_plain

        return [dict(_flat(as_plain(each))) for each in getattr(answer, name)]

    return rows


def _flat(values: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in values.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{prefix}{name}_")
        elif not isinstance(value, list):
            yield f"{prefix}{name}", value


def _from(place: str) -> Callable[[Any], Any]:
    """A function of an answer by its place, imported when it is asked."""
    return lambda answer: _found(place)(answer)


def _law_rows(answer: Any) -> list[dict[str, Any]]:
    return [
        {
            "jurisdiction": place.jurisdiction, "class": None if place.rule is None else place.rule.name,
            "verdict": place.verdict, "reason": place.reason,
        }
        for place in answer.report.findings
    ]  # fmt: skip


def _winding_rows(answer: Any) -> list[dict[str, Any]]:
    from ridesim.report.plain import as_plain

    named = [("today", answer.today), ("new", answer.new), *(("candidate", each.result) for each in answer.candidates)]
    return [{"which": which, **dict(_flat(as_plain(made)))} for which, made in named]


ABOUT = ""
"""What a spread is asked about first: what its verdict's trouble is of."""

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
    "GearSets": (
        "ratios.gears:gear_view", "ratios.gears:gear_figures", _from("ratios.gears:gear_rows"), ("by-number-of-gears",),
    ),
    "Comparison": ("compare.view:view", "compare.plain:compare_figures", _from("compare.plain:ride_rows"), _numbered),
    "Reach": (
        "reach.view:view", "reach.plain:range_figures", _from("reach.plain:all_cases"),
        ("charge-and-voltage", "range-against-speed"),
    ),
    "Regen": ("regen.view:view", "regen.plain:regen_figures", _side_rows, ("braking-energy", "along-the-road")),
    "Season": (
        "season.view:view", "season.plain:season_figures", _from("season.plain:day_rows"), ("year", "pack-years"),
    ),
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
    "Descend": (
        "descend.view:view", "descend.plain:descend_figures", _rows("speeds"),
        ("brakes-along-the-road", "hottest-by-speed"),
    ),
    "Harness": ("wire.view:view", "plain:as_plain", _flat_rows("leads"), ("leads-along-the-ride",)),
    "BeltDrive": ("belt.view:view", "plain:as_plain", _flat_rows("stages"), ("layout", "pull-along-the-ride")),
    "MountSheet": (
        "mount.view:view", "mount.plain:mount_figures", _rows("findings"), lambda a: ("safeties",) if a.parts else (),
    ),
    "BuildLaw": ("law.view:view", "plain:as_plain", _law_rows, ()),
    "RewindPlan": ("winding.view:view", "plain:as_plain", _winding_rows, ("candidates",)),
    "Sizing": ("size.view:view", "size.plain:size_figures", _flat_rows("candidates"), ("sizes",)),
    "PackChoice": ("pack.view:view", "plain:as_plain", _flat_rows("plans"), ("block",)),
    "Grouped": ("pack.groups:view", "pack.plain:group_figures", _from("pack.plain:group_rows"), ()),
    "Benched": (
        "bench.shown:view", "bench.shown:figures",
        lambda a: [{"key": key, "value": value} for key, value in a.sheet.keys], _from("bench.shown:picture_names"),
    ),
    "Found": ("search.view:view", "search.plain:found_figures", _from("search.plain:front_rows"), ("front",)),
    "Log": ("log.view:view", "log.plain:log_figures", lambda a: {"time_s": a.time_s, **a.columns}, ("log",)),
    "Replay": (
        "replay.view:view", "replay.plain:replay_figures", _from("replay.plain:channel_rows"),
        _from("replay.view:picture_names"),
    ),
    "BuildFit": (
        "fit.build_view:view", "fit.plain:build_fit_figures", _rows("keys"), _from("fit.build_view:picture_names"),
    ),
    "LogFit": ("fit.view:view", "fit.plain:fit_figures", _from("fit.plain:mean_rows"), ("means",)),
    "CoastFit": ("fit.view:coast_view", "fit.plain:coast_figures", _from("fit.plain:run_rows"), ("speeds",)),
    "CellAnswer": ("cell.view:view", "cell.plain:cell_figures", _from("cell.plain:run_rows"), ("voltages",)),
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
        named = self.way.pictures
        return tuple(named(self.answer)) if callable(named) else named

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


def shown(answer: Any, more: tuple[Any, ...] | None = None) -> Shown:
    """Return how an answer is shown; `more`: what view and figures are told beside it, else as its way has it."""
    way = WAYS[type(answer).__name__]
    return Shown(answer, way if more is None else way._replace(more=more))
