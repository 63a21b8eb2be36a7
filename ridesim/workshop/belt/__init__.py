"""Toothed belts: the calculators of the belt modules under one name."""

from __future__ import annotations

from ridesim.workshop.belt.fit import (
    PulleyPair,
    WheelPulleyFit,
    largest_teeth_in,
    outside_diameter_mm,
    pulley_pairs,
    wheel_pulley_fit,
)
from ridesim.workshop.belt.geometry import (
    BeltPath,
    DriveGeometry,
    PulleySpot,
    StockBelt,
    belt_length_mm,
    belt_path,
    centre_distance_mm,
    drive_geometry,
    nearest_stock_belts,
    pitch_diameter_mm,
)
from ridesim.workshop.belt.layout import (
    JoinedCheck,
    SharedShaft,
    StageCheck,
    TwoStageCheck,
    check_joined_motors,
    check_stage,
    check_two_stages,
)
from ridesim.workshop.belt.series import (
    PulleyLoad,
    SeriesCheck,
    SeriesLayout,
    SeriesRide,
    Span,
    check_motors_in_series,
    series_along_ride,
)
from ridesim.workshop.belt.shaft import Shaft, ShaftCheck, check_shaft
from ridesim.workshop.belt.strength import (
    BeltCapacity,
    BeltStage,
    BeltTensions,
    SkipMargin,
    belt_capacity,
    belt_speed_m_per_s,
    belt_tensions,
    centrifugal_tension_n,
    effective_pull_n,
    mesh_factor,
    service_factor,
    shaft_load_n,
    skip_margin,
    table_pull_n,
)
from ridesim.workshop.belt.tables import BELT_TYPES, BeltType, belt_type
from ridesim.workshop.belt.tension import (
    TensionSetting,
    TensionWindow,
    deflection_force_n,
    span_frequency_hz,
    tension_setting,
    tension_window,
    tensioner_words,
)

__all__ = [
    "BELT_TYPES", "BeltCapacity", "BeltPath", "BeltStage", "BeltTensions", "BeltType", "DriveGeometry",
    "JoinedCheck", "PulleyLoad", "PulleyPair", "PulleySpot", "SeriesCheck", "SeriesLayout", "SeriesRide",
    "Shaft", "ShaftCheck", "SharedShaft", "SkipMargin", "Span", "StageCheck", "StockBelt", "TensionSetting",
    "TensionWindow", "TwoStageCheck", "WheelPulleyFit", "belt_capacity", "belt_length_mm", "belt_path",
    "belt_speed_m_per_s", "belt_tensions", "belt_type", "centre_distance_mm", "centrifugal_tension_n",
    "check_joined_motors", "check_motors_in_series", "check_shaft", "check_stage", "check_two_stages",
    "deflection_force_n", "drive_geometry", "effective_pull_n", "largest_teeth_in", "mesh_factor",
    "nearest_stock_belts", "outside_diameter_mm", "pitch_diameter_mm", "pulley_pairs", "series_along_ride",
    "service_factor", "shaft_load_n", "skip_margin", "span_frequency_hz", "table_pull_n", "tension_setting",
    "tension_window", "tensioner_words", "wheel_pulley_fit",
]  # fmt: skip
