"""`ridesim rewind`: what does another winding make of the motor?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from ridesim.cli import given, options
from ridesim.cli.answer import reply
from ridesim.cli.output import command
from ridesim.errors import RideError

if TYPE_CHECKING:
    from ridesim.workshop.winding.motor import Winding, WoundMotor
    from ridesim.workshop.winding.plan import Rider

EXAMPLE = (
    "Example: ridesim rewind configs/longtail-belt.toml --turns 7 --strands 6 --wire-mm 0.5 --connection delta "
    "--teeth 12 --slot-area-mm2 60 --want-kv 70"
)
_TODAY, _NEW = "Today's motor", "The new winding"


@command("rewind", EXAMPLE)
def rewind(
    turns: Annotated[int, options.choice("--turns", "N", "Turns round a tooth.", _TODAY)],
    teeth: Annotated[int, options.choice("--teeth", "N", "Teeth of the stator.", _TODAY)],
    connection: Annotated[str, options.choice("--connection", "KIND", "star or delta.", _TODAY)],
    build: given.OptionalBuild = None,
    road: given.OptionalRoad = None,
    kv: Annotated[float | None, options.choice("--kv", "RPM_PER_V", "Measured Kv (else the build's).", _TODAY)] = None,
    resistance_mohm: Annotated[
        float | None,
        options.choice("--resistance-mohm", "MOHM", "Between two leads at 20 °C (else the build's).", _TODAY),
    ] = None,
    strands: Annotated[int, options.choice("--strands", "N", "Wires in hand.", _TODAY)] = 1,
    wire_mm: Annotated[float | None, options.choice("--wire-mm", "MM", "Bare diameter of one wire.", _TODAY)] = None,
    wire_awg: Annotated[int | None, options.choice("--wire-awg", "N", "Its gauge instead.", _TODAY)] = None,
    wound_teeth: Annotated[
        int | None, options.choice("--wound-teeth", "N", "Teeth with a coil, if not all.", _TODAY)
    ] = None,
    paths: Annotated[int, options.choice("--paths", "N", "Parallel paths a phase.", _TODAY)] = 1,
    slot_area_mm2: Annotated[
        float | None, options.choice("--slot-area-mm2", "MM2", "Room of one slot inside its liner.", _TODAY)
    ] = None,
    mean_turn_mm: Annotated[float | None, options.choice("--mean-turn-mm", "MM", "Once round a tooth.", _TODAY)] = None,
    torque_nm: Annotated[
        float | None, options.choice("--torque-nm", "NM", "Sustained torque (else of the build's ride).", _TODAY)
    ] = None,
    to_turns: Annotated[int | None, options.choice("--to-turns", "N", "Turns round a tooth.", _NEW)] = None,
    to_strands: Annotated[int | None, options.choice("--to-strands", "N", "Wires in hand.", _NEW)] = None,
    to_wire_mm: Annotated[
        float | None, options.choice("--to-wire-mm", "MM", "Bare diameter of one wire.", _NEW)
    ] = None,
    to_wire_awg: Annotated[int | None, options.choice("--to-wire-awg", "N", "Its gauge instead.", _NEW)] = None,
    to_connection: Annotated[str | None, options.choice("--to-connection", "KIND", "star or delta.", _NEW)] = None,
    to_paths: Annotated[int | None, options.choice("--to-paths", "N", "Parallel paths a phase.", _NEW)] = None,
    want_kv: Annotated[
        float | None, options.choice("--want-kv", "RPM_PER_V", "List windings for this Kv.", _NEW)
    ] = None,
    fill: Annotated[float, options.choice("--fill", "SHARE", "Copper over slot area that hands reach.", _NEW)] = 0.40,
    drive: given.OfDrive = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Scale a motor from today's turns, wire and connection to new ones, or list the windings for a wanted Kv."""
    asked = dict(locals())
    from ridesim.workshop.winding.plan import plan_rewind

    inputs, loaded, rider = _from_build(asked)
    motor, new = _motor(asked), _new(asked)
    new_wire = _diameter("--to-wire", to_wire_mm, to_wire_awg)
    result = plan_rewind(
        motor, new, wanted_kv_rpm_per_v=want_kv, wire_diameter_mm=new_wire, max_slot_fill=fill,
        torque_nm=asked["torque_nm"], rider=rider,
    )  # fmt: skip
    reply(wanted, "rewind", inputs, result, loaded)


