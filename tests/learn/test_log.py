"""Reading logs nobody has seen: the same ride in many dialects reads alike; faults are told; what is no log is refused.

Expected values are those that the dialects were written from; nothing here comes from the reader itself.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from ridesim.errors import LogError
from ridesim.learn.clock import Clock, drift_ppm
from ridesim.learn.guess import guess_column, unit_in
from ridesim.learn.log import Log, load_log
from ridesim.learn.mapping import guess_mapping, mapping_text
from ridesim.learn.sheet import read_sheet

from .dialects import DIALECTS, Readings, quoted, readings, semicolons, write


@pytest.fixture(scope="module")
def ride() -> Readings:
    return readings()


@pytest.mark.parametrize("dialect", DIALECTS, ids=lambda each: each.__name__)
def test_the_same_ride_in_every_dialect(dialect: Callable[[Readings], str], ride: Readings, tmp_path: Path):
    log = load_log(write(tmp_path, "log.csv", dialect(ride)))
    assert log.step_s == pytest.approx(0.1, rel=0.01)
    assert log.span_s == pytest.approx(599.9, abs=0.2)
    speed = log.columns.get("speed_km_h", log.columns.get("gps_speed_km_h"))
    assert speed is not None
    for values, truth, within in (
        (speed, ride.speed_km_h, 0.1), (log.columns["pack_voltage_v"], ride.voltage_v, 0.02),
        (log.columns["pack_current_a"], ride.current_a, 0.1),
        (log.columns["winding_temperature_c"], ride.winding_c, 0.6),
    ):  # fmt: skip
        count = min(len(values), len(truth))
        assert np.nanmedian(np.abs(values[:count] - truth[:count])) < within
        assert np.nanmean(values) == pytest.approx(truth.mean(), rel=2e-3)


def test_other_encodings(ride: Readings, tmp_path: Path):
    for encoding in ("cp1252", "utf-16", "utf-8-sig"):
        log = load_log(write(tmp_path, "log.csv", semicolons(ride), encoding))
        assert np.nanmean(log.columns["winding_temperature_c"]) == pytest.approx(ride.winding_c.mean(), abs=0.05)


def test_a_mapping_overrules_the_guesses_and_fits_the_next_log(ride: Readings, tmp_path: Path):
    place = write(tmp_path, "log.csv", quoted(ride))
    guessed = mapping_text(guess_mapping(read_sheet(place)), "log.csv", "map.toml")
    assert "# guess" in guessed
    changed = guessed.replace('"winding_temperature_c"', '"body_temperature_c"').replace(
        'unit = "a"', 'unit = "a"\nscale = 2.0', 1
    )
    log = load_log(place, write(tmp_path, "map.toml", changed))
    assert "winding_temperature_c" not in log
    assert not log.mapping.guessed
    assert np.nanmean(log.columns["body_temperature_c"]) == pytest.approx(ride.winding_c.mean(), abs=0.05)
    assert np.nanmean(log.columns["pack_current_a"]) == pytest.approx(2.0 * ride.current_a.mean(), rel=1e-3)


@pytest.mark.parametrize(
    ("change", "said"),
    [('quantity = "speed"', "did you mean"), ('unit = "furlong"', "not known"), ("scale = 0", "scale is 0"),
     ('qantity = "ignore"', "no quantity"), ("= [", "not valid TOML"),
     ("scale = 1e308", "scale = 1e.308 is out of range"), ("offset = nan", "out of range"),
     (f"scale = {'9' * 400}", "out of range")],
)  # fmt: skip
def test_a_wrong_mapping_says_where(change: str, said: str, ride: Readings, tmp_path: Path):
    place = write(tmp_path, "log.csv", quoted(ride))
    tables = f'[[column]]\nnumber = 1\nquantity = "time"\nunit = "s"\n[[column]]\nnumber = 2\n{change}\n'
    if "quantity" not in change and "qantity" not in change:
        tables += 'quantity = "speed_km_h"\n' + ("" if "unit" in change else 'unit = "km_h"\n')
    with pytest.raises(LogError, match=said):
        load_log(place, write(tmp_path, "map.toml", tables))


def table(
    tmp_path: Path, time: np.ndarray, head: str = "time_s,speed_km_h,pack_current_a", **columns: np.ndarray
) -> Log:
    body = [",".join(f"{value:.6g}" for value in row) for row in zip(time, *columns.values(), strict=True)]
    return load_log(write(tmp_path, "log.csv", "\n".join([head, *body])))


def test_a_reading_beyond_all_numbers_is_not_believed(tmp_path: Path):
    """-1e308 m/s are no number in km/h; the rest of the log is as good as without it."""
    t = np.arange(600.0)
    speed = 7.0 + np.sin(t / 20.0)
    speed[100] = -1e308
    log = table(tmp_path, t, "time_s,speed_m_per_s", speed=speed)
    assert np.allclose(log.columns["speed_km_h"], 3.6 * (7.0 + np.sin(t / 20.0)), atol=0.01)


def test_watts_beside_a_packs_volts_are_the_packs(tmp_path: Path):
    """A display's Volts and Watts, up to 2500 W and more, were taken for a rider's legs; alone they may be that."""
    t = np.arange(600.0)
    watts, volts, speed = 900.0 + 800.0 * np.sin(t / 20.0), 52.0 - t / 300.0, 25.0 + np.sin(t / 9.0)
    both = table(tmp_path, t, "time_s,Speed (mph),Volts,Watts", speed=speed, volts=volts, watts=watts)
    assert "pack_power_w" in both and "pedal_power_w" not in both
    alone = table(tmp_path, t, "time_s,Speed (mph),Watts", speed=speed, watts=0.2 * watts)
    assert "pedal_power_w" in alone and "pack_power_w" not in alone


def test_a_head_that_is_a_unit_tells_its_quantity(tmp_path: Path):
    """`km/h` was taken for a distance that is told in km/h, and left out; `W` was not known."""
    t = np.arange(600.0)
    speed, volts, amps = 25.0 + 5.0 * np.sin(t / 9.0), 52.0 - t / 300.0, 8.0 + 4.0 * np.sin(t / 20.0)
    log = table(tmp_path, t, "sec,km/h,V,A,W", speed=speed, volts=volts, amps=amps, watts=volts * amps)
    assert np.allclose(log.columns["speed_km_h"], speed, atol=1e-3)
    assert {"pack_voltage_v", "pack_current_a", "pack_power_w"} <= set(log.columns)
    road = table(tmp_path, t, "sec,[m/s],km", speed=speed / 3.6, km=np.cumsum(speed) / 3600.0)
    assert np.allclose(road.columns["speed_km_h"], speed, atol=0.01) and "distance_km" in road


@pytest.mark.parametrize("column", ["distance_m", "altitude_m", "pack_power_w"])
def test_columns_beyond_all_numbers_are_read_or_refused_in_words(column: str, tmp_path: Path):
    t = np.arange(600.0)
    far = np.where(t % 2.0 > 0.0, 1.7e308, -1.7e308)
    with contextlib.suppress(LogError):
        table(tmp_path, t, f"time_s,speed_km_h,{column}", speed=20.0 + np.sin(t / 20.0), other=far)


def test_a_clock_beyond_all_numbers_does_not_move(tmp_path: Path):
    t = np.arange(600.0)
    clock = np.where(t == 4.0, 25.0, -1e308)
    with pytest.raises(LogError, match=r"time_s (does not move|goes back)"):
        table(tmp_path, clock, "time_s,speed_km_h", speed=20.0 + np.sin(t / 20.0))


def test_dropped_doubled_stuck_silent_and_clipped_are_told_with_their_share(tmp_path: Path):
    rng = np.random.default_rng(2)
    count = 4000
    t = np.arange(count, dtype=float)
    speed = 20.0 + rng.normal(0.0, 2.0, count)
    current = np.minimum(10.0 + rng.normal(0.0, 6.0, count), 15.0)  # clipped: a fifth of a normal's readings
    speed[1000:1200] = speed[1000]
    keep = np.delete(np.arange(count), np.r_[rng.integers(1, 3000, 80), np.arange(3200, 3400)])
    rows = np.sort(np.concatenate([keep, keep[500:540]]))
    head = "time_s,speed_km_h,pack_current_a,gps_speed_km_h"
    other = 20.0 + rng.normal(0.0, 2.0, count)
    log = table(tmp_path, t[rows], head, speed=speed[rows], current=current[rows], other=other[rows])
    found = {(each.column, each.kind): each for each in log.findings}
    assert found["speed_km_h", "stuck"].share == pytest.approx(199 / count, abs=0.002)
    clipped = float((current[keep] >= 15.0).mean())
    assert found["pack_current_a", "clipped"].share == pytest.approx(clipped, abs=0.01)
    assert any("silences" in each.words and "201 s" in each.words for each in log.findings)
    assert any("dropped" in each.words for each in log.findings)
    assert any("40 rows" in note and "doubled" in note for note in log.notes)
    assert np.isnan(log.columns["speed_km_h"][3210:3390]).all(), "a silence stays a gap"
    assert np.isnan(log.columns["speed_km_h"][1010:1190]).all(), "stuck readings are not believed"
    assert np.isfinite(log.columns["speed_km_h"][:990]).all(), "single dropped rows are drawn through"


def test_a_cruise_that_holds_its_last_digit_is_not_stuck(tmp_path: Path):
    t = np.arange(3000.0)
    log = table(tmp_path, t, speed=np.where(t % 900 < 600, 25.0, 20.0), current=np.where(t % 900 < 600, 8.0, 4.0))
    assert not [each for each in log.findings if each.kind == "stuck"]


def test_a_steady_but_living_sensor_is_neither_stuck_nor_clipped(tmp_path: Path):
    rng = np.random.default_rng(3)
    t = np.arange(3000.0)
    log = table(tmp_path, t, speed=20.0 + rng.normal(0.0, 1.0, 3000), current=8.0 + rng.normal(0.0, 3.0, 3000))
    assert log.findings == ()


def lines(rows: list[str], head: str = "time_s,speed_km_h,pack_voltage_v,pack_current_a") -> str:
    return "\n".join([head, *rows])


SPAN = range(500)
BAD = {
    "empty": ("", "is empty"),
    "a letter": ("Dear all,\nthis is a letter, not a table.\n" * 20, "no table"),
    "head only": ("time_s,speed_km_h\n", "no table"),
    "zeros": (lines([f"{i},0,0,0" for i in SPAN]), "zero"),
    "nan": (lines([f"{i},nan,nan,nan" for i in SPAN]), "no column but the clock"),
    "parked": (lines([f"{i},0.{i % 3},52.{i % 7},0.1" for i in SPAN]), "stands still"),
    "time goes back": (lines([f"{i if i < 300 else i - 100},{20 + i % 5},52.{i % 7},9" for i in SPAN]), "goes back"),
    "time reversed": (lines([f"{500 - i},{20 + i % 5},52.{i % 7},9" for i in SPAN]), "goes back"),
    "time stands": (lines([f"7,{20 + i % 5},52.{i % 7},9" for i in SPAN]), "does not move"),
    "volts by 1000": (lines([f"{i},{20 + i % 5},{52000 + i % 9},9" for i in SPAN]), "mv"),
    "amperes by 1000": (lines([f"{i},{20 + i % 5},52.{i % 7},0.00{i % 9}" for i in SPAN]), "scale would do"),
    "seconds by 1000": (lines([f"{1000 * i},{20 + i % 5},52.{i % 7},9" for i in SPAN]), "at most 48 h"),
    "no clock": (
        lines([f"{20 + i % 5},52.{i % 7}" for i in SPAN], "speed_km_h,pack_voltage_v"),
        "no column is a clock",
    ),
    "strangers": (lines([f"{i},{i % 5},{i % 7}" for i in SPAN], "time_s,foo,bar"), "no column but the clock"),
}


@pytest.mark.parametrize("kind", BAD)
def test_what_is_no_log_is_refused_in_one_line(kind: str, tmp_path: Path):
    text, said = BAD[kind]
    with pytest.raises(LogError, match=said) as caught:
        load_log(write(tmp_path, "bad.csv", text))
    assert "\n" not in str(caught.value)


def test_bytes_that_are_no_text(tmp_path: Path):
    place = tmp_path / "bad.csv"
    place.write_bytes(bytes(range(256)) * 100)
    with pytest.raises(LogError, match="no text"):
        load_log(place)


def test_two_gigabytes_are_refused_unread(tmp_path: Path):
    place = tmp_path / "large.csv"
    with place.open("wb") as file:
        file.truncate(2 * 1024**3)  # sparse: no byte is written
    with pytest.raises(LogError, match="too large"):
        load_log(place)


def test_log_writes_nothing_for_bad_input(ridesim_command, tmp_path: Path):
    bad = write(tmp_path, "bad.csv", BAD["volts by 1000"][0])
    done = ridesim_command("log", bad, "--out", tmp_path / "out")
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_the_command_writes_a_mapping_that_it_takes_back(ridesim_command, ride: Readings, tmp_path: Path):
    place = write(tmp_path, "log.csv", semicolons(ride))
    done = ridesim_command("log", place, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "guessed" in done.stdout
    again = ridesim_command("log", place, "--map", tmp_path / "out" / "mapping.toml", "--json")
    assert again.returncode == 0, again.stderr
    assert '"guessed": false' in again.stdout


def test_a_clock_that_leaps_ahead_again_and_again_is_refused_with_its_place(tmp_path: Path):
    time = np.arange(0.0, 120.0)
    time[5::4] += 1000.0
    with pytest.raises(LogError, match="leaps off its line in 29 of 120 readings, first at reading 6"):
        table(tmp_path, time, speed=np.full(120, 20.0), current=np.full(120, 5.0))


@pytest.mark.parametrize(("ppm", "hours", "said"), [
    (120.0, 2.0, True), (-120.0, 2.0, True), (0.0, 2.0, False), (7.0, 2.0, False), (16.0, 2.0, True),
    (0.0, 0.0393, False),  # so short that its ticks may be anything
])  # fmt: skip
def test_a_second_clock_that_drifts_is_told_in_ppm(ppm: float, hours: float, said: bool, tmp_path: Path):
    """Milliseconds of the recorder beside whole seconds of the receiver, at 5 Hz, a little unevenly."""
    ms = np.arange(0.0, 3600e3 * hours, 200.0)
    ms += np.random.default_rng(2).integers(0, 200, len(ms))
    stamps = np.floor(1.75e9 + 0.3 + 0.001 * ms * (1.0 + 1e-6 * ppm))
    text = ["ms,utc_time,speed_km_h"]
    speed = 20.0 + np.round(5.0 * np.sin(1e-5 * ms), 1)
    dates = [str(np.datetime64(int(each), "s")) + "Z" for each in stamps]
    text += [f"{at:.0f},{date},{value}" for at, date, value in zip(ms, dates, speed, strict=True)]
    place = tmp_path / "log.csv"
    place.write_text("\n".join(text) + "\n")
    found = [note for note in load_log(place).notes if "ppm" in note]
    assert bool(found) is said
    if said:
        told = re.search(r"the clock utc_time runs ([-+]\d+) ± (\d+) ppm off ms", found[0])
        assert told is not None
        assert float(told[1]) == pytest.approx(ppm, abs=3.0 * max(float(told[2]), 2.0))


def clock_of(time_s: np.ndarray) -> Clock:
    return Clock(time_s, np.ones(len(time_s), dtype=bool), None, ())


def test_a_drift_is_as_sure_as_its_ticks_whatever_the_rate():
    """Ticks of a second in an hour, by hand: 12^-1/2 s over 3600/12^1/2 s and 3600^1/2 ticks; rows come unevenly."""
    found, off, rng = [], [], np.random.default_rng(1)
    for every_s in (0.2, 0.02):
        for _ in range(5):
            mine = np.sort(rng.uniform(0.0, 3600.0, round(3600.0 / every_s)))
            ppm, error = drift_ppm(clock_of(mine), clock_of(np.floor(mine * (1.0 + 50e-6))))
            found.append(error)
            off.append((ppm - 50.0) / error)
    assert found == pytest.approx([1e6 / 3600.0 / 60.0] * 10, rel=0.1)
    assert np.abs(off).max() < 3.0
    # Even rows of a fifth of a second see nothing of a drift that stays below that: 56 ppm of an hour.
    even = np.arange(0.0, 3600.0, 0.2)
    for phase in np.linspace(0.0, 0.9, 7):
        ppm, error = drift_ppm(clock_of(even), clock_of(np.floor(phase + even * (1.0 + 50e-6))))
        assert abs(ppm - 50.0) < 1.5 * error < 100.0
    ppm, error = drift_ppm(clock_of(even), clock_of(even * (1.0 + 50e-6)))  # one that ticks as fast as rows come
    assert ppm == pytest.approx(50.0, abs=0.01) and error < 0.01
    few = clock_of(np.arange(99.0))
    assert drift_ppm(few, few) == (0.0, float("inf"))


@pytest.mark.parametrize("part", ["copper", "iron", "controller", "shaft"])
def test_the_power_of_a_part_is_not_the_packs(part: str):
    """The trace of a ride has such columns; the pack's own power is still known by its head."""
    watts = np.linspace(20.0, 400.0, 50)
    assert guess_column(f"{part}_power_w", "", watts).quantity == "ignore"
    assert guess_column("pack_power_w", "", watts).quantity == guess_column("Power [W]", "", watts).quantity


