"""No finer than its span: headline figures of a ride are told with the digits that their spans support."""

from __future__ import annotations

import math
import re
from types import SimpleNamespace

import pytest

from ridesim.report.digits import significant_digits, span_digits, time_step_s, to_error, with_error
from ridesim.report.spread.beside import Digits
from ridesim.report.text import duration, ride_rows, ride_text
from ridesim.ride.figures import LimitMet
from ridesim.ride.range import outlook_of
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb, make_hills
from ridesim.sure.beside import beside_with_range
from ridesim.units import shown

from ..bikes import bike


@pytest.mark.parametrize(
    ("low", "high", "unit", "digits"),
    [(224.0, 336.0, "wh", -1), (208.0, 264.0, "wh", -1), (52.9, 78.3, "km", 0), (2.5, 56.6, "km", 0),
     (8.0, 8.2, "km", 1),
     (49.8, 52.7, "v", 1), (74.0, 129.0, "c", 1), (20.0, 20.0, "a", 1), (1500.0, 4000.0, "wh", -2)],
)  # fmt: skip
def test_a_span_of_eight_of_ten_bikes_takes_the_digits_it_does_not_support(low, high, unit, digits):
    """By hand: at least five steps lie in the span, two in its nearer end; temperatures stay at the degree."""
    assert span_digits(low, high, unit, "metric", 1) == digits


def test_digits_are_those_of_the_unit_that_is_shown():
    """6 km are 1.2 km a step and 0.75 mi; 120 km are 74.6 mi."""
    assert [span_digits(80.0, 86.0, "km", units, 1) for units in ("metric", "imperial")] == [0, 1]
    assert [significant_digits(120.0, "km", units, 1) for units in ("metric", "imperial")] == [0, 1]


def test_without_a_span_three_figures_are_told():
    assert [significant_digits(value, "km", "metric", 1) for value in (598.04, 63.87, 5.2, 16381.2, 0.0)] == [
        0,
        1,
        1,
        0,
        1,
    ]
    assert shown(16381.2, "km", "metric", 0) == "16381 km" and shown(16381.2, "km", "metric", -2) == "16400 km"


def test_times_are_told_to_the_minute_where_the_minutes_are_unsure():
    assert time_step_s(2815.0, 3043.0) == 60.0 and duration(2815.0, 60.0) == "47 min"
    assert time_step_s(720.0, 731.0) == 1.0 and duration(3900.0, 60.0) == "1 h 05 min"
    assert duration(5275.4) == "1 h 28 min" == duration(5275.4, 60.0) and duration(7199.0) == "2 h 00 min"
    assert duration(3629.0) == "1 h 00 min" and duration(3599.0) == "59 min 59 s"
    assert duration(59.6, 60.0) == "1 min" and duration(3590.0, 60.0) == "1 h 00 min"


def test_a_ride_tells_its_energy_and_range_as_finely_as_their_spans():
    ride = simulate(bike({"pack.start_charge_fraction": 0.2}), make_hills(2000.0, 20.0, 500.0), trace=False)
    outlook = outlook_of(ride)
    told = beside_with_range(ride, outlook.range_km)
    text = ride_text(ride, outlook, told=told)
    for answer, label in (("net_energy_wh", "energy"), ("range_km", "range")):
        low, high = told.range_km if answer == "range_km" else told.span(answer)
        digits = span_digits(low, high, answer.rsplit("_", 1)[1], "metric", 1)
        figure, ends = re.search(rf"^{label} +([\d.]+) \w+ ?.*?\[([^\]]+)\]", text, re.M).groups()
        for number in (figure, *re.findall(r"[\d.]+", ends)):
            assert len(number.partition(".")[2]) == max(digits, 0)
            assert float(number) % 10.0 ** -min(digits, 0) == pytest.approx(0.0, abs=1.0 if digits > 0 else 1e-9)


class OneSpan:
    """What a ride's figures know of other bikes like it, typed by hand."""

    range_km = None
    nominal = SimpleNamespace(stops=("finished",))

    def __init__(self, **ends: tuple[float, float]) -> None:
        self.ends = ends

    def span(self, answer: str) -> tuple[float, float] | None:
        return self.ends.get(answer)


def test_what_regen_returned_is_told_where_the_net_energy_is_next_to_nothing():
    """Down from full to full, 47 of 48 Wh returned: no part of a net 0.6 Wh [-21 to 7] says how sure the 47 are."""

    def returned(net_wh: float, **ends: tuple[float, float]) -> str:
        return Digits(OneSpan(**ends), "metric").like("pack_energy_returned_wh", "net_energy_wh", net_wh, 47.4)

    assert returned(0.6, net_energy_wh=(-21.4, 7.0)) == "47.4 Wh"
    assert returned(0.6, net_energy_wh=(-21.4, 7.0), pack_energy_returned_wh=(24.0, 136.0)) == "50 Wh"
    assert returned(222.0, net_energy_wh=(200.0, 900.0)) == "50 Wh"  # as unsure as the net energy is, in parts of it


def test_a_bound_that_was_met_for_no_half_second_is_not_told_in_the_text():
    ride = simulate(bike({}), make_hills(1000.0, 5.0, 500.0), trace=False)
    for seconds, told in ((0.4, False), (0.6, True)):
        met = (LimitMet("motor_current", seconds, 0.1),)
        rows = ride_rows({**ride.summary, "limits": [vars(each) for each in met]}, None, "metric")
        assert any(label == "limits met" for label, _ in rows) is told


def test_the_spans_of_those_that_arrive_stand_beside_no_ride_that_does_not():
    ride = simulate(bike({"controller.motor_current_limit_a": 55.0}), make_climb(1500.0, 20.0), trace=False)
    told = beside_with_range(ride, None)
    digits = Digits(told, "metric")
    assert not ride.figures.finished and told.span("peak_winding_temp_c") == digits.ends("peak_winding_temp_c")
    assert digits.ends("net_energy_wh") is None and digits.ends("total_time_s") is None


@pytest.mark.parametrize(("value", "error", "told"), [
    (-0.000475, 0.0055, "-0.0005"), (0.9208, 0.032, "0.921"), (43.97, 0.86, "43.97"), (270.4, 22.0, "270"),
    (264.4, 110.0, "260"), (1.523e-05, 7.6e-06, "1.52e-05"), (1.234, 0.0, "1.234"), (0.02065, 0.0031, "0.0207"),
    (-0.00001, 0.0055, "0.0000"), (1234.5, math.inf, "1234"), (0.0, 3.0e-7, "0"),
])  # fmt: skip
def test_a_value_ends_where_its_error_ends(value: float, error: float, told: str):
    """Two figures of an error, the value to the same place (JCGM 100:2008, 7.2.6): "0.9208 ± 0.032" has one more."""
    assert to_error(value, error) == told


def test_an_error_is_told_with_two_figures():
    assert with_error(264.4, 110.0) == "260 ± 110" and with_error(0.9208, 0.0318) == "0.921 ± 0.032"
