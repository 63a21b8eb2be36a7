"""`ridesim bench`: from meter readings to the numbers of a build."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridesim.cli import given, options
from ridesim.cli.answer import Wanted, answer
from ridesim.cli.bench_files import BenchFiles, PartWriter, is_file, motor_part
from ridesim.cli.output import answering, envelope, say, say_if_compiling
from ridesim.cli.writing import save_text
from ridesim.errors import RideError
from ridesim.report.plain import as_plain
from ridesim.units import to_si

if TYPE_CHECKING:
    from ridesim.bike.motor import Motor
    from ridesim.workshop.bench.readings import BenchPoint
    from ridesim.workshop.bench.rundown import Drag
    from ridesim.workshop.bench.sheet import Readings
    from ridesim.workshop.bench.sweep import Sweep

EXAMPLE = (
    "Example: ridesim bench --drop 0.53,20,24 --no-load 24,1.0,2370 --no-load 48,1.7,4750 --magnets 14 "
    "--volt-error 0.05 --amp-error 0.05 --rpm-error 10\n\n"
    "By files: ridesim bench --no-load sweep.csv --heating heating.csv --rundown rundown.csv --drop 0.53,20,24 "
    "--motor motor-80mm --save parts/my-motor.toml"
)
POINT = ("V", "A", "RPM")
SIZE = ("KG", "MM", "MM")
_TESTS, _ERRORS, _FILES, _PART = "Tests", "Standard error of one reading", "Recordings (CSV)", "Motor part"

NoLoad = Annotated[
    list[str] | None,
    given.choice("--no-load", ",".join(POINT), "Nothing on the shaft, twice or more; or a FILE of them.", _TESTS),
]
UnderLoad = Annotated[
    list[str] | None,
    given.choice("--loaded", ",".join(POINT), "Full duty, two loads or more; or a FILE of them.", _TESTS),
]
Drop = Annotated[str | None, given.choice("--drop", "V,A,C", "Voltage between two leads at a current.", _TESTS)]
Pairs = Annotated[str | None, given.choice("--pairs", "MOHM,MOHM,MOHM", "The three pairs of leads.", _TESTS)]
Spin = Annotated[str | None, given.choice("--spin", "V_RMS,RPM", "Turned by a drill, two leads open.", _TESTS)]
Magnets = Annotated[int | None, given.choice("--magnets", "N", "Magnets round the rotor.", _TESTS)]
Sag = Annotated[str | None, given.choice("--sag", "V,A,V,A", "Pack lightly, then heavily loaded.", _TESTS)]
Ohm = Annotated[float | None, given.choice("--resistance-mohm", "MOHM", "Known, for --no-load.", _TESTS)]
Plate = Annotated[float | None, given.choice("--printed-kv", "RPM_PER_V", "What the motor says.", _TESTS)]
Heating = Annotated[
    str | None,
    given.choice(
        "--heating", "FILE[@MAP.toml]", "Warmed at stand (voltage and current at two leads) or at low speed (motor "
        "current), then cooling: a sensor on the body, in the winding, or both.", _FILES),
]  # fmt: skip
Rundown = Annotated[
    str | None, given.choice("--rundown", "FILE[@MAP.toml]", "Let go at speed: time and speed; once or more.", _FILES)
]
Air = Annotated[float | None, given.choice("--air", "C", "Of the air, where no column has it.", _FILES)]
Inertia = Annotated[
    float | None, given.choice("--inertia", "KG_M2", "Of the rotor, where known: a rundown then tells drag.", _FILES)
]
VoltError = Annotated[float, given.choice("--volt-error", "V", "Of a voltage.", _ERRORS)]
AmpError = Annotated[float, given.choice("--amp-error", "A", "Of a current.", _ERRORS)]
RpmError = Annotated[float, given.choice("--rpm-error", "RPM", "Of a speed.", _ERRORS)]
TempError = Annotated[float, given.choice("--temperature-error", "K", "Of a temperature.", _ERRORS)]
OhmError = Annotated[float, given.choice("--resistance-error", "MOHM", "Of the known resistance.", _ERRORS)]
GainError = Annotated[
    float, given.choice("--gain-error", "PERCENT", "How far all readings of a meter are off; 0: exact.", _ERRORS)
]
PartOver = Annotated[
    str | None, given.choice("--motor", "PART", "Lay what was measured over this part; it gives the rest.", _PART)
]
Size = Annotated[str | None, given.choice("--size", ",".join(SIZE), "Mass, can diameter and length.", _PART)]
Name = Annotated[str, given.choice("--name", "TEXT", "What you call the motor.", _PART)]
Save = Annotated[
    Path | None,
    typer.Option("--save", metavar="FILE.toml", help="Write the motor part here.", rich_help_panel=_PART),
]
MOST_GAIN_PERCENT = 20.0


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("bench", epilog=EXAMPLE, no_args_is_help=True)(bench)


@answering
def bench(
    no_load: NoLoad = None,
    loaded: UnderLoad = None,
    drop: Drop = None,
    pairs: Pairs = None,
    spin: Spin = None,
    magnets: Magnets = None,
    sag: Sag = None,
    resistance_mohm: Ohm = None,
    printed_kv: Plate = None,
    heating: Heating = None,
    rundown: Rundown = None,
    air: Air = None,
    inertia: Inertia = None,
    motor: PartOver = None,
    size: Size = None,
    name: Name = "measured motor",
    save: Save = None,
    volt_error: VoltError = 0.0,
    amp_error: AmpError = 0.0,
    rpm_error: RpmError = 0.0,
    temperature_error: TempError = 0.0,
    resistance_error: OhmError = 0.0,
    gain_error: GainError = 1.0,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
    units: options.UnitSystem = options.Units.metric,
) -> None:
    """Work out Kv, resistance, drag, warmth, inertia and pack from bench readings, by hand or by file, with errors.

    A FILE is any table (CSV); which column holds what is guessed and shown, as `ridesim log` does: FILE@MAP.toml
    gives a mapping that `ridesim log FILE --mapping-only` wrote and you corrected.
    """
    from ridesim.report.bench.view import picture_names, view
    from ridesim.workshop.bench.errors import ReadingErrors
    from ridesim.workshop.bench.sheet import Readings, fill_sheet
    from ridesim.workshop.limits import require_between

    require_between("bench", "gain_error_percent", gain_error, 0.0, MOST_GAIN_PERCENT)
    pole_pairs = None if magnets is None else magnets // 2
    over, drag = _over(motor)
    files = BenchFiles(pole_pairs if pole_pairs or over is None else over[0].pole_pairs)
    errors = ReadingErrors(volt_error, amp_error, rpm_error, temperature_error, resistance_error)
    gain = float(to_si(gain_error, "percent"))
    readings = Readings(
        no_load=_points("--no-load", no_load),
        loaded=_points("--loaded", loaded),
        drop=tuple(given.numbers("--drop", drop, ("V", "A", "C"))) if drop else None,  # type: ignore[arg-type]
        pairs_mohm=given.numbers("--pairs", pairs, ("MOHM", "MOHM", "MOHM")) if pairs else (),
        spin=tuple(given.numbers("--spin", spin, ("V_RMS", "RPM"))) if spin else None,  # type: ignore[arg-type]
        magnets=magnets,
        sag=tuple(given.numbers("--sag", sag, ("V", "A", "V", "A"))) if sag else None,  # type: ignore[arg-type]
        resistance_mohm=resistance_mohm,
        name_plate_kv_rpm_per_v=printed_kv,
        no_load_file=_file(files, "--no-load", no_load),
        loaded_file=_file(files, "--loaded", loaded),
        heating=None if heating is None else files.heating(heating, air, temperature_error, gain),
        rundown=None if rundown is None else files.rundown(rundown),
        inertia_kg_m2=inertia if inertia is not None or over is None or drag else over[0].rotor_inertia_kg_m2,
        known_drag=drag,
        gain_error=gain,
    )
    if heating is not None:
        say_if_compiling()
    result = fill_sheet(readings, errors)
    sized = dict(zip(("mass_kg", "can_diameter_mm", "can_length_mm"), given.numbers("--size", size, SIZE) if size else (
        ), strict=False))  # fmt: skip
    write = PartWriter(result, name, files, sized, over)
    if save is not None:
        save_text(save, write.text(save.parent))
        say(f"wrote {save}")
    inputs = {"readings": _by_hand(readings), "errors": as_plain(errors), "gain_error_percent": gain_error,
              "files": files.named()}  # fmt: skip
    hint = "" if save is not None else write.hint()
    answer(
        Wanted(as_json, out, report, units),
        envelope("bench", inputs, **as_plain(result)),
        lambda pictures: view(
            result, readings, units.value, pictures=pictures, columns=files.columns(), notes=files.notes, hint=hint
        ),
        [],
        pictures=picture_names(result, readings),
        tables=write.tables(out),
    )


def _over(motor: str | None) -> tuple[tuple[Motor, Path] | None, Drag | None]:
    """Return the part that the measured one is laid over, and its drag where it has no-load points."""
    if motor is None:
        return None, None
    from ridesim.engine.estimates import drag_terms
    from ridesim.workshop.bench.rundown import Drag

    part, place = motor_part(motor)
    if not part.no_load:
        return (part, place), None
    still, growth = drag_terms(part)
    return (part, place), Drag(still, growth, STATED_DRAG * still, STATED_DRAG * growth)


STATED_DRAG = 0.2
"""How sure a part's own no-load points are, as the schema has it for given ones."""


def _by_hand(readings: Readings) -> dict[str, Any]:
    """Return the readings that were typed; files stand beside them by path and hash."""
    files = ("no_load_file", "loaded_file", "heating", "rundown")
    typed = as_plain(replace(readings, no_load_file=None, loaded_file=None, heating=None, rundown=None))
    return {key: value for key, value in typed.items() if key not in files}


def _points(option: str, texts: list[str] | None) -> tuple[BenchPoint, ...]:
    from ridesim.workshop.bench.readings import BenchPoint

    by_hand = [text for text in texts or () if not is_file(text)]
    return tuple(BenchPoint(*given.numbers(option, text, POINT)) for text in by_hand)


def _file(files: BenchFiles, option: str, texts: list[str] | None) -> Sweep | None:
    named = [text for text in texts or () if is_file(text)]
    if len(named) > 1:
        raise RideError(option, f"names {len(named)} files", "put the readings of one motor into one")
    return files.sweep(option, named[0]) if named else None
