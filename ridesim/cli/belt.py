"""`ridesim belt`: does the toothed belt carry it?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from ridesim.cli import given, options
from ridesim.cli.answer import answer, reply
from ridesim.cli.output import command, envelope
from ridesim.errors import RideError
from ridesim.report.plain import as_plain

if TYPE_CHECKING:
    from ridesim.workshop.belt.design import BeltDrive, Judging, Load
    from ridesim.workshop.belt.strength import BeltStage

EXAMPLE = (
    "Example: ridesim belt configs/longtail-two-stage.toml routes/ridge-climb.gpx, or by hand: ridesim belt "
    "--driver-teeth 20 --driven-teeth 100 --centre-mm 240 --width-mm 25 --torque-nm 5"
)
STAGE = ("DRIVER", "DRIVEN", "CENTRE_MM", "WIDTH_MM")
MOTOR = ("X_MM", "Y_MM", "TEETH")

DriverTeeth = Annotated[int | None, options.choice("--driver-teeth", "N", "Teeth on the motor side.")]
DrivenTeeth = Annotated[int | None, options.choice("--driven-teeth", "N", "Teeth on the wheel side.")]
Centre = Annotated[float | None, options.choice("--centre-mm", "MM", "Distance of the shafts.")]
BeltTeeth = Annotated[int | None, options.choice("--belt-teeth", "N", "Teeth of the belt, instead of the distance.")]
Width = Annotated[float | None, options.choice("--width-mm", "MM", "Width of the belt (15 when left out).")]
Torque = Annotated[float | None, options.choice("--torque-nm", "NM", "Peak torque at the motor.")]
Speed = Annotated[
    float | None, options.choice("--speed-rpm", "RPM", "Motor speed at that torque (3000 when left out).")
]
Second = Annotated[str | None, options.choice("--second-stage", ",".join(STAGE), "A second belt behind the first.")]
Kind = Annotated[str | None, options.choice("--belt", "NAME", "3M, 5M, 8M, or with 'modified' behind.", "Belt")]
Pretension = Annotated[
    str | None, options.choice("--pretension-n", "N[,N]", "Tension of a span at rest, belt by belt.", "Belt")
]
TurnAngle = Annotated[
    float | None,
    options.choice("--turn-deg", "DEG", "Bend of the line of shafts at the jackshaft: 0 straight, 180 back.", "Belt"),
]
ShaftDiameter = Annotated[
    float | None, options.choice("--shaft-mm", "MM", "Motor shaft under the pulley (else the build's).", "Motor shaft")
]
ShaftLimit = Annotated[
    float | None, options.choice("--shaft-limit-n", "N", "Side load that the motor's maker allows.", "Motor shaft")
]
Overhang = Annotated[
    float | None, options.choice("--overhang-mm", "MM", "From the motor's bearing to the belt's middle.", "Motor shaft")
]
Service = Annotated[float, options.choice("--service-factor", "F", "Factor on the pull, 1.5 to 2 is usual.", "Belt")]
Motors = Annotated[
    list[str] | None,
    options.choice(
        "--motor", ",".join(MOTOR), "Twice: two motors in series on one belt; the wheel at 0,0.", "Two motors"
    ),
]
Joined = Annotated[
    str | None,
    options.choice("--joined", ",".join(STAGE), "A second motor, joined to the first by this.", "Two motors"),
]
BetweenAngle = Annotated[
    float | None,
    options.choice("--between-deg", "DEG", "Between the two belts' pulls at the first motor's shaft.", "Two motors"),
]
OtherTorque = Annotated[
    float | None,
    options.choice("--second-torque-nm", "NM", "The second motor's torque (else the first's).", "Two motors"),
]
FreeRadius = Annotated[
    float | None, options.choice("--free-radius-mm", "MM", "Axle to the nearest tube, tyre or rim.", "Wheel pulley")
]
WheelRadius = Annotated[float | None, options.choice("--wheel-radius-mm", "MM", "Axle to the ground.", "Wheel pulley")]
Ratio = Annotated[
    float | None, options.choice("--ratio", "R", "List pulley pairs near this ratio at --centre-mm.", "Search")
]


@command("belt", EXAMPLE)
def belt(
    build: given.OptionalBuild = None,
    road: given.OptionalRoad = None,
    driver_teeth: DriverTeeth = None,
    driven_teeth: DrivenTeeth = None,
    centre_mm: Centre = None,
    belt_teeth: BeltTeeth = None,
    width_mm: Width = None,
    torque_nm: Torque = None,
    speed_rpm: Speed = None,
    second_stage: Second = None,
    kind: Kind = None,
    pretension_n: Pretension = None,
    service_factor: Service = 1.5,
    turn_deg: TurnAngle = None,
    shaft_mm: ShaftDiameter = None,
    shaft_limit_n: ShaftLimit = None,
    overhang_mm: Overhang = None,
    motors: Motors = None,
    joined: Joined = None,
    between_deg: BetweenAngle = None,
    second_torque_nm: OtherTorque = None,
    free_radius_mm: FreeRadius = None,
    wheel_radius_mm: WheelRadius = None,
    ratio: Ratio = None,
    grade: given.Grade = None,
    minutes: given.Minutes = None,
    drive: given.OfDrive = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Judge toothed belts by the loads of BUILD's ride, or by numbers: tension, capacity, tooth skip, clearance."""
    asked = dict(locals())
    asked["judging"] = _judging(asked)
    if ratio is not None:
        _search(wanted, asked)
    elif build is not None:
        _of_build(wanted, asked)
    else:
        given.refuse_unused("belt by hand", grade=grade, minutes=minutes, set=set_, drive=drive)
        reply(wanted, "belt", {"by_hand": _hand_inputs(asked)}, _by_hand(asked), [])


