"""The rules of the house that a machine can keep: layers, sizes, start-up, words."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from ridesim.ride.bounds import BY_NAME
from ridesim.ride.limits import LIMITS
from ridesim.ride.quantities import QUANTITIES
from ridesim.units import UNITS

ROOT = Path(__file__).parents[1]
SOURCES = sorted((ROOT / "ridesim").rglob("*.py"))
LONGEST_FILE = 400
LONGEST_FUNCTION = 60
HEAVY = ("numba", "scipy", "matplotlib", "pandas", "pydantic", "gpxpy", "numpy", "jinja2")


def test_imports_point_one_way():
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"],
        cwd=ROOT, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


def test_help_loads_nothing_heavy():
    code = (
        "import sys\nsys.argv = ['ridesim', '--help']\nfrom ridesim.cli.app import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        f"print('LOADED', [name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert "LOADED []" in done.stdout, done.stdout.splitlines()[-1]


def test_import_is_light():
    code = f"import sys, ridesim\nprint([name for name in {HEAVY!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == "[]", done.stdout + done.stderr


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_file_and_functions_fit_a_screen(path: Path):
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= LONGEST_FILE
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            # A command's signature is its table of options; what is read as a function is its body.
            lines = (node.end_lineno or node.lineno) - node.body[0].lineno + 1
            assert lines <= LONGEST_FUNCTION, f"{node.name} has {lines} lines"


def test_top_level_holds_only_what_it_should():
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "ridesim", "routes", "tests", "configs", "LICENSE"}
    assert {name for name in top if not name.startswith(".")} <= allowed


def test_no_words_that_do_not_belong():
    pattern = re.compile("tran" "script|seed " r"document|\bvi" r"deo\b|/wo" r"rk/|/tm" "p/[a-z]", re.IGNORECASE)
    found = [
        f"{path.relative_to(ROOT)}: {line.strip()[:80]}"
        for path in [*SOURCES, *(ROOT / "configs").rglob("*.toml"), ROOT / "README.md", ROOT / "DEVELOPERS.md"]
        for line in path.read_text(encoding="utf-8").splitlines()
        if pattern.search(line)
    ]
    assert not found


UNIT_FACTORS = {
    3.6, 30.0, 60.0, 100.0, 180.0, 1000.0, 2000.0, 3600.0, 86_400.0, 1e6, 1e9, 1609.344, 1.609344,
    0.01, 1e-3, 2e-3, 1e-6, 1e-9, 0.3048, 0.45359237,
}  # fmt: skip
KELVIN = 273.15
NO_UNIT = {
    "evidence/motor.py: 1000.0 / small.line_peak_v_per_1000_rpm": "the source tells volts at a thousand turns a minute",
    "physics/pack.py: temp_c + 273.15": "a kernel: it imports nothing but math",
    "report/pack/figure.py: 100.0 * share": "millimetres of paper for a picture as high as it is wide",
    "report/text.py: whole / 60": "hours, minutes and seconds of a clock, in whole numbers",
    "report/text.py: minutes // 60": "the same",
    "report/text.py: minutes % 60": "the same",
    "report/text.py: whole // 60": "the same",
    "report/text.py: whole % 60": "the same",
    "road/clock.py: (((first + day - 1) * 24 + hour) * 60 + minute) * 60": "days and hours of a calendar",
    "road/clock.py: ((first + day - 1) * 24 + hour) * 60": "the same",
    "road/clock.py: 100 * pairs[:, 0]": "two digits of a year",
    "learn/pedal_replay.py: np.arange(len(place)) * 1e-06": "keeps places of a standing bike apart",
    "workshop/pack/ageing.py: (7.543 * voltage_v - 23.75) * 1000000.0": "a constant of the published law",
    "workshop/wire/precharge.py: 1e-06 * damping": "how near to critical damping counts as critical",
    "workshop/wire/precharge.py: 0.01 * (pack_voltage_v - standing)": "one in a hundred of a gap",
}
"""What looks like a factor of a unit and is none, each with its reason."""


def factors_of(path: Path) -> Iterator[str]:
    """Every sum or product of a file with a number in it that converts a unit, as its code."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.BinOp):
            continue
        numbers = {side.value for side in (node.left, node.right) if isinstance(side, ast.Constant)}
        scales = isinstance(node.op, ast.Mult | ast.Div | ast.FloorDiv | ast.Mod)
        if (scales and numbers & UNIT_FACTORS) or KELVIN in numbers:
            yield ast.unparse(node)


def test_units_are_converted_in_one_place(tmp_path: Path):
    seen = {
        f"{path.relative_to(ROOT / 'ridesim')}: {code}"
        for path in SOURCES
        if path.name != "units.py"
        for code in factors_of(path)
    }
    assert seen - NO_UNIT.keys() == set(), "ask to_si, from_si or convert of ridesim.units for these"
    assert NO_UNIT.keys() - seen == set(), "these stand no longer: take them off the list"
    made = tmp_path / "made.py"
    made.write_text("a = b / 1000.0\nc = 60 * d\ne = f + 273.15\ng = h + 1000.0\n")
    assert list(factors_of(made)) == ["b / 1000.0", "60 * d", "f + 273.15"]


def test_library_code_never_prints():
    talkers = ("cli",)
    for path in SOURCES:
        if path.relative_to(ROOT / "ridesim").parts[0] in talkers:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id != "print", f"{path}:{node.lineno}"


def test_raw_totals_are_read_in_engine_and_ride_alone() -> None:
    """One reading of a ride: what others want of its totals is a figure, or a property of what was ridden."""
    found = []
    for path in SOURCES:
        if path.relative_to(ROOT / "ridesim").parts[0] in ("engine", "ride"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [each.name for each in node.names] if isinstance(node, ast.ImportFrom) else []
            read = isinstance(node, ast.Attribute) and node.attr in ("total", "totals", "limit_seconds")
            if "Total" in names or (read and "raw" in ast.unparse(node)):
                found.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert found == []


TYPED_UNIT = re.compile(r"\[(?:" + "|".join(re.escape(unit.symbol) for unit in UNITS.values() if unit.symbol) + r")\]$")


def _strings(tree: ast.AST) -> list[ast.Constant]:
    return [node for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)]


def test_axis_labels_come_of_the_tables() -> None:
    """No unit is typed on an axis, and no words of a quantity that the table has are typed beside its unit."""
    known = {(row.short, row.unit) for row in QUANTITIES.values()}
    typed = []
    for place in (ROOT / "ridesim" / "report").rglob("*.py"):
        tree = ast.parse(place.read_text(encoding="utf-8"))
        calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
        for call in calls:
            name = getattr(call.func, "id", getattr(call.func, "attr", ""))
            words = [each.value for each in call.args[:2] if isinstance(each, ast.Constant)]
            if name == "axis_label" and tuple(words) in known:
                typed.append(f"{place.name}: {words}: use quantity_label")
            if name in ("set_xlabel", "set_ylabel", "head"):
                typed += [f"{place.name}: {each.value!r}" for each in _strings(call) if TYPED_UNIT.search(each.value)]
    assert typed == []


def test_every_quantity_limit_and_bound_has_words_of_its_own() -> None:
    """Words stand once: two limits, or two bounds, that read alike could not be told apart in an answer."""
    for words in (
        [rule.words for rule in LIMITS.values()],
        [bound.short for bound in BY_NAME.values()],
        [bound.words for bound in BY_NAME.values()],
    ):
        assert [each for each in words if words.count(each) > 1] == []
