"""Leads, fuse, strips, plugs and pre-charge: the calculators of the wire modules under one name."""

from __future__ import annotations

from ridesim.workshop.wire.contacts import (
    CONNECTORS,
    Connector,
    ConnectorCheck,
    StripCheck,
    check_connector,
    check_strip,
    strip_resistance_mohm,
)
from ridesim.workshop.wire.fuse import FUSE_SERIES, FuseChoice, FuseSeries, choose_fuse
from ridesim.workshop.wire.heat import (
    air_properties,
    lead_loss_w_per_m,
    steady_current_limit_a,
    steady_temp_c,
    surface_loss_w_per_m,
)
from ridesim.workshop.wire.lead import (
    LeadCheck,
    LeadChoice,
    LeadKind,
    LeadLoad,
    check_lead,
    choose_lead,
    conductor_rms_a,
    voltage_drop_v,
)
from ridesim.workshop.wire.precharge import Precharge, check_precharge, choose_precharge, inrush_current_a
from ridesim.workshop.wire.ride import (
    LeadRide,
    lead_along_ride,
    preece_fusing_current_a,
    short_time_current_a,
    short_time_s,
    short_time_temp_c,
)
from ridesim.workshop.wire.tables import (
    INSULATIONS,
    Insulation,
    Wire,
    WireSystem,
    awg_diameter_mm,
    bounded_insulation,
    grouping_factor,
    heat_capacity_j_per_m_k,
    insulation,
    outer_diameter_mm,
    standard_wires,
    wire_awg,
    wire_mm2,
)

__all__ = [
    "CONNECTORS", "FUSE_SERIES", "INSULATIONS", "Connector", "ConnectorCheck", "FuseChoice", "FuseSeries",
    "Insulation", "LeadCheck", "LeadChoice", "LeadKind", "LeadLoad", "LeadRide", "Precharge", "StripCheck", "Wire",
    "WireSystem", "air_properties", "awg_diameter_mm", "bounded_insulation", "check_connector", "check_lead",
    "check_precharge", "check_strip", "choose_fuse", "choose_lead", "choose_precharge", "conductor_rms_a",
    "grouping_factor", "heat_capacity_j_per_m_k", "inrush_current_a", "insulation", "lead_along_ride",
    "lead_loss_w_per_m",
    "outer_diameter_mm", "preece_fusing_current_a", "short_time_current_a", "short_time_s", "short_time_temp_c",
    "standard_wires", "steady_current_limit_a", "steady_temp_c", "strip_resistance_mohm", "surface_loss_w_per_m",
    "voltage_drop_v", "wire_awg", "wire_mm2",
]  # fmt: skip
