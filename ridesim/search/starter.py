"""A commented goals file for the demo scenario, and the tables of what goals can say."""

from __future__ import annotations

from ridesim.schema.keys import walk
from ridesim.schema.texts import key_rows, key_tables
from ridesim.search.goals import Goals
from ridesim.search.wanted import KNOWN
from ridesim.units import symbol_of

STARTER = """\
# Which bike for my road? Goals for ridesim search: read them aloud, then change them.
# The scenario: a longtail that carries vegetables between a valley market and terraces on a ridge. Invented values.
# Every key: ridesim search --keys. Every quantity that can be held or can matter: ridesim search --names.
name = "vegetables up the ridge"
build = "{build}"          # the base: what is not varied stays as it is there
matters = ["net_energy_wh", "total_time_s"]         # one or several; the answer shows the trade-off

[[road]]
file = "{road}"
weight = 1.0                # how often, against other roads

[vary]                      # what may vary; leave a line out and it stays
motor = ["motor-63mm", "motor-80mm", "8085,130"]    # parts, or labels: can size, Kv
controller = ["controller-sine-60v-80a", "controller-sine-75v-70a"]
cell = ["cell-18650-nmc-energy", "cell-18650-nmc-power", "cell-21700-nmc"]
series = [10, 13, 14]
parallel = [4, 5, 6]
cruise_speed_km_h = [18, 22, 26, 30]

[[vary.stage]]              # pulleys that exist, in every pair, motor side first
driver_teeth = [12, 14, 16, 18]
driven_teeth = [130, 148, 166, 184]
pitch_mm = 8
width_mm = 25
centre_distance_mm = 600

[[hold]]
what = "peak_winding_temp_c"
at_most = 130

[[hold]]
what = "charge_left_fraction"
at_least = 0.2
certainty_percent = 90      # of bikes like it, within their tolerances

[[hold]]
what = "drive_mass_kg"
at_most = 7.5

[[hold]]
what = "total_time_s"
at_most = 1500
"""


def starter_text(build: str, road: str) -> str:
    """Return a goals file for the demo scenario, with the paths of a build and a road."""
    return STARTER.format(build=build, road=road)


def key_reference_markdown() -> str:
    """Return the table of every key of a goals file."""
    return key_tables(key_rows(walk(Goals)), lambda section: f"`[{section}]`" if section else "Top of the file")


def names_text() -> str:
    """Return every quantity that goals can name, one a line: name, unit, which way is good, meaning."""
    ways = {"low": "less is better", "high": "more is better", "": "only held"}
    width = max(map(len, KNOWN))
    return "\n".join(
        f"{name:<{width}}  {symbol_of(name) or '-':<6}  {ways[each.better]:<15}  {each.words}"
        for name, each in KNOWN.items()
    )
