"""The rules of the house that a machine can keep: layers, sizes, start-up, words."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

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


def test_library_code_never_prints():
    talkers = ("cli",)
    for path in SOURCES:
        if path.relative_to(ROOT / "ridesim").parts[0] in talkers:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id != "print", f"{path}:{node.lineno}"
