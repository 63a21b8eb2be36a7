"""README tells the truth: its outputs, its table of keys and commands, its pictures and its Python lines."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from difflib import SequenceMatcher
from itertools import zip_longest
from pathlib import Path

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _blocks():
    spec = importlib.util.spec_from_file_location("readme_blocks", ROOT / "tests" / "readme_blocks.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_written_blocks_are_fresh():
    told = moved(README, _blocks().refreshed(README))
    assert not told, told


NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def moved(written: str, fresh: str) -> str:
    """Say which figures of README moved and by how much, then what else changed, and last how to write it anew."""
    if written == fresh:
        return ""
    figures, others = [], []
    old, new = written.splitlines(), fresh.splitlines()
    for _, a, b, c, d in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if old[a:b] == new[c:d]:
            continue
        for before, after in zip_longest(old[a:b], new[c:d], fillvalue=""):
            numbers = [(x, y) for x, y in zip(NUMBER.findall(before), NUMBER.findall(after), strict=False) if x != y]
            if NUMBER.sub("#", before) == NUMBER.sub("#", after):
                steps = ", ".join(f"{x} -> {y} ({float(y) - float(x):+.4g})" for x, y in numbers)
                figures.append(f"  {steps} in: {after.strip()}")
            elif before or after:
                others.append(f"  - {before.strip()}\n  + {after.strip()}")
    parts = [f"{len(figures)} lines of README's outputs have figures that MOVED:", *figures] if figures else []
    parts += [f"{len(others)} lines changed in words:", *others] if others else []
    how = "If each of these was meant, say why in the commit, then: python tests/readme_blocks.py"
    return "\n".join([*parts, how])


def test_a_moved_figure_is_told_before_the_way_to_renew_it():
    told = moved("range 41.2 km\nsame\nfine\n", "range 39.7 km\nsame\nlook again\nnew\n")
    lines = told.splitlines()
    assert lines[0] == "1 lines of README's outputs have figures that MOVED:"
    assert lines[1] == "  41.2 -> 39.7 (-1.5) in: range 39.7 km"
    assert "  - fine\n  + look again" in told
    assert lines[-1].endswith("python tests/readme_blocks.py")
    assert moved("same", "same") == ""


def test_pictures_exist():
    named = re.findall(r"\]\((\.github/[^)]+)\)", README)
    assert named
    assert not [name for name in named if not (ROOT / name).is_file()]


def test_python_lines_run(tmp_path: Path):
    lines = re.search(r"```python\n(.*?)```", README, re.S)[1]
    assert len([line for line in lines.splitlines() if line]) <= 10
    code = lines.replace('"temperatures.png"', repr(str(tmp_path / "t.png")))
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=240)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "t.png").stat().st_size > 10_000


def test_readme_names_every_command():
    from ridesim.cli.app import all_commands

    for command in all_commands():
        assert f"`ridesim {command.name}`" in README


def test_files_named_in_readme_exist():
    for name in re.findall(r"`((?:configs|routes)/[\w./-]+)`", README):
        assert (ROOT / name).exists(), name


def test_every_command_has_the_options_that_readme_promises():
    import inspect

    from ridesim.cli.app import all_commands

    for command in all_commands():
        has = set(inspect.signature(command.callback).parameters)
        if command.name in ("new", "explain", "live"):  # they write files, answer in a few words, serve a page
            continue
        assert {"as_json", "out", "report"} <= has, command.name
        assert "units" in has or command.name == "evidence", command.name
        assert "set_" in has or not {"build", "builds"} & has, command.name
