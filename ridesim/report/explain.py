"""What a name means: a key of a file, a quantity, a limit, a bound, or a word of the trade."""

from __future__ import annotations

import difflib
import textwrap
from dataclasses import asdict, dataclass, replace
from functools import cache

from ridesim.bike.starter import key_reference_rows as bike_rows
from ridesim.errors import RideError
from ridesim.report.view import TEXT_WIDTH
from ridesim.ride.bounds import BY_NAME
from ridesim.ride.limits import LIMITS, Rule
from ridesim.ride.quantities import QUANTITIES
from ridesim.ride.words import WORDS
from ridesim.road.starter import key_reference_rows as road_rows
from ridesim.schema.texts import KeyRow
from ridesim.units import UNITS

KINDS = ("key of a build", "key of a road", "quantity", "limit", "bound", "word")
CUTOFF = 0.6
FACT_WIDTH = 22


@dataclass(frozen=True)
class Meaning:
    """What one name means: its kind, what it is in plain words, and facts as (what, value)."""

    name: str
    kind: str
    words: str
    facts: tuple[tuple[str, str], ...]


def _keys(rows: tuple[KeyRow, ...], kind: str) -> dict[str, Meaning]:
    found = {}
    for row in rows:
        name = f"{row.section}.{row.key}" if row.section else row.key
        facts = (("unit", row.unit), ("range", row.allowed), ("default", row.default))
        found[name] = Meaning(name, kind, row.help, tuple(fact for fact in facts if fact[1]))
    return found


def _quantity(name: str) -> Meaning:
    row = QUANTITIES[name]
    words = row.words + (f": {row.meaning}" if row.meaning else "")
    facts = (
        ("unit", UNITS[row.unit].meaning if row.unit else ""),
        ("better", {"high": "the higher", "low": "the lower"}.get(row.better, "")),
        ("measured by", row.measured),
    )
    return Meaning(name, "quantity", words, tuple(fact for fact in facts if fact[1]))


def _limit(name: str, rule: Rule) -> Meaning:
    beyond = max(rule.tolerance, 0.0)
    symbol = UNITS[rule.unit].symbol if rule.unit in UNITS else ""
    side = "below" if rule.floor else "above"
    near = f"{rule.near:g} {symbol}" if rule.near else f"{rule.near_share:.0%}" if rule.near_share else ""
    rounding = f"{beyond:g} {symbol}" if beyond else f"{rule.tolerance_share:.1%}" if rule.tolerance_share else ""
    facts = (
        ("protects", rule.protects),
        (f"verdict {side} it", rule.passed),
        ("look again within", near),
        ("counts as met within", rounding),
        ("its value", rule.source),
        ("what helps", rule.cure),
    )
    return Meaning(name, "limit", rule.words, tuple(fact for fact in facts if fact[1].strip()))


def meanings() -> dict[str, list[Meaning]]:
    """Return every name that can be explained, in lower case, with all that it means."""
    found: dict[str, list[Meaning]] = {}
    every = [
        *_keys(bike_rows(), KINDS[0]).values(),
        *_keys(road_rows(), KINDS[1]).values(),
        *map(_quantity, QUANTITIES),
        *(_limit(name, rule) for name, rule in LIMITS.items()),
        *(Meaning(b.name, "bound", b.words, (("what moves it", b.cure),)) for b in BY_NAME.values()),
        *(Meaning(name, "word", text, ()) for name, text in WORDS.items()),
    ]
    for each in every:
        names = {each.name.lower(), each.name.lower().rsplit(".", 1)[-1]}
        for name in names | ({each.words.lower()} if each.kind == "limit" else set()):
            found.setdefault(name, []).append(each)
    for bound in BY_NAME.values():  # as a ride's "limits met" and pictures say it
        for name in {bound.short.lower(), bound.short.lower().replace("-", "_")} - set(found):
            found[name] = list(found[bound.name])
    return found


def explain(name: str) -> tuple[Meaning, ...]:
    """Return what a name means. Raises RideError with the nearest names for one that nobody uses."""
    known = meanings()
    asked = name.strip().lower()
    for tried in (asked, asked.replace("_", " "), asked.replace(" ", "_")):
        if tried in known:
            return tuple(known[tried])
    for prefix in ("second.", "second_"):  # a second, different drive has the keys and columns of the first
        if asked.removeprefix(prefix) in known and asked.startswith(prefix):
            own = known[asked.removeprefix(prefix)]
            return tuple(replace(each, name=asked, words=f"of a second, different drive: {each.words}") for each in own)
    near = difflib.get_close_matches(asked, known, 3, CUTOFF) or sorted(each for each in known if asked in each)[:5]
    to_do = f"did you mean {', '.join(near)}?" if near else "`ridesim new --keys` lists the keys"
    raise RideError("explain", f"{name[:60]!r} is no name that ridesim uses", to_do)


def text(found: tuple[Meaning, ...]) -> str:
    """Return the meanings of a name for a terminal: what it is, then its facts, one a line."""
    return "\n\n".join(
        "\n".join((_wrapped(f"{each.name} ({each.kind}): {each.words}"), *_facts(each))) for each in found
    )


def _facts(each: Meaning) -> list[str]:
    return [_wrapped(f"  {what:<{FACT_WIDTH}}{value}", " " * (FACT_WIDTH + 2)) for what, value in each.facts]


def _wrapped(words: str, hanging: str = "  ") -> str:
    return textwrap.fill(words, TEXT_WIDTH, subsequent_indent=hanging, break_long_words=False)


@cache
def hints() -> dict[str, str]:
    """Return what the words of limits and quantities mean, for pages that tell it on hover or tap."""
    quantities = {each.words: each.meaning for each in QUANTITIES.values() if each.meaning}
    return quantities | {rule.words: f"protects {rule.protects}; what helps: {rule.cure}" for rule in LIMITS.values()}


def plain(found: tuple[Meaning, ...]) -> list[dict[str, object]]:
    """Return meanings as plain values for JSON."""
    return [{**asdict(each), "facts": dict(each.facts)} for each in found]
