"""Which motor? As words, tables and a picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.physics.motor import AMPLITUDE_TO_DC
from ridesim.report.text import shown
from ridesim.report.view import Table, View
from ridesim.units import told
from ridesim.workshop.size.candidate import REFERENCE_V, Candidate, candidate_words
from ridesim.workshop.size.cells import harder_cell
from ridesim.workshop.size.drawn import helps
from ridesim.workshop.size.judged import LOW_CHARGE
from ridesim.workshop.size.pack import SPEED_TO_SPARE, PackAnswer
from ridesim.workshop.size.sizing import Sizing, thumb_rules
from ridesim.workshop.size.trial import LEAST_FIGURE
from ridesim.workshop.size.wish import Wish

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NOTES = (
    "Candidates are generic motors scaled from the parts that come with ridesim (similar machines, textbook): real "
    "motors of one size differ by a quarter either way (guess). Put your own motor in a build file and ride it.",
    "Every candidate is wound so that it holds the top speed on the level with 30 % of charge, then rides the whole "
    "range with the hill in its middle at cruise speed, and the hill once more from that warmth: at the hill speed, "
    "and wide open. The hottest ride counts. No motor foldback helps it; its gearing is the coolest that was tried.",
    "Each proposal, another way too, is one build with belts, limits and pack, ridden and checked as it stands (--out "
    "writes it as a build file): none is shown that its own rides or `ridesim check` stop. Bikes like it, drawn from "
    "the tolerances in that file, ride the range and, where that is hotter, the hill from warm: a limit that more than "
    "one in twenty of them pass is worth a look, as `ridesim ride` has it.",
    "Heat at a given torque does not depend on Kv or pack voltage (equal copper in the slots), only on size and ratio.",
    "Only the way up is ridden: brakes are not looked at, stated or not. `ridesim descend` and `ridesim ride` on your "
    "own road hold them.",
    "More power asks for better brakes, torque arms, spokes and a fuse; hot motors burn skin; lithium packs burn. "
    "Local law and licensed advice decide what may be ridden where (ridesim law).",
)

TWO_MOTORS = (
    "Two motors sit on one shaft, a controller each: currents and limits are those of one motor; belts and pack carry "
    "both. A torque law of the throttle shares evenly; under others `ridesim check` tells how far their Kv may "
    "differ. Hub motors are not doubled: a second wheel's motor is a [second] drive of a build."
)
GEARS = (
    "The hub is a generic one, evenly stepped, shifted by the motor's speed; the last pulley sits on its input, beside "
    "the sprocket that the legs drive. The current limit keeps the motor within the 90 N·m that such an input is said "
    "to stand (guess: ask the hub's maker); the legs' own torque comes on top."
)
SPARE_CHARGE = 0.5
"""Charge left after the wished range from which a pack is large for its current's sake (guess)."""
HILL_SHARE = 3.0
"""Top speed over the speed on the hill from which gears may spare motor (guess, from what sizings gave)."""


