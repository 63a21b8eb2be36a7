"""The brakes of both wheels, as one lump of heat each. The motion of a ride does not read them; its verdict does."""

from __future__ import annotations

from typing import Literal, NamedTuple

from pydantic import Field

from ridesim.schema.section import Section, key
from ridesim.schema.tolerance import by_source
from ridesim.units import to_si

LIMIT_C = {"disc": 250.0, "rim": 100.0}
"""Hottest disc before organic pads fade (sintered bear about 400), hottest rim before a tyre's bead or a carbon rim's
resin gives (common practice, no source)."""


class Lump(NamedTuple):
    """One brake as a lump of heat, what is left open filled in by its kind."""

    mass_g: float
    specific_heat_j_per_kg_k: float
    diameter_mm: float
    area_cm2: float
    emissivity: float
    limit_c: float

    @property
    def capacity_j_per_k(self) -> float:
        """The heat that warms it by one kelvin [J/K]."""
        return to_si(self.mass_g, "g") * self.specific_heat_j_per_kg_k


USUAL = {
    "disc": Lump(130.0, 460.0, 180.0, 298.0, 0.5, LIMIT_C["disc"]),
    "rim": Lump(500.0, 896.0, 622.0, 1368.0, 0.2, LIMIT_C["rim"]),
}
"""A steel disc of 180 mm with a ring of 58 to 90 mm radius, both faces; a bright aluminium rim (guesses)."""


class Brake(Section):
    """One wheel's friction brake."""

    kind: Literal["not_stated", "disc", "rim", "none"] = key("not_stated", "what the pads press on")
    mass_g: float | None = key(
        None,
        "of friction ring or rim; empty: disc 130, rim 500 (guess)",
        20,
        3000,
        tolerance=by_source("x/ 1.3", "5 %", "1 %", "guess; 1 %: a scale"),
    )
    specific_heat_j_per_kg_k: float | None = key(None, "empty: steel 460, aluminium rim 896", 100, 2000)
    diameter_mm: float | None = key(None, "of disc or rim; empty: disc 180, rim 622 (guess)", 80, 800)
    area_cm2: float | None = key(
        None,
        "in the air stream, both faces; empty: disc 298, rim 1368 (guess)",
        20,
        5000,
        tolerance=by_source("x/ 1.3", "5 %", "3 %", "guess"),
    )
    emissivity: float | None = key(
        None,
        "of its faces; empty: used steel 0.5, bright aluminium 0.2 (guess)",
        0,
        1,
        tolerance=by_source("x/ 1.4", "x/ 1.2", "5 %", "guess: bright to oxidised"),
    )
    cooling_factor: float = key(
        1.0,
        "of the published cooling; less behind a bag or a guard",
        0.1,
        5,
        tolerance=by_source("x/ 1.6", "x/ 1.4", "10 %", "disc, plate and free-disc correlations lie 2 to 5 apart"),
    )
    heat_share: float = key(
        0.95,
        "of the braking that heats it; the pads take the rest (default: guess)",
        0.3,
        1,
        tolerance=by_source(0.03, 0.02, None, "guess"),
    )
    limit_c: float | None = key(
        None,
        "hottest; empty: disc 250 (organic pads), rim 100 (tyre bead)",
        50,
        900,
        tolerance=by_source("10 %", "5 %", None, "guess: pads fade over a range"),
    )

    @property
    def lump(self) -> Lump:
        """The brake with what is left open filled in; one that is not stated counts as a disc."""
        usual = USUAL["rim" if self.kind == "rim" else "disc"]
        given = {name: getattr(self, name) for name in Lump._fields}
        return usual._replace(**{name: value for name, value in given.items() if value is not None})


class Brakes(Section):
    """Both wheels' friction brakes."""

    front_share: float | None = key(None, "of the braking by the front brake; empty: as the wheels are loaded", 0, 1)
    front: Brake = Field(default_factory=Brake, description="the front wheel's brake, for `ridesim descend`")
    rear: Brake = Field(default_factory=Brake, description="the rear wheel's brake, for `ridesim descend`")

    @property
    def stated(self) -> bool:
        """Whether the builder said what brakes the bike has."""
        return "not_stated" not in (self.front.kind, self.rear.kind)
