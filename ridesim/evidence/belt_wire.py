"""Belts and wires against standards and handbooks, by the workshop's calculators."""

from __future__ import annotations

from ridesim.bike.drive import STAGE_EFFICIENCY
from ridesim.bike.gears import GEAR_EFFICIENCY, sprocket_radius_mm
from ridesim.evidence.checks import Check, Subject, bound, near
from ridesim.evidence.store import sheet, table
from ridesim.units import convert, from_si
from ridesim.workshop.belt import shaft
from ridesim.workshop.belt.geometry import belt_length_mm, centre_distance_mm, drive_geometry, pitch_diameter_mm
from ridesim.workshop.belt.strength import effective_pull_n, mesh_factor, table_pull_n
from ridesim.workshop.mount import strength
from ridesim.workshop.wire.contacts import strip_resistance_mohm
from ridesim.workshop.wire.ride import preece_fusing_current_a, short_time_current_a
from ridesim.workshop.wire.tables import awg_diameter_mm, wire_awg, wire_mm2

CIRCULAR_MILS_PER_MM2 = 1973.525
HIGHEST = "the standard's highest value, the source says 5 % above solid: the two agree to 0.3 %"


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of belts and wires."""
    return [
        *_geometry(),
        *_chains(),
        *_mesh(),
        *_pulls(),
        *_shafts(),
        *_gauges(),
        *_areas(),
        *_melting(),
        *_strips(),
    ], []


def _geometry() -> list[Check]:
    checks = [
        near(f"pitch diameter, {teeth} teeth of {pitch:g} mm", pitch_diameter_mm(teeth, pitch), printed)
        for teeth, pitch, printed in table("belt.pitch_diameter").rows
    ]
    for small, large, pitch, centre, printed in table("belt.length").rows:
        ours = belt_length_mm(small, large, pitch, centre)
        checks.append(near(f"belt over {small} and {large} teeth, {centre:g} mm apart", ours, printed))
    for small, large, pitch, teeth, printed in table("belt.centre_distance").rows:
        ours = centre_distance_mm(small, large, pitch, teeth)
        checks.append(near(f"centre distance, {teeth} tooth belt over {small} and {large}", ours, printed))
    return checks


def _chains() -> list[Check]:
    """Sprockets of the pedal chain, and what chain and gear hub pass on where a build names nothing."""
    measured, chain = sheet("belt.hub_and_chain"), STAGE_EFFICIENCY["chain"]
    checks = [
        near(f"pitch diameter, {teeth} teeth of a bicycle chain", 2.0 * sprocket_radius_mm(teeth), printed)
        for teeth, printed in table("belt.sprockets").rows
    ]
    both = chain * GEAR_EFFICIENCY["hub"]
    return [
        *checks,
        *_least_losses(),
        near("a chain as it is assumed, of the load", from_si(chain, "percent"), measured.one_gear_percent),
        near("chain and gear hub as they are assumed", from_si(both, "percent"), measured.eight_gears_percent),
    ]


def _least_losses() -> list[Check]:
    """What is assumed of chain and hub loses at least what their joints and one of their planetary gears do.

    No ride asks these closed forms: joints are a third of what a chain loses on a rig (side plates, bearings and a
    pull that swings take the rest), and a hub's maker tells no teeth of its gears. A build states one share a gear.
    """
    lost, hub = 1.0 - STAGE_EFFICIENCY["chain"], from_si(GEAR_EFFICIENCY["hub"], "percent")
    checks = [
        bound(f"a chain as it is assumed loses what its joints do, {z1} over {z2} teeth", from_si(lost, "percent"),
              "at least", printed)
        for z1, z2, printed in table("belt.chain_joints").rows
    ]  # fmt: skip
    for mesh, *both in table("belt.planetary_hub").rows:
        for way, printed in zip(("faster", "slower"), both, strict=True):
            name = f"a gear hub as it is assumed, against one planetary gear, {way}, meshes of {mesh:g}"
            checks.append(bound(name, hub, "at most", printed))
    return checks


def _mesh() -> list[Check]:
    checks = []
    for small, large, pitch, centre, teeth, wrap in table("belt.mesh").rows:
        ours = drive_geometry(small, large, pitch, centre)
        where = f"{small} and {large} teeth, {centre:g} mm apart"
        checks.append(near(f"teeth in mesh, {where}", ours.teeth_in_mesh, teeth))
        if wrap is not None:
            checks.append(near(f"wrap, {where}", ours.wrap_small_deg, wrap))
    checks += [
        near(f"mesh factor of {meshed:g} teeth", mesh_factor(meshed), printed)
        for meshed, printed in table("belt.mesh_factor").rows
    ]
    return checks


def _pulls() -> list[Check]:
    checks = []
    for profile, width, printed in table("belt.allowed_pull").rows:
        ours = table_pull_n(profile, width)
        checks.append(near(f"allowed pull of a {profile} belt, {width:g} mm wide", ours, printed))
    turned = sheet("belt.pull_of_torque")
    pull = effective_pull_n(turned.torque_nm, turned.teeth, turned.pitch_mm)
    return [*checks, near("pull of 4 N·m on 20 teeth of 5 mm", pull, turned.pull_n)]


def _shafts() -> list[Check]:
    book, bent = sheet("belt.endurance"), sheet("belt.bent_shaft")
    surface = strength.MACHINED[0] * book.strength_mpa ** strength.MACHINED[1]
    size = (book.diameter_mm / strength.SIZE_MM[0]) ** strength.SIZE_MM[1]
    borne = shaft.bending_limit_n(bent.diameter_mm, bent.overhang_mm)
    stress = shaft.endurance_mpa(bent.diameter_mm) / shaft.BENDING_SAFETY * bent.force_n / borne
    return [
        near("endurance of steel: machined surface", surface, book.surface),
        near("endurance of steel: size", size, book.size),
        near("stress of an 8 mm shaft, 500 N at 20 mm", stress, bent.stress_mpa),
    ]


def _gauges() -> list[Check]:
    checks = []
    for gauge, diameter, area, ohm in table("wire.awg").rows:
        wire = wire_awg(gauge, stranded=False)
        checks += [
            near(f"AWG {gauge}: diameter", wire.diameter_mm, diameter),
            near(f"AWG {gauge}: area", wire.area_mm2, area),
            near(f"AWG {gauge}: resistance", wire.resistance_ohm_per_km, ohm),
        ]
    for gauge, ohm in table("wire.stranded_awg").rows:
        ours = wire_awg(gauge).resistance_ohm_per_km
        checks.append(near(f"AWG {gauge} stranded: resistance", ours, ohm, share=3e-3, note=HIGHEST))
    return checks


def _areas() -> list[Check]:
    checks = []
    for area, solid, flexible in table("wire.iec_60228").rows:
        for word, stranded, ohm in (("flexible", True, flexible), ("solid", False, solid)):
            ours = wire_mm2(area, stranded=stranded).resistance_ohm_per_km
            checks.append(near(f"{word} copper, {area:g} mm²: resistance", ours, ohm))
    return checks


def _melting() -> list[Check]:
    example = sheet("wire.melting_example")
    area = example.circular_mils / CIRCULAR_MILS_PER_MM2
    melts = short_time_current_a(area, example.seconds, example.start_c)
    checks = [near("current that melts 2581 circular mils in 5 s", melts, example.current_a)]
    for gauge, one, ten in table("wire.melting").rows:
        for seconds, printed in ((1.0, one), (10.0, ten)):
            ours = short_time_current_a(wire_awg(gauge).area_mm2, seconds, example.start_c)
            checks.append(near(f"current that melts AWG {gauge} in {seconds:g} s", ours, printed))
    by_gauge = [(awg_diameter_mm(gauge), printed) for gauge, printed in table("wire.preece_by_gauge").rows]
    for thickness, printed in (*table("wire.preece_by_diameter").rows, *by_gauge):
        ours = preece_fusing_current_a(thickness)
        checks.append(near(f"fusing current of {thickness:.2f} mm copper", ours, printed))
    return checks


def _strips() -> list[Check]:
    a_metre = convert(1.0, "m", "mm")
    return [
        near(
            f"nickel strip {width:g} x {thick:g} mm: resistance",
            strip_resistance_mohm("nickel", width, thick, a_metre), printed,
        )
        for width, thick, printed in table("wire.nickel_strip").rows
    ]  # fmt: skip


SUBJECT = Subject("belt-wire", "Belts and wires", run)