MOST_PRETENSION_N = 1e5
"""A hundred times what any belt of a bike bears: a slip of the hand."""


def _judging(asked: dict[str, Any]) -> Judging:
    from ridesim.cli.answer import number_list
    from ridesim.workshop.belt.design import Judging
    from ridesim.workshop.belt.shaft import Shaft

    text = asked["pretension_n"]
    tensions = () if text is None else number_list("--pretension-n", text)
    over = [each for each in tensions if not each <= MOST_PRETENSION_N]
    if over:
        what = f"a span's tension is {over[0]:g} N, at most {MOST_PRETENSION_N:g} N"
        raise RideError("--pretension-n", what, "give the tension that is measured, or leave it out")
    shaft = Shaft(asked["shaft_mm"], asked["shaft_limit_n"], asked["overhang_mm"])
    return Judging(tensions, asked["service_factor"], asked["turn_deg"], asked["between_deg"], shaft)


def _hand_inputs(asked: dict[str, Any]) -> dict[str, Any]:
    skipped = {"wanted", "reading", "judging", "set_", "road", "build"}
    return {name: value for name, value in asked.items() if value is not None and name not in skipped}


def _of_build(wanted: options.Wanted, asked: dict[str, Any]) -> None:
    hand = ("driver_teeth", "centre_mm", "belt_teeth", "width_mm", "torque_nm", "speed_rpm", "second_stage")
    unread = {name: asked[name] for name in (*hand, "wheel_radius_mm", "second_torque_nm")}
    if not asked["motors"]:
        unread["driven_teeth"] = asked["driven_teeth"]
    given.refuse_unused("belt of a build", **unread)
    loaded, ridden, inputs = given.load_pair(asked["build"], asked["road"], asked["set_"], asked["reading"], both=True)
    loaded, loads = given.ridden_drive(loaded, ridden, asked["grade"], asked["minutes"], asked["drive"])
    given.name_climb(inputs, ridden, asked["grade"], asked["minutes"])
    from ridesim.workshop.belt import of_build

    judging = asked["judging"] = of_build.with_build(asked["judging"], loaded)
    result = of_build.drive_of_build(loaded, loads, judging, asked["kind"], asked["free_radius_mm"])
    if asked["motors"] or asked["joined"]:
        first = result.stages[0]
        halves = (first.torque_nm / 2.0, first.torque_nm / 2.0)
        result = _two_motors(asked, first.stage, halves, first.load, f"{loads.ridden}, shared evenly by two motors")
    reply(wanted, "belt", inputs, result, [loaded])


def _by_hand(asked: dict[str, Any]) -> BeltDrive:
    from ridesim.workshop.belt.design import Load, drive_by_hand

    torque = given.needed("--torque-nm", asked["torque_nm"])
    load = Load(torque, 3000.0 if asked["speed_rpm"] is None else asked["speed_rpm"])
    other = torque if asked["second_torque_nm"] is None else asked["second_torque_nm"]
    if asked["motors"]:
        return _two_motors(asked, None, (torque, other), load, "numbers by hand")
    kind = asked["kind"] or "5M"
    first = _hand_stage(asked, kind)
    if asked["joined"]:
        return _two_motors(asked, first, (torque, other), load, "numbers by hand")
    stages: tuple[BeltStage, ...] = (first,)
    if asked["second_stage"]:
        stages = (first, _stage_of("--second-stage", asked["second_stage"], kind))
    free, radius = asked["free_radius_mm"], asked["wheel_radius_mm"]
    if free is not None and radius is None:
        raise RideError("--wheel-radius-mm", "is missing beside --free-radius-mm", "give both")
    return drive_by_hand(stages, load, asked["judging"], None if radius is None else (free, radius))


