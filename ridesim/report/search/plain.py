"""The figures of a search as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.search.figure import letter

if TYPE_CHECKING:
    from ridesim.search.found import Found, Member


def letters_of(found: Found) -> list[str]:
    """Return the names of the builds shown, in order."""
    return [letter(at) for at in range(len(found.members))]


def front_rows(found: Found) -> list[dict[str, Any]]:
    """Return the builds shown as rows."""
    return [
        {"build": name, **member.labels, **member.figures, "check": member.look.word}
        for name, member in zip(letters_of(found), found.members, strict=True)
    ]


def found_figures(found: Found) -> dict[str, Any]:
    """Return the answer of a search as plain values."""
    letters = letters_of(found)
    return {
        "verdict": found.members[found.knee].look.word if found.members else "stop",
        "seed": found.seed,
        "way": found.way,
        "combinations": found.combinations,
        "removed": [{"reason": name, "count": count} for name, count in found.removed],
        "stopped": [{"reason": name, "count": count} for name, count in found.stops],
        "different_to_ride": found.distinct,
        "draft_rides": found.draft_rides,
        "full_rides": found.full_rides,
        "seconds": found.seconds,
        "front_size": found.front_size,
        "knee": letters[found.knee] if letters else None,
        "members": [_member(found, each, name) for each, name in zip(found.members, letters, strict=True)],
        "thrown_out": [{"build": labels, "reason": why} for labels, why in found.thrown_out],
        "losers": [_miss(each) for each in found.losers],
        "give_up": [_miss(each) for each in found.give_up],
        "never": [vars(each) for each in found.never],
        "rule_of_thumb": None if found.thumb is None else vars(found.thumb),
    }


def _member(found: Found, member: Member, name: str) -> dict[str, Any]:
    sure, bounds = member.certainty, found.study.bounds
    return {
        "build": name,
        "made_of": member.labels,
        "figures": member.figures,
        "kv_over_ratio_rpm_per_v": member.usual_kv,
        "check": member.look.word,
        "check_reason": member.look.reason,
        "belt_pull_fraction": member.look.belt_pull_fraction,
        "draws": None if sure is None else sure.draws,
        "not_stopped_fraction": None if sure is None else sure.not_stopped,
        "holds": [] if sure is None else [
            {"what": bounds[at].what, "bound": f"{bounds[at].kind} {bounds[at].limit:g}", "fraction": share}
            for at, share in sure.holds.items()
        ],
        "binding": None if member.binding is None else {
            "what": found.study.ridden_bounds[member.binding[0]].what, "room": member.binding[1],
        },
        "giving_up": [
            {"what": each.bound.what, "by": each.by, "changes": each.changes, "made_of": each.labels}
            for each in member.reliefs
        ],
    }  # fmt: skip


def _miss(miss: Any) -> dict[str, Any]:
    broken = [{"what": bound.what, "bound": f"{bound.kind} {bound.limit:g}", "by": over} for bound, over in miss.broken]
    return {"made_of": miss.labels, "breaks": broken, "figures": miss.figures}