@pytest.mark.parametrize(
    ("head", "top", "unit"), [("duty", 1.0, "share"), ("duty", 80.0, "percent"), ("throttle", 4.2, "v"),
                              ("throttle", 1.0, "share"), ("throttle", 100.0, "percent")],
)  # fmt: skip
def test_our_own_name_without_a_unit_still_has_its_unit_by_its_values(head: str, top: float, unit: str):
    """`duty` says nothing of its unit: 80 is no share."""
    assert guess_column(head, "", top * np.linspace(0.2, 1.0, 200)).unit == unit


@pytest.mark.parametrize(
    ("head", "holds"),
    [("Wind speed (m/s)", "air_speed_km_h"), ("Windgeschwindigkeit", "air_speed_km_h"), ("Speed", "speed_km_h"),
     ("Zeit (min)", "time"), ("Drehzahl [U/min]", "motor_speed_rpm"), ("Speed min", "ignore"),
     ("Max speed", "ignore"), ("unix", "time"), ("Gehäuse Temp", "body_temperature_c")],
)  # fmt: skip
def test_a_head_is_not_taken_for_what_it_only_resembles(head: str, holds: str):
    """The wind's speed is not the bike's; `min` is a minute as often as a minimum."""
    assert guess_column(head, "", np.linspace(1.0, 10.0, 200)).quantity == holds


