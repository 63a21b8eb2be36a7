"""`ridesim bench`: from meter readings to the numbers of a build."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from ridesim.cli import given, options
from ridesim.cli.answer import answer
from ridesim.cli.bench_files import BenchFiles, PartWriter, is_file, motor_part
from ridesim.cli.output import command, envelope, say, say_if_compiling
from ridesim.cli.writing import save_text
from ridesim.errors import RideError
from ridesim.report.plain import as_plain
from ridesim.units import to_si

if TYPE_CHECKING:
    from ridesim.bike.motor import Motor
    from ridesim.workshop.bench.errors import ReadingErrors
    from ridesim.workshop.bench.readings import BenchPoint
    from ridesim.workshop.bench.rundown import Drag
    from ridesim.workshop.bench.sheet import Readings
    from ridesim.workshop.bench.sweep import Sweep
    from ridesim.workshop.bench.warming import HeatingRun

EXAMPLE = (
    "Example: ridesim bench --drop 0.53,20,24 --no-load 24,1.0,2370 --no-load 48,1.7,4750 --magnets 14 "
    "--volt-error 0.05 --amp-error 0.05 --rpm-error 10\n\n"
    "By files: ridesim bench --no-load sweep.csv --heating heating.csv --rundown rundown.csv --drop 0.53,20,24 "
    "--motor motor-80mm --save parts/my-motor.toml"
)
POINT = ("V", "A", "RPM")
SIZE = ("KG", "MM", "MM")
_TESTS, _ERRORS, _FILES, _PART = "Tests", "Standard error of one reading", "Recordings (CSV)", "Motor part"

Heating = Annotated[
    str | None,
    options.choice(
        "--heating", "FILE[@MAP.toml]", "Warmed at stand (voltage and current at two leads) or at low speed (motor "
        "current), then cooling: a sensor on the body, in the winding, or both.", _FILES),
]  # fmt: skip
MovingAir = Annotated[
    str | None,
    options.choice(
        "--moving-air", "FILE[@MAP.toml]", "The same before a fan or on the road: with a column of the air's speed, or "
        "the bike's; or with --air-speed.", _FILES),
]  # fmt: skip
MOST_GAIN_PERCENT = 20.0


@dataclass(frozen=True)
class Tests(options.Bundle):
    """What was read with meters, or files of it."""

    no_load: Annotated[
        list[str] | None,
        options.choice("--no-load", ",".join(POINT), "Nothing on the shaft, twice or more; or a FILE of them.", _TESTS),
    ] = None
    loaded: Annotated[
        list[str] | None,
        options.choice("--loaded", ",".join(POINT), "Full duty, two loads or more; or a FILE of them.", _TESTS),
    ] = None
    drop: Annotated[
        str | None, options.choice("--drop", "V,A,C", "Voltage between two leads at a current.", _TESTS)
    ] = None
    pairs: Annotated[str | None, options.choice("--pairs", "MOHM,MOHM,MOHM", "The three pairs of leads.", _TESTS)] = (
        None
    )
    spin: Annotated[str | None, options.choice("--spin", "V_RMS,RPM", "Turned by a drill, two leads open.", _TESTS)] = (
        None
    )
    magnets: Annotated[int | None, options.choice("--magnets", "N", "Magnets round the rotor.", _TESTS)] = None
    sag: Annotated[str | None, options.choice("--sag", "V,A,V,A", "Pack lightly, then heavily loaded.", _TESTS)] = None
    resistance_mohm: Annotated[
        float | None, options.choice("--resistance-mohm", "MOHM", "Known, for --no-load.", _TESTS)
    ] = None
    printed_kv: Annotated[float | None, options.choice("--printed-kv", "RPM_PER_V", "What the motor says.", _TESTS)] = (
        None
    )

    @property
    def pole_pairs(self) -> int | None:
        """Half the magnets; None where they were not counted."""
        return None if self.magnets is None else self.magnets // 2

    def read(self, files: BenchFiles) -> Readings:
        """Return what was read, with what the files hold. Raises RideError and LogError."""
        from ridesim.workshop.bench.sheet import Readings

        return Readings(
            no_load=_points("--no-load", self.no_load),
            loaded=_points("--loaded", self.loaded),
            drop=tuple(given.numbers("--drop", self.drop, ("V", "A", "C"))) if self.drop else None,  # type: ignore[arg-type]
            pairs_mohm=given.numbers("--pairs", self.pairs, ("MOHM", "MOHM", "MOHM")) if self.pairs else (),
            spin=tuple(given.numbers("--spin", self.spin, ("V_RMS", "RPM"))) if self.spin else None,  # type: ignore[arg-type]
            magnets=self.magnets,
            sag=tuple(given.numbers("--sag", self.sag, ("V", "A", "V", "A"))) if self.sag else None,  # type: ignore[arg-type]
            resistance_mohm=self.resistance_mohm,
            name_plate_kv_rpm_per_v=self.printed_kv,
            no_load_file=_file(files, "--no-load", self.no_load),
            loaded_file=_file(files, "--loaded", self.loaded),
        )


@dataclass(frozen=True)
class Recordings(options.Bundle):
    """What was recorded: warming and cooling, running down."""

    heating: Heating = None
    moving_air: MovingAir = None
    air_speed: Annotated[float | None, options.choice("--air-speed", "KM_H", "Of the air in --moving-air.", _FILES)] = (
        None
    )
    rundown: Annotated[
        str | None,
        options.choice("--rundown", "FILE[@MAP.toml]", "Let go at speed: time and speed; once or more.", _FILES),
    ] = None
    air: Annotated[float | None, options.choice("--air", "C", "Of the air, where no column has it.", _FILES)] = None
    inertia: Annotated[
        float | None,
        options.choice("--inertia", "KG_M2", "Of the rotor, where known: a rundown then tells drag.", _FILES),
    ] = None


@dataclass(frozen=True)
class Part(options.Bundle):
    """The motor part that the readings make."""

    motor: Annotated[
        str | None, options.choice("--motor", "PART", "Lay what was measured over this part; it gives the rest.", _PART)
    ] = None
    size: Annotated[str | None, options.choice("--size", ",".join(SIZE), "Mass, can diameter and length.", _PART)] = (
        None
    )
    name: Annotated[str, options.choice("--name", "TEXT", "What you call the motor.", _PART)] = "measured motor"
    save: Annotated[Path | None, options.choice("--save", "FILE.toml", "Write the motor part here.", _PART)] = None

    @property
    def sized(self) -> dict[str, float]:
        """Mass and can of the motor, as keys of its part; empty where they were not given."""
        if not self.size:
            return {}
        names = ("mass_kg", "can_diameter_mm", "can_length_mm")
        return dict(zip(names, given.numbers("--size", self.size, SIZE), strict=True))


@dataclass(frozen=True)
class Errors(options.Bundle):
    """Standard errors of single readings."""

    volt_error: Annotated[float, options.choice("--volt-error", "V", "Of a voltage.", _ERRORS)] = 0.0
    amp_error: Annotated[float, options.choice("--amp-error", "A", "Of a current.", _ERRORS)] = 0.0
    rpm_error: Annotated[float, options.choice("--rpm-error", "RPM", "Of a speed.", _ERRORS)] = 0.0
    temperature_error: Annotated[float, options.choice("--temperature-error", "K", "Of a temperature.", _ERRORS)] = 0.0
    resistance_error: Annotated[
        float, options.choice("--resistance-error", "MOHM", "Of the known resistance.", _ERRORS)
    ] = 0.0
    gain_error: Annotated[
        float, options.choice("--gain-error", "PERCENT", "How far all readings of a meter are off; 0: exact.", _ERRORS)
    ] = 1.0

    @property
    def stated(self) -> ReadingErrors:
        """The same as the sheet takes them; a meter's gain goes with the readings."""
        from ridesim.workshop.bench.errors import ReadingErrors

        return ReadingErrors(
            self.volt_error, self.amp_error, self.rpm_error, self.temperature_error, self.resistance_error
        )


