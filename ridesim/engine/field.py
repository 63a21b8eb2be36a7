"""Field weakening in a ride: how much current against the magnets there may be, and how much stands beside another."""

from __future__ import annotations

from ridesim.engine.circuit import draw_bound
from ridesim.engine.state import Limit, Parameters
from ridesim.jit import inner_kernel, rare_kernel
from ridesim.physics import controller


@rare_kernel
def most_field(p: Parameters, c: controller.Circuit) -> float:
    """Return the largest field current [A]: the controller's own, or what the pack can feed where that is less."""
    draw, _ = draw_bound(p, c)
    return min(p.field_current, controller.field_within_power(c, draw * (c.open_voltage - c.pack_resistance * draw)))


@inner_kernel
def field_holds(p: Parameters, c: controller.Circuit, current: float) -> bool:
    """Return whether field weakening keeps a motor current within the modulation limit."""
    return p.field_current > 0.0 and controller.field_needed(c, current, p.duty) <= most_field(p, c)


@inner_kernel
def field_beside(p: Parameters, c: controller.Circuit, current: float, limit: Limit) -> float:
    """Return the field current beside a motor current, >= 0 [A]; none once the diodes have taken over."""
    if p.field_current <= 0.0 or limit == Limit.OVER_SPEED:
        return 0.0
    return min(controller.field_needed(c, current, p.duty), most_field(p, c))
