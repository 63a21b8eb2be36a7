"""What is written down of each of two different drives: the same figures, rows and limits as of a single one.

Each drive is seen as if the bike had that one alone: its own motor, heat and limits, and its part of the pack's
current; road, motion, pack voltage and cells are the bike's. Functions come in two, as in `engine.second`.
"""

from __future__ import annotations

import numpy as np

from ridesim.engine.pace import Trend
from ridesim.engine.pair import Second, SecondOutcome, SecondPull
from ridesim.engine.second import first_force, first_view, second_bike, second_view
from ridesim.engine.second_step import first_draw
from ridesim.engine.state import Here, Outcome, Parameters, Pull, RoadArrays, State
from ridesim.engine.tally import book_motor, count_limit, keep_extremes, record, start_totals, tally
from ridesim.jit import if_none, inner_kernel, rare_kernel


@inner_kernel
def pull_alone(pull: Pull, own: SecondPull) -> Pull:
    """Return a command as that of one of two drives."""
    return Pull(
        current=own.current,
        field=own.field,
        shaft_torque=own.shaft_torque,
        iron_torque=own.iron_torque,
        motor_force=own.force,
        pedal_force=pull.pedal_force,
        brake_force=pull.brake_force,
        air_force=pull.air_force,
        rolling_force=pull.rolling_force,
        grade_force=pull.grade_force,
        bearing_force=pull.bearing_force,
        mass=pull.mass,
        per_mass=pull.per_mass,
        wanted=pull.wanted,
        asked=own.asked,
        spin_up=own.spin_up,
        coupled=own.coupled,
        held=pull.held,
        limit=own.limit,
        tyre_limit=own.tyre_limit,
        second=None,
    )


@inner_kernel
def first_pull(pull: Pull) -> Pull:
    """Return a command as the first drive's alone."""
    own = SecondPull(
        current=pull.current,
        field=pull.field,
        shaft_torque=pull.shaft_torque,
        iron_torque=pull.iron_torque,
        force=first_force(pull.second, pull.motor_force),
        asked=pull.asked,
        spin_up=pull.spin_up,
        coupled=pull.coupled,
        draw=0.0,  # neither this nor what it leaves the other is asked for here
        counted=0.0,
        grip=0.0,
        wish=0.0,
        limit=pull.limit,
        tyre_limit=pull.tyre_limit,
    )
    return pull_alone(pull, own)


@inner_kernel
def outcome_alone(out: Outcome, own: SecondOutcome) -> Outcome:
    """Return the outcome of a step as that of one of two drives."""
    return Outcome(
        travelled=out.travelled,
        moving=out.moving,
        mean_speed=out.mean_speed,
        motor_speed=own.motor_speed,
        resistance=own.resistance,
        emf=own.emf,
        pack_voltage=out.pack_voltage,
        pack_current=own.pack_current,
        open_voltage=out.open_voltage,
        copper=own.copper,
        iron=own.iron,
        controller=own.controller,
        shaft=own.shaft,
        fast_loss=out.fast_loss,
        slow_loss=out.slow_loss,
        polarisation_stored=out.polarisation_stored,
        chemistry=out.chemistry,
        kinetic=out.kinetic,
        rotor_lost=own.rotor_lost,
        shifted=0.0,
        halted=out.halted,
        fast_resistance=out.fast_resistance,
        slow_resistance=out.slow_resistance,
        second=None,
    )


@inner_kernel
def first_motor(out: Outcome) -> SecondOutcome:
    """Return the first motor's own figures of a step."""
    return SecondOutcome(
        motor_speed=out.motor_speed,
        resistance=out.resistance,
        emf=out.emf,
        pack_current=first_draw(out.second, out.pack_current),
        copper=out.copper,
        iron=out.iron,
        controller=out.controller,
        shaft=out.shaft,
        gained=0.0,
        rotor_lost=out.rotor_lost,
    )


@inner_kernel
def _start_one(second: None, totals: np.ndarray, s: State) -> None:
    start_totals(totals, s)


@rare_kernel
def _start_both(second: Second, totals: np.ndarray, s: State) -> None:
    """Set the running figures of the bike and of both drives to their start."""
    start_totals(totals, s)
    start_totals(second.first_totals, first_view(s))
    start_totals(second.totals, second_view(s, s.second))


@inner_kernel
def _nothing_written(
    second: None, p: Parameters, before: State, s: State, pull: Pull, out: Outcome, here: Here,
    trend: Trend, x: float, dt: float,
) -> None:  # fmt: skip
    return None


@rare_kernel
def _write_second(
    second: Second, p: Parameters, before: State, s: State, pull: Pull, out: Outcome, here: Here,
    trend: Trend, x: float, dt: float,
) -> None:  # fmt: skip
    """Take a step into the figures of both drives, and the second one's ledger and limits; as `loop.write_down`."""
    q, b, done = second_bike(second, p), pull.second, out.second
    own, outcome = pull_alone(pull, b), outcome_alone(out, done)
    share = done.pack_current / out.pack_current if out.pack_current != 0.0 else 0.0
    tally(None, second.totals, q, second_view(before, before.second), second_view(s, s.second), own, outcome, here,
          trend.second.current_slope, trend.draw_slope * share, x, dt)  # fmt: skip
    tally(None, second.first_totals, p, first_view(before), first_view(s), first_pull(pull),
          outcome_alone(out, first_motor(out)), here, trend.current_slope, trend.draw_slope * (1.0 - share), x,
          dt)  # fmt: skip
    book_motor(second.ledger, done, done.gained, b.force, out.travelled, dt)
    count_limit(second.limit_seconds, second.limit_first, b.limit, x - out.travelled, dt)
    count_limit(second.limit_seconds, second.limit_first, b.tyre_limit, x - out.travelled, dt)


@inner_kernel
def _no_row(
    second: None, at: int, p: Parameters, road: RoadArrays, s: State, pull: Pull, out: Outcome, here: Here, x: float
) -> None:
    return None


@rare_kernel
def _record_second(
    second: Second, at: int, p: Parameters, road: RoadArrays, s: State, pull: Pull, out: Outcome, here: Here, x: float
) -> None:
    """Write the second drive's row of the trace, as `rows.write_row` does."""
    own, outcome = pull_alone(pull, pull.second), outcome_alone(out, out.second)
    keep_extremes(second.trace[at], own, outcome, False)
    record(second.trace[at], second_bike(second, p), road, second_view(s, s.second), own, outcome, here, x)


@inner_kernel
def _nothing_kept(second: None, at: int, pull: Pull, out: Outcome, fresh: bool) -> None:
    return None


@rare_kernel
def _keep_second(second: Second, at: int, pull: Pull, out: Outcome, fresh: bool) -> None:
    """Keep the extremes of the second drive's row, as `tally.keep_extremes` does."""
    own, outcome = pull_alone(pull, pull.second), outcome_alone(out, out.second)
    keep_extremes(second.trace[at], own, outcome, fresh)


start_all = if_none(_start_one, _start_both)
write_second = if_none(_nothing_written, _write_second)
record_second = if_none(_no_row, _record_second)
keep_second = if_none(_nothing_kept, _keep_second)
