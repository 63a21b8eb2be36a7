"""The `ridesim` command: a table of what there is to ask; a command's module is imported when it is called.

A new command is one line in `COMMANDS_IN_ORDER` and a function of a module beside this one, under
`@command(name, example)`.
"""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import Annotated, Any, NamedTuple

import typer
from typer.core import TyperCommand
from typer.main import get_command
from typer.models import CommandInfo


class Listed(NamedTuple):
    """A command as the list of all shows it; `help` is the first line of its own help, word for word (a test)."""

    name: str
    module: str
    help: str


COMMANDS_IN_ORDER = """
ride: Ride BUILD over ROAD: time, range, currents, heat, and whether it arrives.
dossier: Put BUILD's ride over ROAD, spans, climb map, ratios, checks, belts, leads, pack and law into one document.
live: Open a page on this machine where a hand on a part redraws the whole ride; Ctrl-C ends it.
spread: How sure are BUILD's answers on ROAD: spans, chances, what carries them, and what to measure next.
road: Show what was read from ROAD and what was cleaned: length, climb before and after smoothing, steepest stretch.
new: Write a commented starter build, or with --road a road file, with every key, its unit, range and default.
range: Ride BUILD over ROAD again and again until it ends: how far as built, at other speeds, in the cold, and aged.
season: Ride BUILD over ROAD and back every day of a year: worst day, energy, price, and how long the pack lasts.
regen: Ride BUILD over ROAD with and without regen: energy returned, range gained, and where the braking energy went.
descend: Do BUILD's brakes cook on the way down ROAD, or a grade? With regen, from a full pack, without, and by speed.
ratios: Ride BUILD over ROAD with each ratio, pulley pair or set of gears, and say which to take and why.
compare: Ride two or more builds over the same roads and show them side by side, the largest differences first.
check: Judge every part of BUILD by a ride over ROAD, or up a climb: fine, look again, or stop, and why.
belt: Judge toothed belts by the loads of BUILD's ride, or by numbers: tension, capacity, tooth skip, clearance.
mount: Judge what holds BUILD's drive: shaft, pulley joint, bolts, arms and bracket, at the peak and for good.
climb: Does BUILD cook on a climb? Heat along a road or a grade; without either, a map of what it holds for ever.
wire: Choose leads, fuse, plug, strips and pre-charge resistor for BUILD's ride, or for currents given by hand.
rewind: Scale a motor from today's turns, wire and connection to new ones, or list the windings for a wanted Kv.
pack: Plan a pack from voltage, energy and current: cells, size, charging, ageing, and the voltages to keep.
group: Sort measured cells into groups of nearly equal capacity, and say how weak the weakest group is.
law: Hold BUILD against power, speed and assist classes of published rules; local law and licensed advice decide.
bench: Work out Kv, resistance, drag, warmth, inertia and pack from bench readings, by hand or by file, with errors.
throttle: Ride one climb under the laws torque, voltage and governor, limits on and off: how each cooks a motor.
launch: Start BUILD from rest: times to speed, top speed, steepest start, and its pull against the road's resistance.
size: Find the lightest motor, its reduction, Kv, current limits and pack for a wish, by riding candidates.
search: Ride every combination that GOALS allow over the roads: the front of what matters, its knee, and the reasons.
log: Show what is in LOG, column by column, with every fault and its share, and write a mapping to correct.
replay: Drive BUILD's model by LOG's current, throttle or speed: measured against computed, where they part, and why.
fit: Fit BUILD to the LOG of a ride, or drags and wind to a LOG with pedal power, and tell how well it predicts.
cell: Fit a cell's circuit to its RESTED voltages and runs, with errors, and write it as a cell part.
coastdown: Fit air and rolling drag to RUNs of coasting on a quiet, even road.
evidence: Run every outside check and print the table: quantity, ours, theirs, difference, tolerance, source.
explain: Say in plain words what NAME is: a key, a quantity, a limit, a word; its unit, default, source and measuring.
"""
ELSEWHERE = {"range": "range_", "group": "pack", "coastdown": "fit"}
"""Modules that are not named as their command."""


def _listed(row: str) -> Listed:
    name, _, words = row.partition(": ")
    return Listed(name, ELSEWHERE.get(name, name), words)


COMMANDS = {listed.name: listed for listed in map(_listed, COMMANDS_IN_ORDER.strip().splitlines())}


class Later(TyperCommand):
    """A command that stands in the list by name and help; its module is imported when it is called."""

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> Any:
        """Let the command itself read its words."""
        return _whole(str(self.name)).make_context(info_name, args, parent, **extra)


@cache
def _whole(name: str) -> Any:
    """Return the command itself."""
    made: Any = get_command(_family(COMMANDS[name].module))
    return made.commands[name] if hasattr(made, "commands") else made


@cache
def _family(module: str) -> typer.Typer:
    """Import a module of commands and return the app of these."""
    family = typer.Typer(add_completion=False, pretty_exceptions_enable=False)
    for each in vars(import_module(f"ridesim.cli.{module}")).values():
        if hasattr(each, "listed_as"):
            family.command(**each.listed_as)(each)
    return family


def all_commands() -> list[CommandInfo]:
    """Return every command as it is registered, in the order of the list; imports all of them."""
    return [
        each
        for name, module, _ in COMMANDS.values()
        for each in _family(module).registered_commands
        if each.name == name
    ]


app = typer.Typer(
    name="ridesim",
    help="Ride a home-made electric bike before it exists.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for listed in COMMANDS.values():
    app.command(listed.name, cls=Later, help=listed.help)(lambda: None)


def _show_version(wanted: bool) -> None:
    if wanted:
        from ridesim import __version__

        print(__version__)
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version.", callback=_show_version, is_eager=True)
    ] = False,
) -> None:
    pass


@cache
def command_line() -> Any:
    """Return the command line, put together once a process."""
    return get_command(app)


def main() -> None:
    """Run the command line."""
    app()
