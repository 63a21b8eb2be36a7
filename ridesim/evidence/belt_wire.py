"""Belts and wires against standards and handbooks, by the workshop's calculators."""

from __future__ import annotations

from ridesim.evidence.checks import Check, Kind, Subject, near
from ridesim.workshop import belt
from ridesim.workshop import wire as wiring

ISO_BELT = "ISO 13050 / ISO 5294"
PLANE = "plane geometry of an open belt"
HANDBOOK = "SDP/SI Handbook of Timing Belts, technical section, table 3"
MESH = "worked values of a public design note after the SDP/SI handbook"
ASTM = "ASTM B258-02"
IEC = "IEC 60228:2004, tables 1 to 3"
ONDERDONK = "Stauffacher (1928), GE Review, with 234 + Ta"

DIAMETERS = ((20, 5.0, "31.8310"), (60, 5.0, "95.4930"), (100, 5.0, "159.1549"), (22, 8.0, "56.0225"),
             (66, 8.0, "168.0676"), (15, 5.0, "23.8732"))  # fmt: skip
LENGTHS = (
    (20, 60, 5.0, 200.0, "605.07684"), (15, 60, 5.0, 150.0, "496.09029"), (16, 72, 5.0, 180.0, "591.09017"),
    (22, 66, 8.0, 300.0, "962.49248"), (20, 100, 5.0, 130.0, "591.84914"), (18, 18, 5.0, 100.0, "290.000"),
)  # fmt: skip
CENTRES = ((20, 60, 5.0, 120, "197.428374"), (15, 60, 5.0, 90, "126.131633"), (20, 100, 5.0, 116, "123.144323"),
           (22, 66, 8.0, 120, "298.731350"))  # fmt: skip
MESHES = ((20, 100, 5.0, 130.0, "6.74"), (20, 100, 5.0, 100.0, "5.6"))
PULLS = (("3M", 25.4, "285"), ("5M", 25.4, "454"), ("8M", 25.4, "792"), ("5M", 15.0, "268.1"), ("8M", 20.0, "623.6"))
GAUGES = (
    (20, "0.8118", "33.308"), (18, "1.0237", "20.948"), (16, "1.2908", "13.174"), (14, "1.6277", "8.2853"),
    (12, "2.0525", "5.2107"), (10, "2.5882", "3.2770"), (8, "3.2636", "2.0609"), (6, "4.1154", "1.2961"),
)  # fmt: skip
FLEXIBLE = ((0.5, "39.0"), (1.0, "19.5"), (1.5, "13.3"), (2.5, "7.98"), (4.0, "4.95"), (6.0, "3.30"), (10.0, "1.91"))


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of belts and wires."""
    return [*_belts(), *_wires()], []


def _belts() -> list[Check]:
    form, book = Kind.CLOSED_FORM, Kind.PUBLISHED
    checks = [
        near(f"pitch diameter, {teeth} teeth of {pitch:g} mm", belt.pitch_diameter_mm(teeth, pitch), printed, "mm",
             ISO_BELT, form)
        for teeth, pitch, printed in DIAMETERS
    ]  # fmt: skip
    for small, large, pitch, centre, printed in LENGTHS:
        ours = belt.belt_length_mm(small, large, pitch, centre)
        checks.append(
            near(f"belt over {small} and {large} teeth, {centre:g} mm apart", ours, printed, "mm", PLANE, form)
        )
    for small, large, pitch, teeth, printed in CENTRES:
        ours = belt.centre_distance_mm(small, large, pitch, teeth)
        name = f"centre distance, {teeth} tooth belt over {small} and {large}"
        checks.append(near(name, ours, printed, "mm", PLANE, form))
    for small, large, pitch, centre, printed in MESHES:
        ours = belt.drive_geometry(small, large, pitch, centre).teeth_in_mesh
        name = f"teeth in mesh, {small} and {large} teeth, {centre:g} mm apart"
        checks.append(near(name, ours, printed, "", MESH, book))
    for kind, width, printed in PULLS:
        ours = belt.belt_capacity(kind, width, 8.0).allowed_pull_n
        checks.append(near(f"allowed pull of a {kind} belt, {width:g} mm wide", ours, printed, "N", HANDBOOK, book))
    rule = "SDP/SI handbook, section 13.3"
    for meshed, printed in ((6.0, "1.0"), (5.0, "0.8"), (4.0, "0.6"), (2.0, "0.2")):
        checks.append(near(f"mesh factor of {meshed:g} teeth", belt.mesh_factor(meshed), printed, "", rule, book))
    pull = belt.effective_pull_n(4.0, 20, 5.0)
    checks.append(near("pull of 4 N·m on 20 teeth of 5 mm", pull, "251.33", "N", "engineer's handbook text", book))
    return checks


def _wires() -> list[Check]:
    checks = []
    for gauge, diameter, ohm in GAUGES:
        wire = wiring.wire_awg(gauge, stranded=False)
        checks += [
            near(f"AWG {gauge}: diameter", wire.diameter_mm, diameter, "mm", ASTM, Kind.PUBLISHED),
            near(f"AWG {gauge}: resistance", wire.resistance_ohm_per_km, ohm, "Ω/km", ASTM, Kind.CLOSED_FORM),
        ]
    for area, ohm in FLEXIBLE:
        ours = wiring.wire_mm2(area).resistance_ohm_per_km
        checks.append(near(f"flexible copper, {area:g} mm²: resistance", ours, ohm, "Ω/km", IEC, Kind.PUBLISHED))
    note = "the standard's highest value, the source says 5 % above solid: the two agree to 0.3 %"
    for gauge, ohm in ((12, "5.48"), (10, "3.45")):
        ours = wiring.wire_awg(gauge).resistance_ohm_per_km
        name = f"AWG {gauge} stranded: resistance"
        checks.append(near(name, ours, ohm, "Ω/km", "UL 1581", Kind.PUBLISHED, share=3e-3, note=note))
    melts = wiring.short_time_current_a(2581.0 / 1973.525, 5.0, 25.0)
    checks.append(near("current that melts 2581 circular mils in 5 s", melts, "168.86", "A", ONDERDONK, Kind.PUBLISHED))
    for gauge, one, ten in ((16, "377.8", "119.5"), (14, "600.8", "190.0"), (12, "955.3", "302.1")):
        for seconds, printed in ((1.0, one), (10.0, ten)):
            ours = wiring.short_time_current_a(wiring.wire_awg(gauge).area_mm2, seconds, 25.0)
            name = f"current that melts AWG {gauge} in {seconds:g} s"
            checks.append(near(name, ours, printed, "A", ONDERDONK, Kind.CLOSED_FORM))
    for thickness, printed in ((1.33096, "122.88"), (wiring.awg_diameter_mm(12), "235.3")):
        ours = wiring.preece_fusing_current_a(thickness)
        name = f"fusing current of {thickness:.2f} mm copper"
        checks.append(near(name, ours, printed, "A", "Preece (1884 to 1888)", Kind.PUBLISHED))
    for width, thick, printed in ((8.0, 0.15, "58.25"), (10.0, 0.2, "34.95")):
        ours = wiring.strip_resistance_mohm("nickel", width, thick, 1000.0)
        name = f"nickel strip {width:g} x {thick:g} mm: resistance"
        checks.append(near(name, ours, printed, "mΩ/m", "materials table, 6.99e-8 Ω·m", Kind.PUBLISHED))
    return checks


SUBJECT = Subject("belt-wire", "Belts and wires", run)
