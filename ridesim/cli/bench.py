"""`ridesim bench`: from meter readings to the numbers of a build."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ridesim.cli import given, options
from ridesim.cli.answer import Wanted, answer
from ridesim.cli.output import answering, envelope
from ridesim.report.plain import as_plain

if TYPE_CHECKING:
    from ridesim.workshop.bench.readings import BenchPoint

EXAMPLE = (
    "Example: ridesim bench --drop 0.53,20,24 --no-load 24,1.0,2370 --no-load 48,1.7,4750 --magnets 14 "
    "--volt-error 0.05 --amp-error 0.05 --rpm-error 10"
)
POINT = ("V", "A", "RPM")
_TESTS, _ERRORS = "Tests", "Standard error of one reading"

NoLoad = Annotated[
    list[str] | None, given.choice("--no-load", ",".join(POINT), "Nothing on the shaft, twice or more.", _TESTS)
]
UnderLoad = Annotated[
    list[str] | None, given.choice("--loaded", ",".join(POINT), "Full duty, two loads or more.", _TESTS)
]
Drop = Annotated[str | None, given.choice("--drop", "V,A,C", "Voltage between two leads at a current.", _TESTS)]
Pairs = Annotated[str | None, given.choice("--pairs", "MOHM,MOHM,MOHM", "The three pairs of leads.", _TESTS)]
Spin = Annotated[str | None, given.choice("--spin", "V_RMS,RPM", "Turned by a drill, two leads open.", _TESTS)]
Magnets = Annotated[int | None, given.choice("--magnets", "N", "Magnets round the rotor.", _TESTS)]
Sag = Annotated[str | None, given.choice("--sag", "V,A,V,A", "Pack lightly, then heavily loaded.", _TESTS)]
Ohm = Annotated[float | None, given.choice("--resistance-mohm", "MOHM", "Known, for --no-load.", _TESTS)]
Plate = Annotated[float | None, given.choice("--printed-kv", "RPM_PER_V", "What the motor says.", _TESTS)]
VoltError = Annotated[float, given.choice("--volt-error", "V", "Of a voltage.", _ERRORS)]
AmpError = Annotated[float, given.choice("--amp-error", "A", "Of a current.", _ERRORS)]
RpmError = Annotated[float, given.choice("--rpm-error", "RPM", "Of a speed.", _ERRORS)]
TempError = Annotated[float, given.choice("--temperature-error", "K", "Of a temperature.", _ERRORS)]
OhmError = Annotated[float, given.choice("--resistance-error", "MOHM", "Of the known resistance.", _ERRORS)]


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
    volt_error: VoltError = 0.0,
    amp_error: AmpError = 0.0,
    rpm_error: RpmError = 0.0,
    temperature_error: TempError = 0.0,
    resistance_error: OhmError = 0.0,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
    units: options.UnitSystem = options.Units.metric,
) -> None:
    """Work out Kv, resistance, drag, pole pairs and pack resistance from bench readings, with their errors."""
    from ridesim.report.bench.view import view
    from ridesim.workshop.bench.errors import ReadingErrors
    from ridesim.workshop.bench.sheet import Readings, fill_sheet

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
    )
    errors = ReadingErrors(volt_error, amp_error, rpm_error, temperature_error, resistance_error)
    result = fill_sheet(readings, errors)
    inputs = {"readings": as_plain(readings), "errors": as_plain(errors)}
    answer(
        Wanted(as_json, out, report, units.value),
        envelope("bench", inputs, **as_plain(result)),
        lambda pictures: view(result, units.value, pictures=pictures),
        [],
    )


def _points(option: str, texts: list[str] | None) -> tuple[BenchPoint, ...]:
    from ridesim.workshop.bench.readings import BenchPoint

    return tuple(BenchPoint(*given.numbers(option, text, POINT)) for text in texts or ())