def _hand_stage(asked: dict[str, Any], kind: str) -> BeltStage:
    from ridesim.workshop.belt.geometry import centre_distance_mm
    from ridesim.workshop.belt.strength import BeltStage
    from ridesim.workshop.belt.tables import belt_type

    driver = given.needed("--driver-teeth", asked["driver_teeth"])
    driven = given.needed("--driven-teeth", asked["driven_teeth"])
    centre, teeth = asked["centre_mm"], asked["belt_teeth"]
    if (centre is None) == (teeth is None):
        raise RideError("--centre-mm", "or --belt-teeth: one of the two is needed", "give the distance or the belt")
    if centre is None:
        centre = centre_distance_mm(driver, driven, belt_type(kind).pitch_mm, teeth)
    return BeltStage(driver, driven, centre, asked["width_mm"] or 15.0, kind)


def _stage_of(option: str, text: str, kind: str) -> BeltStage:
    from ridesim.workshop.belt.strength import BeltStage

    driver, driven, centre, width = given.numbers(option, text, STAGE)
    return BeltStage(given.whole(option, driver), given.whole(option, driven), centre, width, kind)


def _two_motors(
    asked: dict[str, Any], main: BeltStage | None, torques: tuple[float, float], load: Load, loaded_by: str
) -> BeltDrive:
    from ridesim.workshop.belt.design import joined_drive, series_drive
    from ridesim.workshop.belt.geometry import PulleySpot
    from ridesim.workshop.belt.series import SeriesLayout

    kind = asked["kind"] or (main.belt if main else "5M")
    if asked["joined"]:
        if asked["motors"]:
            raise RideError("--motor and --joined", "are two different layouts", "choose one of them")
        if main is None:
            raise RideError("--joined", "needs the main belt too", "give --driver-teeth and the rest")
        joining = _stage_of("--joined", asked["joined"], kind)
        return joined_drive(joining, main, torques, load.speed_rpm, asked["judging"], loaded_by)
    if len(asked["motors"]) != 2:
        what = f"{len(asked['motors'])} given, 2 needed"
        raise RideError("--motor", what, "name them in the order in which the belt comes to them from the wheel")
    spots = [given.numbers("--motor", text, MOTOR) for text in asked["motors"]]
    driven = asked["driven_teeth"] or (main.teeth_driven if main else None)
    wheel = PulleySpot("wheel", given.needed("--driven-teeth", driven), 0.0, 0.0)
    first, second = (
        PulleySpot(name, given.whole("--motor", teeth), x, y)
        for name, (x, y, teeth) in zip(("first motor", "second motor"), spots, strict=True)
    )
    width = asked["width_mm"] or (main.width_mm if main else 15.0)
    layout = SeriesLayout(wheel, first, second, width, kind)
    return series_drive(layout, torques, load, asked["judging"], loaded_by)


def _search(wanted: options.Wanted, asked: dict[str, Any]) -> None:
    from ridesim.report.belt.view import pairs_view
    from ridesim.workshop.belt.fit import pulley_pairs
    from ridesim.workshop.belt.tables import belt_type

    centre, ratio, kind = given.needed("--centre-mm", asked["centre_mm"]), asked["ratio"], asked["kind"] or "5M"
    chosen = belt_type(kind)
    largest = None if asked["free_radius_mm"] is None else 2.0 * asked["free_radius_mm"]
    pairs = pulley_pairs(
        range(12, 41), range(12, 221), chosen.pitch_mm, ratio=ratio, centre_mm=centre,
        largest_outside_diameter_mm=largest, rim_below_pitch_mm=chosen.rim_below_pitch_mm,
    )  # fmt: skip
    payload = envelope("belt-pairs", {"by_hand": _hand_inputs(asked)}, pairs=as_plain(pairs))
    answer(wanted, payload, lambda pictures: pairs_view(pairs, ratio, centre, kind, wanted.units), [])