@command("bench", EXAMPLE)
def bench(
    tests: Tests = Tests(),
    recordings: Recordings = Recordings(),
    part: Part = Part(),
    said: Errors = Errors(),
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Work out Kv, resistance, drag, warmth, inertia and pack from bench readings, by hand or by file, with errors.

    A FILE is any table (CSV); which column holds what is guessed and shown, as `ridesim log` does: FILE@MAP.toml
    gives a mapping that `ridesim log FILE --mapping-only` wrote and you corrected.
    """
    from ridesim.report.bench.view import picture_names, view
    from ridesim.workshop.bench.sheet import fill_sheet
    from ridesim.workshop.limits import require_between

    require_between("bench", "gain_error_percent", said.gain_error, 0.0, MOST_GAIN_PERCENT)
    over, drag = _over(part.motor)
    files = BenchFiles(tests.pole_pairs if tests.pole_pairs or over is None else over[0].pole_pairs)
    readings = _recorded(tests.read(files), files, recordings, said, over, drag)
    if recordings.heating is not None or recordings.moving_air is not None:
        say_if_compiling()
    result = fill_sheet(readings, said.stated)
    write = PartWriter(result, part.name, files, part.sized, over)
    if part.save is not None:
        save_text(part.save, write.text(part.save.parent))
        say(f"wrote {part.save}")
    inputs = {"readings": _by_hand(readings), "errors": as_plain(said.stated), "gain_error_percent": said.gain_error,
              "files": files.named()}  # fmt: skip
    hint = "" if part.save is not None else write.hint()
    answer(
        wanted,
        envelope("bench", inputs, **as_plain(result)),
        lambda pictures: view(
            result, readings, wanted.units, pictures=pictures, columns=files.columns(), notes=files.notes, hint=hint
        ),
        [],
        pictures=picture_names(result, readings),
        tables=write.tables(wanted.out),
    )


def _recorded(
    readings: Readings, files: BenchFiles, recordings: Recordings, said: Errors,
    over: tuple[Motor, Path] | None, drag: Drag | None,
) -> Readings:  # fmt: skip
    """Return the readings with what was recorded beside them, and what the part below tells of rotor and drag."""
    heating, rundown, inertia = recordings.heating, recordings.rundown, recordings.inertia
    gain = float(to_si(said.gain_error, "percent"))
    return replace(
        readings,
        heating=None if heating is None else files.heating(heating, recordings.air, said.temperature_error, gain),
        moving=_moving(files, recordings, said, gain),
        rundown=None if rundown is None else files.rundown(rundown),
        inertia_kg_m2=inertia if inertia is not None or over is None or drag else over[0].rotor_inertia_kg_m2,
        known_drag=drag,
        gain_error=gain,
    )


def _moving(files: BenchFiles, recordings: Recordings, said: Errors, gain: float) -> HeatingRun | None:
    """Return the run in moving air. Raises RideError and LogError."""
    from ridesim.workshop.limits import require_between

    named, speed = recordings.moving_air, recordings.air_speed
    if named is None:
        if speed is not None:
            raise RideError("--air-speed", "belongs to a run in moving air", "give it with --moving-air FILE")
        return None
    if speed is not None:
        require_between("bench", "air_speed_km_h", speed, *AIR_KM_H)
    return files.heating(named, recordings.air, said.temperature_error, gain, option="--moving-air", air_km_h=speed)


AIR_KM_H = (1.0, 150.0)


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
    files = ("no_load_file", "loaded_file", "heating", "moving", "rundown")
    typed = as_plain(replace(readings, no_load_file=None, loaded_file=None, heating=None, moving=None, rundown=None))
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