def _from_build(asked: dict[str, Any]) -> tuple[dict[str, Any], list[Any], Rider | None]:
    """Fill Kv, resistance and torque from a build and its ride where they are not given; return who rides."""
    if asked["build"] is None:
        given.refuse_unused("rewind without a build", set=asked["set_"], drive=asked["drive"])
        return {}, [], None
    from ridesim.bike.second import geared_drive, refuse_second
    from ridesim.workshop.loads import NAME_A_DRIVE

    loaded, ridden, inputs = given.load_pair(asked["build"], asked["road"], asked["set_"], asked["reading"], both=True)
    drive = asked["drive"]
    if drive is None:
        refuse_second(loaded.build, "this command", NAME_A_DRIVE)
    own = geared_drive(loaded.build, drive or 1)[1].motor
    asked["kv"] = own.kv_rpm_per_v if asked["kv"] is None else asked["kv"]
    if asked["resistance_mohm"] is None:
        asked["resistance_mohm"] = own.resistance_mohm
    if asked["torque_nm"] is None:
        from ridesim.units import to_si

        _, loads = given.ridden_drive(loaded, ridden, None, None, drive)
        asked["torque_nm"] = loads.sustained_motor_current_a / to_si(own.kv_rpm_per_v, "rpm_per_v")
        inputs["sustained_torque"] = {"torque_nm": asked["torque_nm"], "ridden": loads.ridden}
    from ridesim.cli.output import say_if_compiling
    from ridesim.workshop.winding.plan import Rider

    say_if_compiling(loaded)
    return inputs, [loaded], Rider(loaded, ridden, drive)


def _diameter(option: str, wire_mm: float | None, gauge: int | None) -> float | None:
    from ridesim.workshop.winding.motor import wire_diameter_of_gauge_mm

    if wire_mm is not None and gauge is not None:
        raise RideError(f"{option}-mm and {option}-awg", "are both given", "leave out one of them")
    return wire_mm if gauge is None else wire_diameter_of_gauge_mm(gauge)


def _motor(asked: dict[str, Any]) -> WoundMotor:
    from ridesim.workshop.winding.motor import Winding, WoundMotor

    wire = given.needed("--wire-mm", _diameter("--wire", asked["wire_mm"], asked["wire_awg"]))
    return WoundMotor(
        Winding(asked["turns"], asked["strands"], wire, asked["connection"], asked["paths"]),
        given.needed("--kv", asked["kv"]),
        given.needed("--resistance-mohm", asked["resistance_mohm"]),
        asked["teeth"],
        asked["wound_teeth"],
        asked["slot_area_mm2"],
        asked["mean_turn_mm"],
    )


def _new(asked: dict[str, Any]) -> Winding | None:
    """The new winding: today's, changed where a --to option says so; None where none does."""
    from ridesim.workshop.winding.motor import Winding

    wire = _diameter("--to-wire", asked["to_wire_mm"], asked["to_wire_awg"])
    changed = [asked[name] for name in ("to_turns", "to_strands", "to_connection", "to_paths")]
    if asked["want_kv"] is not None:
        if any(each is not None for each in changed):
            raise RideError("--want-kv", "looks for turns and strands itself", "name only the wire with --to")
        return None
    if wire is None and all(each is None for each in changed):
        return None
    today = _motor(asked).winding
    wanted = (asked["to_turns"], asked["to_strands"], wire, asked["to_connection"], asked["to_paths"])
    own = (today.turns, today.strands, today.wire_diameter_mm, today.connection, today.parallel_paths)
    pieces: list[Any] = [have if want is None else want for want, have in zip(wanted, own, strict=True)]
    return Winding(*pieces)