def view(result: Sizing, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer: the lightest motor that does it, what it needs, and what the rules of thumb say."""
    wish = result.wish
    short = round(wish.hill_km, 1) != wish.hill_km  # a hill of 50 m is none of 0.1 km
    hill = f"{wish.hill_percent:g} % for {shown(wish.hill_km, 'km', units, 2 if short else 1)}"
    hill += f" at {shown(wish.hill_speed_km_h, 'km_h', units, 0)}"
    question = (
        f"{shown(wish.mass_kg, 'kg', units, 0)} without the drive, {shown(wish.top_speed_km_h, 'km_h', units, 0)} on "
        f"the level, {hill}, {shown(wish.range_km, 'km', units, 0)} of range: which motor?"
    )  # fmt: skip
    return View(
        title="Which motor?",
        question=question,
        answer=tuple(told(line, units) for line in _answer(result)),
        verdict=result.verdict,
        tables=tuple(_tables(result, units)),
        figures=_figures(result, units) if pictures else (),
        notes=(*(told(note, units) for note in (*result.left_out, *_of_this(result))), *NOTES),
        heeds_chances=True,
    )


def _tables(result: Sizing, units: str) -> list[Table]:
    tables = [_demands(result, units), _candidates(result, units)]
    return [*tables, _packs(result, units), _rules(result, units)] if result.packs else tables


def _answer(result: Sizing) -> list[str]:
    c = result.chosen
    lines = [f"{result.reason}."]
    if result.simpler:
        lines.append(f"{_plainer(result)} does not do it: {result.simpler}.")
    for other, pack in result.others:
        word = "" if pack.verdict == result.verdict else f" ({pack.verdict})"
        lines.append(f"Another way{word}: {candidate_words(other)}; {pack.reason}.")
    usual = result.usual_pack
    lines += [] if usual is None else _surer(result, usual)
    limit, kv, volts = (
        (c.motor_current_limit_a, c.kv_rpm_per_v, REFERENCE_V)
        if usual is None
        else (usual.motor_current_limit_a, usual.kv_low_rpm_per_v, usual.nominal_voltage_v)
    )
    they, their, each = ("Both together", "their", " for each motor") if c.motors > 1 else ("It", "its", "")
    lines.append(
        f"{they} must give {c.sustained_torque_nm:.1f} N·m for long and {c.peak_torque_nm:.1f} N·m at {their} peak: a "
        f"motor current limit of {_amperes(limit)} DC-equivalent ({_amperes(limit / AMPLITUDE_TO_DC)} as a sine "
        f"controller reads it){each} at Kv {kv:.0f} on {volts:g} V."
    )
    lines += [] if usual is None else _smaller_pack(result, usual)
    return [*lines, *_none_does_it(result.wish)] if result.verdict == "stop" else lines


def _amperes(current_a: float) -> str:
    """A current as finely as a limit is set: a tenth where that is any."""
    return f"{current_a:.1f}".removesuffix(".0") + " A" if current_a < LEAST_FIGURE else f"{current_a:.0f} A"


def _smaller_pack(result: Sizing, usual: PackAnswer) -> list[str]:
    """What makes a pack smaller that the current makes larger than the range asks."""
    if usual.set_by == "range" or usual.charge_left_fraction <= SPARE_CHARGE:
        return []
    other = harder_cell(result.wish.cell)
    cells = f"cells that give more current for their capacity (--cell {other}), or " if other else ""
    return [
        f"Its current sets the pack of {usual.nominal_voltage_v:g} V, not its range: it comes home with "
        f"{usual.charge_left_fraction:.0%}. A smaller one takes {cells}a gentler or slower hill."
    ]


def _none_does_it(wish: Wish) -> list[str]:
    """What would do it where nothing tried does, and what the wish itself left out."""
    most = "" if wish.heaviest_motor_kg is None else f" up to the {wish.heaviest_motor_kg:g} kg asked for"
    heavier = "a heavier motor, " if most else ""
    lines = [f"None of the sizes{most} does it: {heavier}a slower hill, a lower top speed, or a lighter load would."]
    options = ("--motors", wish.motors), ("--gears", wish.gears), ("--heaviest-motor-kg", wish.heaviest_motor_kg)
    if asked := [name for name, value in options if value is not None]:
        lines.append(f"Without {' and '.join(asked)} other ways are tried too.")
    return lines


def _surer(result: Sizing, usual: PackAnswer) -> list[str]:
    """What helps where bikes like the proposal pass a limit too often."""
    cures, heaviest_kg = helps(usual.chances), result.wish.heaviest_motor_kg
    if not cures:
        return []
    most = "" if heaviest_kg is None else f" up to the {heaviest_kg:g} kg asked for"
    sure = f"None of the larger motors tried{most} is surer"
    if any(pack.verdict == "fine" for _, pack in result.others):
        sure = "The other way that is fine is surer"
    return [
        f"What helps: {cures}. {sure}; a motor of your own whose figures are measured (`ridesim bench`) spreads less "
        "than a generic one."
    ]


def _of_this(result: Sizing) -> list[str]:
    """What holds of two motors and of gears alone, and when to try them."""
    c, wish, found = result.chosen, result.wish, []
    ways = [c, *(other for other, _ in result.others)]
    if any(each.motors > 1 for each in ways):
        found.append(TWO_MOTORS)
    if any(each.gears for each in ways):
        found.append(GEARS)
    plain = c.motors == 1 and not c.gears and bool(result.packs)
    if plain and wish.gears is None and wish.top_speed_km_h >= HILL_SHARE * wish.hill_speed_km_h:
        share = f"{wish.top_speed_km_h / wish.hill_speed_km_h:.1f}"
        found.append(f"The top speed is {share} times that on the hill: --gears 8 tries a hub for a lighter motor.")
    if plain and result.verdict != "fine" and wish.motors is None:
        found.append("Little is left with one motor behind one ratio: --motors 2 or --gears 8 may leave more.")
    found += [f"{p.nominal_voltage_v:g} V: {p.reason}." for p in result.packs if p.verdict != result.verdict]
    return found


def _plainer(result: Sizing) -> str:
    """What was tried before what is proposed, in words."""
    first = result.candidates[0]
    motors = "One motor" if first.motors == 1 else "Two motors"
    return f"{motors} behind {f'a hub of {len(first.gears)} gears' if first.gears else 'one ratio'}"


def _demands(result: Sizing, units: str) -> Table:
    rows = tuple(
        (each.words, shown(each.speed_km_h, "km_h", units, 0), f"{each.grade_percent:g} %",
         shown(each.wheel_force_n, "n", units, 0), shown(each.wheel_torque_nm, "nm", units),
         f"{each.wheel_power_w:.0f} W",
         f"{each.wheel_speed_rpm:.0f} rpm")
        for each in result.demands
    )  # fmt: skip
    head = ("", "speed", "grade", "wheel force", "wheel torque", "wheel power", "wheel speed")
    return Table(
        f"What the wheel asks of the motor ({shown(result.chosen.total_mass_kg, 'kg', units, 0)} in all)", head, rows
    )


def _candidates(result: Sizing, units: str) -> Table:
    rows = tuple(_candidate_row(each, units, each is result.chosen) for each in result.candidates)
    head = ("motor", "reduction", "can", "Kv, 48 V", "lasting", "limit", "on the hill", "winding", "magnets", "verdict")
    return Table("Every size tried on the hill", head, rows)


def _candidate_row(c: Candidate, units: str, chosen: bool) -> tuple[str, ...]:
    return (
        f"{told(c.layout.motor_words, units)}{' <-' if chosen else ''}",
        "-" if not c.stages else f"{c.stages} x, {c.ratio:.1f}{f', {len(c.gears)} gears' if c.gears else ''}",
        shown(c.can_diameter_mm, "mm", units, 0 if units == "metric" else 1),
        f"{c.kv_rpm_per_v:.0f}" if c.kv_rpm_per_v >= 20 else f"{c.kv_rpm_per_v:.1f}",
        shown(c.sustained_torque_nm, "nm", units),
        _amperes(c.motor_current_limit_a),
        shown(c.hill_speed_km_h, "km_h", units, 0),
        shown(c.peak_winding_temp_c, "c", units, 0),
        shown(c.peak_body_temp_c, "c", units, 0),
        c.verdict,
    )


def _packs(result: Sizing, units: str) -> Table:
    rows = tuple(
        (
            f"{p.nominal_voltage_v:g} V",
            f"{p.kv_low_rpm_per_v:.0f} to {p.kv_high_rpm_per_v:.0f}"
            if p.kv_low_rpm_per_v >= 20 else f"{p.kv_low_rpm_per_v:.1f} to {p.kv_high_rpm_per_v:.1f}",
            _amperes(p.motor_current_limit_a),
            _amperes(p.pack_current_limit_a),
            f"{p.design.series}, {p.design.parallel}",
            f"{p.design.energy_wh:.0f} Wh",
            p.set_by,
            shown(p.design.pack_mass_kg, "kg", units),
            ", ".join(f"{each.driver_teeth}/{each.driven_teeth}" for each in p.belts) or "-",
            shown(p.top_speed_motor_alone_low_charge_km_h, "km_h", units),
            shown(p.peak_winding_temp_c, "c", units, 0),
            shown(p.wh_per_km, "wh_per_km", units),
            f"{p.charge_left_fraction:.0%}",
            p.verdict,
        )
        for p in result.packs
    )  # fmt: skip
    head = ("pack", "Kv window", "motor limit", "pack limit", "series, parallel", "energy", "set by", "mass", "belts",
            "top", "winding", "use", "left", "verdict")  # fmt: skip
    limits = "; limits of each motor" if result.chosen.motors > 1 else ""
    title = (
        f"By pack voltage: Kv from what holds the top speed at {LOW_CHARGE:.0%} of charge to {SPEED_TO_SPARE:g} times "
        f"it when full; top speed: motor alone, {LOW_CHARGE:.0%} of charge{limits}"
    )
    return Table(title, head, rows)


def _rules(result: Sizing, units: str) -> Table:
    return Table("Rules of thumb beside it (common practice, no source)", ("rule", "rule says", "model says"),
                 tuple(tuple(told(each, units) for each in row) for row in thumb_rules(result)))  # fmt: skip


def _figures(result: Sizing, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.size.figure import draw_sizes

    return (("Hottest winding on the hill by motor mass; below the line is room", draw_sizes(result, units)),)
