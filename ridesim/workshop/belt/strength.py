"""What a toothed belt must carry and what it may: tensions, shaft load, capacity, service factor, tooth skip.

Sources: SDP/SI, Handbook of Timing Belts, Technical Section (allowed tension table 3, teeth in mesh section 13.3,
service section 24); effective pull and slack-side share after an engineer's handbook text. Speed-dependent power
tables are not used (none was readable), so a fast small pulley deserves a look at the supplier's table.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ridesim.errors import BuildError
from ridesim.units import to_si
from ridesim.workshop.belt.geometry import DriveGeometry, drive_geometry, pitch_diameter_mm
from ridesim.workshop.belt.tables import REFERENCE_WIDTH_MM, belt_type
from ridesim.workshop.limits import (
    Verdict,
    held,
    load_profile,
    load_time,
    require_between,
    require_finite_load,
    require_positive,
    worst_verdict,
)

FULL_MESH_TEETH = 6
"""From this many teeth in mesh on, the belt carries its full pull (SDP/SI, section 13.3)."""

PULL_LOST_PER_TOOTH = 0.2
"""Share of the pull lost for each tooth missing below six (SDP/SI, section 13.3)."""

LEAST_MESH_TEETH = 2
"""Below two teeth in mesh the belt is not a drive (SDP/SI, section 13.3: the rule ends there)."""

WIDTH_EXPONENT_CAUTIOUS = 1.14
"""Pull grows as width to this power in ISO 5295 (from memory); it makes belts under an inch weaker than by ratio."""

SERVICE_FACTOR = 1.5
"""Lower end of 1.5 to 2.0 for small-pitch drives (SDP/SI, section 24)."""

SPEED_UP_ADD_ON = ((3.5, 0.4), (2.5, 0.3), (1.75, 0.2), (1.25, 0.1))
"""Speed-up ratio from which to add how much to the service factor (engineer's handbook, belt drives)."""

SLACK_SHARE = 0.2
"""Slack-side tension as a share of the effective pull: middle of 10 to 30 % (engineer's handbook, belt drives)."""

LOWEST_SLACK_SHARE = 0.1
"""Lower end of the same 10 to 30 %."""

MARGIN_CAP = 99.0
"""Shown where no load leaves a margin without bound."""


@dataclass(frozen=True)
class BeltStage:
    """One belt and its two pulleys, motor side first."""

    teeth_driver: int
    teeth_driven: int
    centre_mm: float
    width_mm: float
    belt: str = "5M"

    def geometry(self) -> DriveGeometry:
        """Return where the belt runs. Raises BuildError."""
        return drive_geometry(self.teeth_driver, self.teeth_driven, belt_type(self.belt).pitch_mm, self.centre_mm)


@dataclass(frozen=True)
class BeltTensions:
    """Forces in a running two-pulley belt with equal spans and fixed shafts."""

    belt_speed_m_per_s: float
    effective_pull_n: float
    tight_side_n: float
    slack_side_n: float
    pretension_n: float
    centrifugal_tension_n: float
    shaft_load_n: float
    shaft_load_at_rest_n: float


@dataclass(frozen=True)
class BeltCapacity:
    """What the belt may carry: one figure, for its pull and, the centrifugal part already taken off, its tight side."""

    allowed_pull_n: float
    mesh_factor: float


@dataclass(frozen=True)
class SkipMargin:
    """How far a ride stays from skipping a tooth, by an estimate; margins are ratios, 1 is the limit."""

    worst_margin: float
    worst_slack_side_margin: float
    worst_tooth_load_margin: float
    worst_at_s: float
    share_of_time_below_one: float
    verdict: Verdict
    reason: str


def effective_pull_n(torque_nm: float, teeth: int, pitch_mm: float) -> float:
    """Return the pull `2 M / d` of a pulley on its belt [N], with the sign of the torque.

    Source: engineer's handbook, belt drives (effective tension). Raises BuildError, RideError.
    """
    require_finite_load("belt", torque_nm=torque_nm)
    return 2.0 * torque_nm / to_si(pitch_diameter_mm(teeth, pitch_mm), "mm")


def belt_speed_m_per_s(speed_rpm: float, teeth: int, pitch_mm: float) -> float:
    """Return the belt's speed, never negative. Source: teeth * pitch per turn. Raises BuildError, RideError."""
    require_finite_load("belt", speed_rpm=speed_rpm)
    return abs(to_si(speed_rpm, "rpm")) * to_si(pitch_diameter_mm(teeth, pitch_mm), "mm") / 2.0


def mesh_factor(teeth_in_mesh: float) -> float:
    """Return the share of its pull a belt carries: `1 - 0.2 (6 - teeth)`, whole teeth counted, 0 below two.

    Source: SDP/SI Handbook of Timing Belts, section 13.3. A part tooth is not counted: the careful reading.
    """
    whole = math.floor(teeth_in_mesh)
    if whole < LEAST_MESH_TEETH:
        return 0.0
    return min(1.0, 1.0 - PULL_LOST_PER_TOOTH * (FULL_MESH_TEETH - whole))


def service_factor(teeth_driver: int, teeth_driven: int, base: float = SERVICE_FACTOR) -> float:
    """Return the service factor with the add-on for a drive that speeds up.

    Source: SDP/SI, section 24 (1.5 to 2.0); engineer's handbook for the add-on. Raises BuildError for base < 1.
    """
    require_between("belt", "service_factor", base, 1.0, 5.0)
    speed_up = teeth_driver / teeth_driven
    return base + next((add for least, add in SPEED_UP_ADD_ON if speed_up >= least), 0.0)


def table_pull_n(belt: str, width_mm: float) -> float:
    """Return the handbook's working tension of a belt, in proportion to its width [N].

    Source: SDP/SI table 3, from 25.4 mm; the table already contains a design factor. Raises BuildError.
    """
    kind = belt_type(belt)
    require_positive("belt", width_mm=width_mm)
    return kind.allowed_pull_n * width_mm / REFERENCE_WIDTH_MM


def belt_capacity(belt: str, width_mm: float, teeth_in_mesh: float, speed_m_per_s: float = 0.0) -> BeltCapacity:
    """Return the pull a belt may carry at a width, a number of teeth in mesh and a speed.

    The table's pull, narrower belts weakened by the power law of ISO 5295 (from memory), times the mesh factor, less
    what centrifugal force holds of it. Source: SDP/SI table 3 and section 13.3. Raises BuildError.
    """
    factor = mesh_factor(teeth_in_mesh)
    narrow = min(1.0, (width_mm / REFERENCE_WIDTH_MM) ** (WIDTH_EXPONENT_CAUTIOUS - 1.0)) if width_mm > 0.0 else 1.0
    held = table_pull_n(belt, width_mm) * narrow * factor
    return BeltCapacity(max(0.0, held - centrifugal_tension_n(belt, width_mm, speed_m_per_s)), factor)


def centrifugal_tension_n(belt: str, width_mm: float, speed_m_per_s: float) -> float:
    """Return the tension `m' v^2` that speed takes from the grip of the belt on its pulleys [N].

    Source: any belt text; belt mass from memory (+-15 %). Raises BuildError.
    """
    require_positive("belt", width_mm=width_mm)
    return belt_type(belt).mass_kg_per_m2 * to_si(width_mm, "mm") * speed_m_per_s**2


def shaft_load_n(tight_n: float, slack_n: float, wrap_deg: float) -> float:
    """Return the force on a pulley's shaft: the vector sum of its two spans [N]. Source: law of cosines."""
    turn = math.cos(math.radians(wrap_deg))
    return math.sqrt(max(0.0, tight_n**2 + slack_n**2 - 2.0 * tight_n * slack_n * turn))


def belt_tensions(
    stage: BeltStage,
    torque_nm: float,
    speed_rpm: float,
    *,
    slack_share: float = SLACK_SHARE,
    pretension_n: float | None = None,
) -> BeltTensions:
    """Return speed, pull, tight and slack side, pre-tension and shaft load; torque and speed at the driver.

    With fixed shafts and equal spans: tight = pre-tension + pull/2, slack = pre-tension - pull/2. Without a
    pre-tension, the one that leaves `slack_share` of the pull on the slack side over what centrifugal force takes of
    it. A slack side that goes empty is 0 and the tight side then carries the whole pull. Source: engineer's handbook,
    belt drives (10 to 30 %). Raises BuildError, RideError.
    """
    shape, kind = stage.geometry(), belt_type(stage.belt)
    pull = abs(effective_pull_n(torque_nm, stage.teeth_driver, kind.pitch_mm))
    speed = belt_speed_m_per_s(speed_rpm, stage.teeth_driver, kind.pitch_mm)
    flung = centrifugal_tension_n(stage.belt, stage.width_mm, speed)
    if pretension_n is None:
        require_between("belt", "slack_share", slack_share, 0.0, 1.0)
        pretension_n = (slack_share + 0.5) * pull + flung
    elif not (math.isfinite(pretension_n) and pretension_n >= 0.0):
        raise BuildError("belt.pretension_n", f"{pretension_n:g} N (0 or above)", "measure it, or leave it out")
    slack = max(0.0, pretension_n - pull / 2.0)
    tight = slack + pull
    return BeltTensions(
        belt_speed_m_per_s=speed,
        effective_pull_n=pull,
        tight_side_n=tight,
        slack_side_n=slack,
        pretension_n=pretension_n,
        centrifugal_tension_n=flung,
        shaft_load_n=shaft_load_n(tight, slack, shape.wrap_driver_deg),
        shaft_load_at_rest_n=shaft_load_n(pretension_n, pretension_n, shape.wrap_driver_deg),
    )


def safety_ratio(allowed_n: float, load_n: float) -> float:
    """Return allowed over load, at most `MARGIN_CAP` (a belt without load has no bound)."""
    return min(MARGIN_CAP, allowed_n / load_n) if load_n > 0.0 else MARGIN_CAP


def _capped_ratio(top: NDArray[np.float64] | float, load_n: NDArray[np.float64]) -> NDArray[np.float64]:
    """Margin `top / load`, capped, and the cap itself where nothing pulls."""
    pulls = load_n > 0.0
    ratio = np.divide(np.broadcast_to(top, load_n.shape), load_n, out=np.full(load_n.shape, MARGIN_CAP), where=pulls)
    return np.clip(ratio, 0.0, MARGIN_CAP)


def skip_margin(
    stage: BeltStage,
    time_s: ArrayLike,
    torque_nm: ArrayLike,
    speed_rpm: ArrayLike,
    pretension_n: float,
) -> SkipMargin:
    """Return how near a ride comes to skipping a tooth; torque and speed at the driver, one value a sample.

    An estimate, common practice, no source: a tooth can only climb once the slack side is empty, so the first
    margin is `(pre-tension - centrifugal) / (pull/2)`; the second is the pull per engaged tooth against the table's
    allowed pull (at 1 the belt wears early, it does not yet skip). Either sign of torque counts. Raises BuildError,
    RideError.
    """
    times, torques, speeds = load_profile("belt.ride", time_s=time_s, torque_nm=torque_nm, speed_rpm=speed_rpm)
    load_time("belt.ride", times)
    require_positive("belt", pretension_n=pretension_n)
    shape = stage.geometry()
    radius_m = to_si(shape.pitch_diameter_driver_mm, "mm") / 2.0
    pull = np.abs(torques) / radius_m
    speed = np.abs(to_si(1.0, "rpm") * speeds) * radius_m
    flung = centrifugal_tension_n(stage.belt, stage.width_mm, 1.0) * speed**2
    slack_margin = _capped_ratio(pretension_n - flung, pull / 2.0)
    capacity = belt_capacity(stage.belt, stage.width_mm, shape.teeth_in_mesh)
    tooth_margin = _capped_ratio(np.maximum(0.0, capacity.allowed_pull_n - flung), pull)
    both = np.minimum(slack_margin, tooth_margin)
    worst = int(np.argmin(both))
    steps = np.append(np.diff(times), 0.0)
    below = float(np.sum(steps[slack_margin < 1.0]) / np.sum(steps))
    verdict, reason = _skip_verdict(float(slack_margin.min()), float(tooth_margin.min()), float(times[worst]))
    return SkipMargin(
        worst_margin=float(both[worst]),
        worst_slack_side_margin=float(slack_margin.min()),
        worst_tooth_load_margin=float(tooth_margin.min()),
        worst_at_s=float(times[worst]),
        share_of_time_below_one=below,
        verdict=verdict,
        reason=reason,
    )


def _skip_verdict(slack: float, tooth: float, at_s: float) -> tuple[Verdict, str]:
    when = f"at {at_s:.1f} s"
    carried = 1.0 / max(tooth, 1.0 / MARGIN_CAP)
    findings = [
        held("tooth_skip", slack, 1.0, f"the slack side keeps {slack:.2f} of what {when} asks"),
        held("tooth_load", tooth, 1.0, f"the teeth in mesh carry {carried:.2f} of the allowed pull {when}"),
    ]
    return worst_verdict(findings, f"slack side {slack:.2f}, tooth load {tooth:.2f} at the worst (limit 1)")
