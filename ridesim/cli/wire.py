"""`ridesim wire`: which copper carries the ride?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from ridesim.cli import given, options
from ridesim.cli.answer import reply
from ridesim.cli.output import command
from ridesim.errors import RideError
from ridesim.report.plain import as_plain

if TYPE_CHECKING:
    from ridesim.workshop.wire.flows import Currents
    from ridesim.workshop.wire.harness import Habits, Strip

EXAMPLE = (
    "Example: ridesim wire configs/longtail-belt.toml routes/ridge-climb.gpx --pack-length-m 1.2, or by hand: ridesim "
    "wire --voltage-v 54.6 --pack-rms-a 20 --pack-peak-a 32 --peak-s 20"
)
STRIP = ("WIDTH_MM", "THICKNESS_MM", "LENGTH_MM", "COUNT")

Voltage = Annotated[float | None, options.choice("--voltage-v", "V", "Full pack voltage.")]
PackRms = Annotated[float | None, options.choice("--pack-rms-a", "A", "Rms current from the pack.")]
PackPeak = Annotated[float | None, options.choice("--pack-peak-a", "A", "Peak current from the pack.")]
MotorRms = Annotated[float | None, options.choice("--motor-rms-a", "A", "Rms motor current, DC-equivalent.")]
MotorPeak = Annotated[float | None, options.choice("--motor-peak-a", "A", "Peak motor current, DC-equivalent.")]
PeakS = Annotated[float | None, options.choice("--peak-s", "S", "How long the peaks last (10 when left out).")]
PackOhm = Annotated[float | None, options.choice("--pack-mohm", "MOHM", "Resistance of the pack, for its short.")]
Charge = Annotated[float | None, options.choice("--charge-a", "A", "The charger's current.", "Leads")]
PackLength = Annotated[float, options.choice("--pack-length-m", "M", "Pack leads, one way.", "Leads")]
BranchLength = Annotated[
    float, options.choice("--controller-length-m", "M", "With two: from the pack's lead to each, one way.", "Leads")
]
PhaseLength = Annotated[float, options.choice("--phase-length-m", "M", "Phase leads, one way.", "Leads")]
ChargeLength = Annotated[float, options.choice("--charge-length-m", "M", "Charge leads, one way.", "Leads")]
Jacket = Annotated[str, options.choice("--jacket", "NAME", "pvc, xlpe, fluoropolymer or silicone.", "Leads")]
Gauge = Annotated[str, options.choice("--gauge", "SYSTEM", "awg or mm2.", "Leads")]
Air = Annotated[float, options.choice("--air-c", "C", "Air around the leads.", "Leads")]
LeadLimit = Annotated[
    float, options.choice("--lead-limit-c", "C", "What solder, sleeves and plugs on the leads bear.", "Leads")
]
Together = Annotated[
    int | None,
    options.choice("--together", "N", "Leads in one sleeve (2 pack, 3 phase, 2 charge when left out).", "Leads"),
]
Drop = Annotated[
    float, options.choice("--drop-percent", "PERCENT", "Voltage drop allowed at the rms current.", "Leads")
]
FuseKind = Annotated[str, options.choice("--fuse", "SERIES", "r10 or blade.", "Fuse, plug, strips, pre-charge")]
Plug = Annotated[
    str | None, options.choice("--plug", "NAME", "e.g. 'round pin 4 mm'.", "Fuse, plug, strips, pre-charge")
]
StripText = Annotated[
    str | None, options.choice("--strip", ",".join(STRIP), "Between two groups.", "Fuse, plug, strips, pre-charge")
]
Metal = Annotated[str, options.choice("--strip-metal", "NAME", "nickel or copper.", "Fuse, plug, strips, pre-charge")]
Controllers = Annotated[
    int | None, options.choice("--controllers", "N", "By hand: how many the pack feeds, alike, a motor each.")
]
Capacitance = Annotated[
    float | None, options.choice("--capacitance-uf", "UF", "Of a controller.", "Fuse, plug, strips, pre-charge")
]
Hold = Annotated[float, options.choice("--hold-s", "S", "Time to pre-charge.", "Fuse, plug, strips, pre-charge")]
Standby = Annotated[
    float | None,
    options.choice("--standby-w", "W", "What a controller draws meanwhile.", "Fuse, plug, strips, pre-charge"),
]


@command("wire", EXAMPLE)
def wire(
    build: given.OptionalBuild = None,
    road: given.OptionalRoad = None,
    voltage_v: Voltage = None,
    pack_rms_a: PackRms = None,
    pack_peak_a: PackPeak = None,
    motor_rms_a: MotorRms = None,
    motor_peak_a: MotorPeak = None,
    peak_s: PeakS = None,
    pack_mohm: PackOhm = None,
    controllers: Controllers = None,
    charge_a: Charge = None,
    pack_length_m: PackLength = 1.0,
    controller_length_m: BranchLength = 0.3,
    phase_length_m: PhaseLength = 0.5,
    charge_length_m: ChargeLength = 1.5,
    jacket: Jacket = "silicone",
    gauge: Gauge = "awg",
    air_c: Air = 30.0,
    lead_limit_c: LeadLimit = 90.0,
    together: Together = None,
    drop_percent: Drop = 3.0,
    fuse: FuseKind = "r10",
    plug: Plug = None,
    strip: StripText = None,
    strip_metal: Metal = "nickel",
    capacitance_uf: Capacitance = None,
    hold_s: Hold = 2.0,
    standby_w: Standby = None,
    grade: given.Grade = None,
    minutes: given.Minutes = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Choose leads, fuse, plug, strips and pre-charge resistor for BUILD's ride, or for currents given by hand."""
    asked = dict(locals())
    if build is None:
        from ridesim.workshop.wire.harness import BY_HAND

        given.refuse_unused("wire by hand", grade=grade, minutes=minutes, set=set_)
        habits = _habits(asked, _strip(asked), capacitance_uf, standby_w or 0.0)
        _reply(asked, _by_hand(asked), habits, {}, [], BY_HAND)
        return
    _of_build(asked)


