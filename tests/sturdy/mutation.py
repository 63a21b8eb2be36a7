"""Structured mutation: what a file or an option may hold when it comes from anywhere. Used by the fuzz tests."""

from __future__ import annotations

import contextlib
import io
import json
import math
import re
import time
from collections.abc import Iterator, Sequence

from hypothesis import strategies as st

from ridesim.cli.door import run

LONGEST_LINE = 400
HANG_S = 5.0

NUMBERS = (
    "0",
    "-0.0",
    "1",
    "-1",
    "0.5",
    "2",
    "3.7",
    "10",
    "25",
    "80",
    "100",
    "1e3",
    "1e5",
    "1e9",
    "-1e9",
    "1e-9",
    "1e308",
    "-1e308",
    "1e-320",
    "nan",
    "inf",
    "-inf",
    "9" * 30,
    "9" * 5000,
    "0x10",
    "1_0",
    "007",
    "1e400",
    "1.5.2",
    "--1",
    "1e",
    "+5",
)
TEXTS = (
    '""',
    '" "',
    '"x"',
    "''",
    '"\\u202egpj"',
    '"\\u0000"',
    '"\\u001b[31mred"',
    f'"{"long" * 500}"',
    '"ä 漢 🚲"',
    '"../../etc/passwd"',
    '"=1+1"',
    '"$\\\\frac{"',
    '"{0} %s"',
    '"\\n\\nFINE"',
    "bare",
    'unclosed "',
    '"""',
    "true",
    "false",
    "null",
    "None",
    "1979-05-27T07:32:00Z",
    "1979-05-27",
    "07:32:00",
)
NESTS = (
    "[]",
    "[[]]",
    "{}",
    "[1, 2, 3]",
    "[1, 'a']",
    "[nan]",
    "{a = 1}",
    "[{}]",
    "[" * 400,
    "[" * 400 + "]" * 400,
    "[" + "1," * 3000 + "]",
    "{a = {b = {c = 1}}}",
)
VALUES = st.sampled_from((*NUMBERS, *NUMBERS, *TEXTS, *NESTS))
FACTORS = st.sampled_from((-1.0, 0.0, 0.01, 0.2, 0.5, 0.7, 0.9, 1.1, 1.3, 1.5, 2.0, 3.0, 10.0, 100.0))
"""By what a number is changed so that it is often still one that is taken."""
JUNK = st.sampled_from(
    (
        "[",
        "]",
        "=",
        "[[",
        "[x]",
        "[[x]]",
        "\x00",
        "\ufeff",
        "#",
        "a.b.c = 1",
        "\u202e",
        "extends = 'self.toml'",
        "[rider]",
        "\x1b[2J",
        ",,,",
    )
)


@st.composite
def mutated_toml(draw: st.DrawFn, base: str) -> bytes:
    """A TOML file with a few values, lines or bytes changed."""
    lines = base.splitlines()
    told = [index for index, line in enumerate(lines) if re.match(r"\s*[A-Za-z_.]+\s*=", line)]
    for _ in range(draw(st.integers(1, 4))):
        kind, at = draw(st.sampled_from("vvvdkjslxxxxxxxxxxxxxx")), draw(st.sampled_from(told)) if told else 0
        if at >= len(lines):
            continue
        key, _, value = lines[at].partition("=")
        match kind:
            case "v":
                lines[at] = f"{key}= {draw(VALUES)}"
            case "d":
                lines[at] = ""
            case "k":
                lines[at] = f"{key.strip()[: draw(st.integers(0, 6))]}x = {value}"
            case "j":
                lines.insert(at, draw(JUNK))
            case "s":
                lines.insert(at, lines[draw(st.sampled_from(told))])
            case "l":
                lines[at] = f"{key.strip()}.sub = {draw(VALUES)}"
            case "x":
                number = re.search(r"-?\d+\.?\d*", value)
                if number:
                    lines[at] = f"{key}= {value.replace(number[0], scaled(number[0], draw(FACTORS)), 1)}"
    return draw(mutated_bytes("\n".join(lines).encode("utf-8", "replace"), often=8))


