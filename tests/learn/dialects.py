"""One invented ride written as many kinds of log: what recorders and spreadsheets make of the same readings."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
START = datetime.datetime(2026, 5, 1, 23, 55, tzinfo=datetime.UTC)


@dataclass(frozen=True, eq=False)
class Readings:
    """Ten minutes at 10 Hz: speed, pack voltage and current, motor current, winding temperature."""

    time_s: Array
    speed_km_h: Array
    voltage_v: Array
    current_a: Array
    motor_a: Array
    winding_c: Array


def readings(count: int = 6000) -> Readings:
    """Return an invented ride that passes midnight."""
    rng = np.random.default_rng(1)
    t = np.arange(count) * 0.1
    speed = np.round(25.0 + 8.0 * np.sin(t / 40.0) + rng.normal(0.0, 0.3, count), 2)
    current = np.round(10.0 + 9.0 * np.sin(t / 40.0 + 0.5) + rng.normal(0.0, 0.5, count), 2)
    voltage = np.round(52.0 - 0.1 * current + rng.normal(0.0, 0.02, count), 2)
    return Readings(t, speed, voltage, current, np.round(1.8 * current, 2), np.round(20 + 60 * (1 - np.exp(-t / 300))))


def rows(r: Readings) -> list[tuple[float, ...]]:
    return list(zip(*(getattr(r, name).tolist() for name in r.__dataclass_fields__), strict=True))


def clock(seconds: float, form: str) -> str:
    return (START + datetime.timedelta(seconds=seconds)).strftime(form)


def _comma(value: float, digits: int = 2) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


def semicolons(r: Readings) -> str:
    """Decimal commas, a preamble, a row of units, a blank and a repeated column, the time of day past midnight."""
    head = [
        "Recording;ride 7",
        "",
        "Zeit;Geschwindigkeit;Batteriespannung;Batteriestrom;Motortemperatur;;Batteriestrom",
    ]
    body = [
        f"{clock(t, '%H:%M:%S,%f')[:10]};{_comma(v)};{_comma(u)};{_comma(i)};{_comma(w, 0)};;{_comma(i)};"
        for t, v, u, i, _, w in rows(r)
    ]
    return "\n".join([*head, "hh:mm:ss;km/h;V;A;°C;;A", *body])


def milliseconds(r: Readings) -> str:
    """A clock in ms, current counted positive when charging, electrical speed."""
    body = [f"{t * 1000 + 3.6e7:.0f},{u:.2f},{w:.0f},{m:.2f},{-i:.2f},{v * 300:.0f},{v / 3.6:.3f}"
            for t, v, u, i, m, w in rows(r)]  # fmt: skip
    return "\n".join(["ms_now,voltage_in,temp_motor,current_motor,current_in,erpm,gps speed (m/s)", *body])


def iso_whole_seconds(r: Readings) -> str:
    """ISO times in whole seconds at ten rows a second, tabs, Fahrenheit, n/a, the head written again in the middle."""
    head = "Time\tSpeed\tV\tA\tMotor Temp (°F)\tPhase current"
    body = [f"{clock(t, '%Y-%m-%dT%H:%M:%S')}\t{v:.2f}\t{u:.2f}\t{i:.2f}\t{1.8 * w + 32:.1f}\t{m:.2f}"
            for t, v, u, i, m, w in rows(r)]  # fmt: skip
    body[100] = body[100].replace(f"\t{r.current_a[100]:.2f}\t", "\tn/a\t")
    return "\n".join([head, *body[:3000], head, *body[3000:]])


def quoted(r: Readings) -> str:
    """Commas between and inside: numbers with decimal commas stand in quotes."""
    body = [",".join(f'"{_comma(value)}"' for value in row) for row in rows(r)]
    return "\n".join(["time,speed,voltage,current,motor current,winding temp", *body])


def units_behind(r: Readings) -> str:
    """Units behind the numbers."""
    body = [f"{t:.1f} s;{v:.2f} km/h;{u:.2f}V;{i:.2f}A;{m:.2f} A;{w:.0f} °C" for t, v, u, i, m, w in rows(r)]
    return "\n".join(["Timestamp;Speed;Batt V;Batt A;Motor amps;Winding temp", *body])


def american(r: Readings) -> str:
    """Date and time of day in two columns, am and pm, miles an hour, millivolts."""
    body = [f"{clock(t, '%m/%d/%Y,%I:%M:%S.%f %p')},{v / 1.609344:.3f},{u * 1000:.0f},{i:.2f},{m:.2f},{w:.0f}"
            for t, v, u, i, m, w in rows(r)]  # fmt: skip
    return "\n".join(["date,time,Speed (mph),vbat,ibat,iq,temp motor", *body])


def epoch(r: Readings) -> str:
    """Seconds since 1970 with fractions, upright strokes, our own names."""
    body = ["|".join((f"{START.timestamp() + row[0]:.1f}", *(f"{value:.2f}" for value in row[1:]))) for row in rows(r)]
    head = "timestamp|speed_km_h|pack_voltage_v|pack_current_a|motor_current_a|winding_temperature_c"
    return "\n".join([head, *body])


DIALECTS = (semicolons, milliseconds, iso_whole_seconds, quoted, units_behind, american, epoch)


def write(folder: Path, name: str, text: str, encoding: str = "utf-8") -> Path:
    """Write a log and return its place."""
    place = folder / name
    place.write_text(text, encoding=encoding)
    return place