def test_a_pack_that_would_be_charged_by_the_ride_is_turned_round(tmp_path: Path):
    """So coarse a voltage shows no sag; and it is the pack's current that is turned, not the motor's."""
    time = np.arange(600.0)
    motor = 20.0 + 10.0 * np.sin(time / 9.0)
    rows = [f"{t:.0f},25,{54 - t / 300:.0f},{-0.5 * amps:.1f},{amps:.1f}" for t, amps in zip(time, motor, strict=True)]
    place = write(
        tmp_path, "log.csv", "time_s,speed_km_h,pack_voltage_v,pack_current_a,motor_current_a\n" + "\n".join(rows)
    )
    log = load_log(place)
    assert np.nanmean(log.columns["pack_current_a"]) > 5.0
    assert np.nanmean(log.columns["motor_current_a"]) > 10.0


def test_a_short_ride_is_not_called_a_parked_bike(tmp_path: Path):
    rows = "\n".join(f"{at},25,53.0" for at in range(12))
    with pytest.raises(LogError, match="is of 12 s alone; give a recording of a ride, 30 s or more"):
        load_log(write(tmp_path, "log.csv", f"time_s,speed_km_h,pack_voltage_v\n{rows}\n"))


def test_a_descent_whose_voltage_agrees_is_not_turned_round(tmp_path: Path):
    """It charges all the way down, and the voltage rises with what is charged: the sign is as it should be."""
    time = np.arange(600.0)
    drawn = -10.0 + 5.0 * np.sin(time / 9.0)
    rows = "\n".join(f"{t:.0f},25,{52.0 - 0.1 * amps:.2f},{amps:.2f}" for t, amps in zip(time, drawn, strict=True))
    log = load_log(write(tmp_path, "log.csv", f"time_s,speed_km_h,pack_voltage_v,pack_current_a\n{rows}\n"))
    assert np.nanmean(log.columns["pack_current_a"]) < -5.0


