"""Every command that takes a road reads it with the same wishes: smoothing, no slope, faults left as they are."""

from __future__ import annotations

import inspect
import sys

import pytest
import typer

from ridesim.cli.app import all_commands
from ridesim.cli.door import run
from ridesim.road import load as reader

BUILD, ROAD = "configs/longtail-belt.toml", "routes/ridge-climb.gpx"


def takes_a_road(command) -> bool:
    """Whether one of a command's arguments is a road."""
    for parameter in inspect.signature(command.callback, eval_str=True).parameters.values():
        for mark in getattr(parameter.annotation, "__metadata__", ()):
            if isinstance(mark, typer.models.ArgumentInfo) and "ROAD" in str(mark.metavar):
                return True
            if isinstance(mark, typer.models.OptionInfo) and "ROAD" in str(mark.metavar):
                return True
    return False


APART = ("live",)
"""Its page reads the roads that are chosen there."""
TAKING = {str(each.name): each for each in all_commands() if takes_a_road(each) and each.name not in APART}
CALLS = {
    "road": (ROAD,),
    "compare": (BUILD, BUILD, "--road", ROAD),
    "rewind": (BUILD, ROAD, "--turns", "10", "--teeth", "12", "--connection", "star"),
}


def test_the_commands_are_all_found():
    assert {"ride", "range", "climb", "check", "belt", "wire", "compare", "throttle", "spread"} <= set(TAKING)


@pytest.mark.parametrize("name", TAKING)
def test_a_command_that_takes_a_road_hands_over_all_wishes(name: str, monkeypatch: pytest.MonkeyPatch, capsys):
    asked: list[dict[str, object]] = []

    def read(path, **wishes):
        asked.append(wishes)
        raise reader.RoadError(str(path), "was asked for", "all is well")

    real = reader.load_road
    monkeypatch.setattr(reader, "load_road", read)
    words = CALLS.get(name, (BUILD, ROAD))
    assert run([name, *words, "--as-it-is", "--flat", "--smooth", "12"]) == 2
    for module in list(sys.modules.values()):  # what was first imported now has bound the fake for good
        if module is not reader and vars(module).get("load_road") is read:
            module.load_road = real
    assert "was asked for" in capsys.readouterr().err
    assert asked == [{"smoothing_m": 12.0, "flat": True, "as_it_is": True}]