def _of_build(asked: dict[str, Any]) -> None:
    hand = ("voltage_v", "pack_rms_a", "pack_peak_a", "motor_rms_a", "motor_peak_a", "peak_s", "pack_mohm")
    given.refuse_unused("wire of a build", **{name: asked[name] for name in (*hand, "controllers")})
    loaded, ridden, inputs = given.load_pair(asked["build"], asked["road"], asked["set_"], asked["reading"], both=True)
    ride = given.ridden_road(loaded, ridden, asked["grade"], asked["minutes"])
    from ridesim.workshop.wire.harness import habits_of
    from ridesim.workshop.wire.two_drives import harness_of_ride

    own = habits_of(loaded.build)
    standby = own.standby_power_w if asked["standby_w"] is None else asked["standby_w"]
    habits = _habits(asked, _strip(asked) or own.strip, asked["capacitance_uf"] or own.capacitance_uf, standby)
    result = harness_of_ride(
        ride, habits, asked["charge_a"], capacitance_uf=asked["capacitance_uf"], standby_power_w=asked["standby_w"]
    )
    reply(asked["wanted"], "wire", {**inputs, "habits": as_plain(habits)}, result, [loaded])


def _by_hand(asked: dict[str, Any]) -> Currents:
    from ridesim.workshop.wire.flows import Currents

    full = given.needed("--voltage-v", asked["voltage_v"])
    brief = 10.0 if asked["peak_s"] is None else asked["peak_s"]
    pack, motor = asked["pack_rms_a"] or 0.0, asked["motor_rms_a"] or 0.0
    for name, rms in (("pack", pack), ("motor", motor)):
        if asked[f"{name}_peak_a"] is not None and not rms:
            raise RideError(f"--{name}-rms-a", f"is missing beside --{name}-peak-a", "give the rms current too")
    several = 1 if asked["controllers"] is None else asked["controllers"]
    if not 1 <= several <= 2:
        raise RideError("--controllers", f"is out of range ({several}, allowed 1 to 2)", "a build has one motor or two")
    return Currents(
        pack_rms_a=pack,
        pack_peak_a=asked["pack_peak_a"] or pack,
        pack_peak_s=brief,
        pack_sustained_a=pack,
        motor_rms_a=motor,
        motor_peak_a=asked["motor_peak_a"] or motor,
        motor_peak_s=brief,
        charge_a=asked["charge_a"] or 0.0,
        nominal_voltage_v=full,
        full_voltage_v=full,
        pack_resistance_mohm=asked["pack_mohm"],
        controllers=several,
        controller_share=1.0 / several,
    )


def _strip(asked: dict[str, Any]) -> Strip | None:
    if asked["strip"] is None:
        return None
    from ridesim.workshop.wire.harness import Strip

    width, thickness, length, *count = given.numbers("--strip", asked["strip"], STRIP, least=3)
    strips = given.whole("--strip", count[0]) if count else 1
    return Strip(width, thickness, length, strips, asked["strip_metal"])


def _habits(
    asked: dict[str, Any], strip: Strip | None, capacitance_uf: float | None, standby_power_w: float = 0.0
) -> Habits:
    from ridesim.workshop.wire.harness import Habits

    return Habits(
        pack_length_m=asked["pack_length_m"],
        controller_length_m=asked["controller_length_m"],
        phase_length_m=asked["phase_length_m"],
        charge_length_m=asked["charge_length_m"],
        jacket=asked["jacket"],
        system=asked["gauge"],
        air_c=asked["air_c"],
        joint_limit_c=asked["lead_limit_c"],
        leads_together=asked["together"],
        allowed_drop_percent=asked["drop_percent"],
        fuse_series=asked["fuse"],
        connector=asked["plug"],
        strip=strip,
        capacitance_uf=capacitance_uf,
        hold_s=asked["hold_s"],
        standby_power_w=standby_power_w,
    )


def _reply(
    asked: dict[str, Any], currents: Currents, habits: Habits, inputs: dict[str, Any], loaded: list[Any], loaded_by: str
) -> None:
    from ridesim.workshop.wire.harness import design_harness

    result = design_harness(currents, habits, loaded_by)
    reply(asked["wanted"], "wire", {**inputs, "habits": as_plain(habits)}, result, loaded)