def leaves(table: object, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], object]]:
    """Yield the path and value of whatever stands in a table or in a table of it."""
    if isinstance(table, dict | list):
        for key, value in table.items() if isinstance(table, dict) else enumerate(table):
            yield from leaves(value, (*path, str(key)))
    else:
        yield path, table


def scaled(number: str, factor: float) -> str:
    """Return a written number times a factor; a whole number stays whole."""
    times = float(number) * factor
    return str(round(times)) if "." not in number and math.isfinite(times) else f"{times:.6g}"


@st.composite
def mutated_table(draw: st.DrawFn, base: str, most: int = 5) -> bytes:
    """A CSV with a few cells, columns, rows or bytes changed, one to `most` of them."""
    rows = [line.split(",") for line in base.splitlines()]
    for _ in range(draw(st.integers(1, most))):
        kind, row = draw(st.sampled_from("cccchdrsw")), draw(st.integers(0, len(rows) - 1))
        column = draw(st.integers(0, max(len(rows[0]) - 1, 0)))
        match kind:
            case "c" if column < len(rows[row]):
                rows[row][column] = draw(VALUES)
            case "h" if rows[0]:
                rows[0][column % len(rows[0])] = draw(
                    st.sampled_from(("time_s", "speed_km_h", "", "x", "lat", "lon", "\x00", "distance_m"))
                )
            case "d":
                rows = [each[:column] + each[column + 1 :] for each in rows]
            case "r":
                del rows[row : row + draw(st.integers(1, len(rows)))]
                rows = rows or [[]]
            case "s":
                rows.insert(row, list(rows[draw(st.integers(0, len(rows) - 1))]))
            case "w":  # a whole column scaled, or made one value
                word, factor = draw(VALUES), draw(st.sampled_from((None, 0.0, -1.0, 1e-6, 1e6, 1e200)))
                for each in rows[1:]:
                    with contextlib.suppress(ValueError, IndexError):
                        each[column] = word if factor is None else str(float(each[column]) * factor)
    return draw(mutated_bytes("\n".join(map(",".join, rows)).encode("utf-8", "replace"), often=6))


@st.composite
def mutated_bytes(draw: st.DrawFn, base: bytes, often: int = 1) -> bytes:
    """Bytes with, one time in `often`, a few of them cut, doubled or overwritten."""
    if draw(st.integers(1, often)) > 1 or not base:
        return base
    at, length = draw(st.integers(0, len(base) - 1)), draw(st.integers(0, 40))
    match draw(st.sampled_from("tcoib")):
        case "t":
            return base[:at]
        case "c":
            return base[:at] + base[at + length :]
        case "o":
            return base[:at] + draw(st.binary(min_size=1, max_size=8)) + base[at + length :]
        case "i":
            return base[:at] + base[at : at + length] * draw(st.integers(1, 50)) + base[at:]
        case _:
            return draw(st.sampled_from((b"\xef\xbb\xbf", b"\xff\xfe", b"\x1f\x8b\x08"))) + base


def _no_constant(name: str) -> float:
    raise AssertionError(f"{name} is not JSON")


def asked(words: Sequence[object], hang_s: float = HANG_S) -> tuple[int, str, str]:
    """Run one command in this process and hold it to the rules of every command; return exit code, stdout, stderr."""
    out, err, typed = io.StringIO(), io.StringIO(), [str(word) for word in words]
    begun = time.process_time()  # other work on the machine is no hang
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(typed)
    took, told = time.process_time() - begun, err.getvalue()
    assert code in (0, 2), (typed, code, told)
    assert took < hang_s, (typed, took)
    assert "Traceback" not in told, told
    longest = max(map(len, told.splitlines()), default=0)
    assert longest <= LONGEST_LINE, (typed, told)
    assert code == 0 or told.strip(), (typed, "refused without a word")
    if "--json" in typed and code == 0:
        json.loads(out.getvalue(), parse_constant=_no_constant)
    if code == 2:
        assert not out.getvalue() or "Usage" in out.getvalue(), (typed, out.getvalue())
    return code, out.getvalue(), told