@pytest.mark.parametrize(("head", "unit"), [
    ("Batt mV", "mv"), ("Batt. Strom [mA]", "ma"), ("Charge mAh", "mah"), ("Motor power kW", "kw"), ("mV", "mv"),
    ("PowerKW", "kw"), ("Speed km h", "km_h"), ("Speed km/h", "km_h"), ("BattCurrent_A", "a"), ("pack V", "v"),
    ("Temp °F", "f"), ("I_batt", ""),
])  # fmt: skip
def test_a_unit_behind_a_head_is_one_word(head: str, unit: str):
    """`Batt mV` was read as volts, `Charge mAh` as ampere hours: a thousand times too much."""
    assert unit_in(head) == unit


@pytest.mark.parametrize(("unit", "scale"), [("A", 1.0), ("mA", 1000.0), ("", 1.0), ("", 1000.0)])
def test_a_ride_that_coasts_most_of_its_time_has_a_current_all_the_same(unit: str, scale: float, tmp_path: Path):
    """A freewheel down a valley: 0.1 A of standby for nine tenths of the time was "no pack current of a bike"."""
    rows = [(t, 20.0 + 0.1 * (t % 7), 36.0 - 0.01 * (t % 11), 0.05 + 0.01 * (t % 5) if t % 10 else 11.0 + t % 3)
            for t in range(400)]  # fmt: skip
    head = f"time [s],speed [km/h],voltage [V],battery current{f' [{unit}]' if unit else ''}\n"
    text = head + "".join(f"{t},{v:.1f},{u:.2f},{scale * i:.3f}\n" for t, v, u, i in rows)
    file = tmp_path / "valley.csv"
    file.write_text(text)
    current = load_log(file).columns["pack_current_a"]
    assert float(np.nanmax(current)) == pytest.approx(13.0)
    if unit == "A":
        file.write_text(text.replace("[A]", "[mA]"))
        with pytest.raises(LogError, match="in the largest of 20 readings, no pack current"):
            load_log(file)
