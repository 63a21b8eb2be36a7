"""What `ridesim bench` reads from files: sweeps, heating runs and rundowns, and the part that a sheet is laid over."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from ridesim.errors import RideError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from ridesim.bike.motor import Motor
    from ridesim.cli.answer import Writer
    from ridesim.learn.bench_file import BenchTable
    from ridesim.workshop.bench.sheet import BenchSheet
    from ridesim.workshop.bench.sweep import Sweep
    from ridesim.workshop.bench.warming import HeatingRun

    Array = NDArray[np.float64]

SPEEDS = ("motor_speed_rpm", "electrical_speed_rpm", "wheel_speed_rpm")
TURNING_RPM = 5.0
WARMING_SHARE = 0.1
"""A current below this share of the largest is no measurement of a resistance (guess)."""


@dataclass
class BenchFiles:
    """Files of one bench sheet: what was read of each, for the answer's inputs and its table of columns."""

    pole_pairs: int | None
    tables: list[tuple[str, BenchTable]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def read(self, option: str, named: str, least_rows: int, *, timed: bool) -> BenchTable:
        """Return a file's table and remember it."""
        from ridesim.learn.bench_file import read_bench_table

        table = read_bench_table(named, least_rows, timed=timed)
        self.tables.append((option, table))
        self.notes += [f"{table.path}: {note}" for note in table.notes]
        return table

    def sweep(self, option: str, named: str) -> Sweep:
        """Return the steady readings of a sweep."""
        from ridesim.workshop.bench.sweep import sweep_of

        table = self.read(option, named, 2, timed=False)
        volts, speed = table.require("pack_voltage_v"), self.speed(table)
        motor = table.of("motor_current_a")
        current, duty = table.require("pack_current_a", "motor_current_a"), table.of("duty")
        if motor is not None and current is not motor and duty is not None:
            self.notes.append(f"{table.path}: the motor's current is left aside, the DC current over duty is read")
        found = sweep_of(table.path, volts, current, speed, duty=duty)
        self.notes += [f"{table.path}: {note}" for note in found.notes]
        return found

    def speed(self, table: BenchTable) -> Array:
        """Return the shaft speed [rpm]; an electrical one over the pole pairs. Raises RideError without these."""
        values = table.require(*SPEEDS)
        if values is table.of("electrical_speed_rpm") and "motor_speed_rpm" not in table.columns:
            if self.pole_pairs is None:
                raise RideError(table.path, "holds an electrical speed", "give --magnets, the magnets round the rotor")
            return values / self.pole_pairs
        return values

    def rundown(self, named: str) -> tuple[str, Array, Array]:
        """Return where from, seconds and shaft speed [rpm]."""
        table = self.read("--rundown", named, 10, timed=True)
        assert table.time_s is not None
        return table.path, table.time_s, self.speed(table)

    def heating(
        self, named: str, air_c: float | None, temperature_error: float, gain: float, *,
        option: str = "--heating", air_km_h: float | None = None,
    ) -> HeatingRun:  # fmt: skip
        """Return a heating run: heat by voltage and current at the leads, or by the motor's current."""
        import numpy as np

        from ridesim.learn.bench_file import averaged_rows
        from ridesim.units import from_si, to_si
        from ridesim.workshop.bench.heating import LEAST_ROWS, MOST_ROWS
        from ridesim.workshop.bench.warming import HeatingRun

        table = self.read(option, named, LEAST_ROWS, timed=True)
        assert table.time_s is not None
        count, none = len(table.time_s), np.full(len(table.time_s), np.nan)
        rpm = np.abs(_filled(self.speed(table))) if table.of(*SPEEDS) is not None else np.zeros(count)
        turning = bool(rpm.max() > TURNING_RPM)
        motor, volts = table.of("motor_current_a"), table.of("pack_voltage_v")
        heat, current, line = np.zeros(count), np.zeros(count), none
        if motor is not None or volts is None:
            current = np.abs(_filled(table.require("motor_current_a", "pack_current_a")))
            share = 2.0 * gain
        elif turning:
            to_do = "log the motor's own current"
            raise RideError(table.path, "the motor turns: the supply's current does not tell what heats it", to_do)
        else:
            amps = np.abs(_filled(table.require("pack_current_a")))
            heat, share = np.abs(_filled(volts)) * amps, 2.0**0.5 * gain
            strong = amps > max(WARMING_SHARE * float(amps.max()), 1e-9)
            line = np.where(strong, from_si(np.abs(volts) / np.where(strong, amps, 1.0), "mohm"), np.nan)
        winding, body = table.of("winding_temperature_c"), table.of("body_temperature_c")
        columns = averaged_rows(
            MOST_ROWS, table.time_s, heat, current, self._air(table, air_c), none if winding is None else winding,
            none if body is None else body, line, to_si(np.where(rpm > TURNING_RPM, rpm, 0.0), "rpm"),
            self._air_speed(table, option, air_km_h),
        )  # fmt: skip
        time, heat, current, air, winding, body, line, omega, moving = columns
        return HeatingRun(
            table.path, time, heat, current, np.zeros(len(time)), air, winding, body, line, omega,
            temperature_error_c=temperature_error, gain_error=share, air_m_per_s=moving,
        )  # fmt: skip

    def _air_speed(self, table: BenchTable, option: str, given: float | None) -> Array:
        """Return the air's speed past the motor [m/s]: logged, given, or the bike's own where it rides."""
        import numpy as np

        from ridesim.units import to_si

        logged = table.of("air_speed_km_h")
        if logged is None and option == "--heating":
            return np.zeros(len(table.time_s if table.time_s is not None else ()))
        if logged is None and given is not None:
            assert table.time_s is not None
            return to_si(np.full(len(table.time_s), given), "km_h")
        if logged is None:
            logged = table.of("speed_km_h", "gps_speed_km_h")
            if logged is None:
                what = "does not tell how fast the air moves: no column of it, or of the bike's speed"
                raise RideError(table.path, what, "give --air-speed KM_H, or name the column in a mapping")
            self.notes.append(f"{table.path}: the air is taken to meet the motor at the bike's speed: no wind")
        if option != "--heating" and not np.nanmax(logged) > 0.0:
            raise RideError(table.path, "the air does not move in it", "heat it before a fan or on the road")
        return to_si(np.maximum(_filled(logged), 0.0), "km_h")

    def _air(self, table: BenchTable, air_c: float | None) -> Array:
        """Return the air's temperature: logged, given, or that of the cold motor's first reading."""
        import numpy as np

        logged = table.of("air_temperature_c")
        if logged is not None and air_c is None:
            return _filled(logged)
        if air_c is None:
            first = table.require("body_temperature_c", "winding_temperature_c")
            air_c = float(first[np.isfinite(first)][0])
            self.notes.append(f"{table.path}: nobody tells the air: taken as the motor's first reading, {air_c:.1f} °C")
        assert table.time_s is not None
        return np.full(len(table.time_s), air_c)

    def named(self) -> list[dict[str, str]]:
        """Return each file that was read: option, path and hash."""
        return [{"option": option, "path": table.path, "sha256": table.sha256} for option, table in self.tables]

    def columns(self) -> list[tuple[str, str, str, str, str]]:
        """Return each column that was read, of all files: option, head, quantity, unit, and why."""
        from ridesim.learn.bench_file import guessed_columns

        return [(option, *row) for option, table in self.tables for row in guessed_columns(table)]


@dataclass
class PartWriter:
    """The motor part that a sheet makes, for the folder it is written to."""

    sheet: BenchSheet
    name: str
    files: BenchFiles
    sized: dict[str, float]
    over: tuple[Motor, Path] | None

    def text(self, folder: Path) -> str:
        """Return the part; it names the one it extends from its own folder. Raises RideError where keys lack."""
        import os

        from ridesim.bike.files import shipped_parts
        from ridesim.cli.output import command_line
        from ridesim.workshop.bench.part import motor_part_text

        extends = None
        if self.over is not None:
            place = self.over[1].resolve()
            shipped = place.parent == shipped_parts().resolve()
            extends = place.stem if shipped else Path(os.path.relpath(place, folder.resolve())).as_posix()
        read = [(table.path, table.sha256) for _, table in self.files.tables]
        return motor_part_text(self.sheet, self.name, command_line(), read, self.sized, extends, self._cooling_ratio())

    def _cooling_ratio(self) -> float | None:
        from ridesim.workshop.bench.part import cooling_ratio

        motor = self.over[0] if self.over is not None else None
        diameter = self.sized.get("can_diameter_mm", motor.can_diameter_mm if motor else None)
        length = self.sized.get("can_length_mm", motor.can_length_mm if motor else None)
        return None if diameter is None or length is None else cooling_ratio(diameter, length)

    def _writes(self) -> bool:
        from ridesim.workshop.bench.part import missing_keys

        extends = None if self.over is None else "over"
        return bool(self.sheet.measured) and not missing_keys(self.sheet, self.sized, extends)

    def tables(self, folder: Path | None) -> dict[str, Writer]:
        """Return the part as a file of --out, where the sheet makes a whole one."""
        if folder is None or not self._writes():
            return {}
        return {"motor-part.toml": lambda place: place.write_text(self.text(folder), encoding="utf-8")}

    def hint(self) -> str:
        """Return how to have the part written; "" where nothing of a motor was measured."""
        from ridesim.workshop.bench.part import missing_keys

        if not self.sheet.measured:
            return ""
        if self._writes():
            return "--save my-motor.toml writes it as a motor part."
        lacking = ", ".join(missing_keys(self.sheet, self.sized, None))
        return f"For a motor part it lacks {lacking}; or name one to lay it over: --motor motor-80mm."


def _filled(values: Array) -> Array:
    """Return readings with gaps drawn through."""
    import numpy as np

    known = np.flatnonzero(np.isfinite(values))
    return np.interp(np.arange(len(values)), known, values[known])


def is_file(text: str) -> bool:
    """Return whether an option names a file: it is no list of numbers."""
    try:
        return not [float(piece) for piece in text.split(",")]
    except ValueError:
        return True


def motor_part(name: str) -> tuple[Motor, Path]:
    """Return a motor part and its file. Raises RidesimError for what is no whole one."""
    from pydantic import ValidationError

    from ridesim.bike.files import find_part, read_layer
    from ridesim.bike.motor import Motor

    place, label = find_part(name, Path(), "--motor", "motor")
    keys = dict(read_layer(place, label, "motor").data["motor"])
    keys.pop("tolerance", None)
    try:
        return Motor(**keys), place
    except ValidationError as fault:
        first = fault.errors()[0]
        what = f"is no whole motor part ({'.'.join(map(str, first['loc']))}: {first['msg'].lower()})"
        raise RideError(label, what, "name a motor part, such as motor-80mm") from None
