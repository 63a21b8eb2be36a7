"""Which one to take: by what stops each, then by what the same bikes tell apart; else what it depends on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ridesim.report.spread.common import COMPARED, VERBS
from ridesim.ride.limits import FINE, STOP

if TYPE_CHECKING:
    from ridesim.studies.compare import Comparison, RoadComparison

COOL_K = 50.0
"""Further below its limit a winding's few degrees are no reason to choose (guess)."""


def take_words(result: Comparison) -> tuple[str, ...]:
    """Return the first line: which build to take on every road, or what it depends on; nothing that nobody can tell."""
    labels = [each.label for each in result.entries]
    found = [_on_road(road, labels) for road in result.roads]
    taken = {label for label, _ in found}
    if len(taken) == 1 and len(found) > 1 and None not in taken:
        reasons = {words: None for _, words in found}
        each = "; ".join(f"on {road.road.name} {words}" for road, (_, words) in zip(result.roads, found, strict=True))
        told = f": on every road {next(iter(reasons))}" if len(reasons) == 1 else f" on every road: {each}"
        return (f"Take {taken.pop()}{told}.",)
    lines = []
    for road, (label, why) in zip(result.roads, found, strict=True):
        place = f" on {road.road.name}" if len(found) > 1 else ""
        if why:
            lines.append(f"Take {label}{place}: {why}." if label else f"{why[0].upper()}{why[1:]}{place}.")
    return tuple(lines)


def _on_road(road: RoadComparison, labels: Sequence[str]) -> tuple[str | None, str]:
    """Return the build to take on a road, or None, and why."""
    stands = [at for at, ride in enumerate(road.rides) if ride.verdict != STOP]
    if not stands:
        return None, "take none of them as it is: each is stopped"
    if len(stands) == 1:
        return labels[stands[0]], "it is the only one that nothing stops"
    wins = _wins(road, stands)
    for at in stands:
        lost = any(two == at for _, two in wins)
        beats_all = all((at, other) in wins for other in stands if other != at)
        if beats_all and not lost:
            said = _beaten(wins, at, labels)
            first = "" if road.rides[at].verdict == FINE else "; look again at it first, as its verdict says"
            return labels[at], f"it {said}, and is worse in nothing that can be told apart{first}"
    if not wins:
        return None, "" if road.common is None else "they cannot be told apart in anything: take the one you like"
    says = [
        f"{' and '.join(labels[at] for at in best)} {_verb(answer, len(best))}"
        for answer in COMPARED
        if (best := [at for at in stands if _is_best(wins, at, answer)])
    ]
    fine = [at for at in stands if road.rides[at].verdict == FINE]
    if len(fine) == 1:
        says.insert(0, f"only {labels[fine[0]]} needs no second look")
    return None, f"it depends on what you want: {', '.join(says)}"


def _beaten(wins: dict[tuple[int, int], list[str]], at: int, labels: Sequence[str]) -> str:
    """Say of each of the others in what it is beaten; those that are beaten in the same, together."""
    by_what: dict[tuple[str, ...], list[str]] = {}
    for (one, other), answers in sorted(wins.items()):
        if one == at:
            by_what.setdefault(tuple(answers), []).append(labels[other])
    return " and ".join(
        f"{' and '.join(_verb(answer) for answer in answers)} than {' and '.join(others)}"
        for answers, others in by_what.items()
    )


def _is_best(wins: dict[tuple[int, int], list[str]], at: int, answer: str) -> bool:
    """Return whether a build beats another in an answer and none beats it there."""
    beats = any(one == at and answer in answers for (one, _), answers in wins.items())
    return beats and not any(two == at and answer in answers for (_, two), answers in wins.items())


def _wins(road: RoadComparison, stands: Sequence[int]) -> dict[tuple[int, int], list[str]]:
    """Return in which answers one build is told apart as better than another, both by their places."""
    found: dict[tuple[int, int], list[str]] = {}
    if road.common is None:
        return found
    place = {label: at for at, label in enumerate(road.common.labels)}
    cool = min(road.rides[at].winding_margin_k for at in stands) > COOL_K
    for answer in COMPARED:
        if cool and answer == "peak_winding_temp_c":
            continue
        for at, one in enumerate(stands):
            for two in stands[at + 1 :]:
                told = road.common.difference(answer, one, two)
                if told is not None and told.told_apart and not told.alike:
                    found.setdefault((place[told.better], place[told.other]), []).append(answer)
    return found


def _verb(answer: str, count: int = 1) -> str:
    """What better ones do: "takes less energy", "are faster"."""
    verb, rest = VERBS[answer].removesuffix(" than").split(" ", 1)
    many = {"is": "are", "has": "have"}.get(verb, verb.removesuffix("s"))
    return f"{verb if count == 1 else many} {rest}"
