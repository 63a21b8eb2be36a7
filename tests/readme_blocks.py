"""The parts of README.md that are written by the program itself. Run this file to write them anew."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
END = "<!-- end -->\n"


def output_of(command: str) -> str:
    """Return what a command prints, as a README block."""
    words = shlex.split(command)
    assert words[0] == "ridesim"
    environment = {**os.environ, "NO_COLOR": "1", "COLUMNS": "110", "TERM": "dumb"}
    done = subprocess.run(
        [sys.executable, "-m", "ridesim", *words[1:]],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        env=environment,
    )
    return f"```console\n$ {command}\n{done.stdout.rstrip()}\n```\n"


def key_table() -> str:
    """Return the table of every key."""
    from ridesim.bike.starter import key_reference_markdown

    return key_reference_markdown().rstrip() + "\n"


def road_key_table() -> str:
    """Return the table of every key of a road file."""
    from ridesim.road.starter import key_reference_markdown

    return key_reference_markdown().rstrip() + "\n"


def command_table() -> str:
    """Return the table of every command, from the help texts."""
    from ridesim.cli.app import all_commands

    rows = ["| command | what it answers |", "| --- | --- |"]
    for command in all_commands():
        text = " ".join((command.callback.__doc__ or "").split())
        rows.append(f"| `ridesim {command.name}` | {text} |")
    return "\n".join(rows) + "\n"


TABLES = {"keys": key_table, "road keys": road_key_table, "commands": command_table}


def refreshed(text: str) -> str:
    """Return README text with every written block made anew."""
    out: list[str] = []
    lines = text.splitlines(keepends=True)
    index = 0
    while index < len(lines):
        line = lines[index]
        out.append(line)
        index += 1
        found = re.match(r"<!-- (?:output: (.+)|(keys|road keys|commands)) -->\n", line)
        if not found:
            continue
        if END in lines[index : index + 400]:
            nearest = lines.index(END, index)
            if not any(re.match(r"<!-- (?:output: |keys|road keys|commands)", other) for other in lines[index:nearest]):
                index = nearest + 1
        made = output_of(found[1]) if found[1] else TABLES[found[2]]()
        out.append(made + END)
    return "".join(out)


if __name__ == "__main__":
    README.write_text(refreshed(README.read_text(encoding="utf-8")), encoding="utf-8")
