"""Coasting and braking in closed form: m v' = -(A + B v + C v2), 4 A C > B2."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Coasting:
    """Constants [N], [N s/m], [N s2/m2], the moving mass with its rotating parts [kg] and the start speed [m/s].

    White and Korst (1972), SAE 720099, without the linear term: v = sqrt(a/b) tan(atan(v0 sqrt(b/a)) - sqrt(ab) t).
    With the bearings' linear term the square is completed.
    """

    constant: float
    linear: float
    square: float
    mass: float
    start: float

    @property
    def _root(self) -> float:
        return math.sqrt(4.0 * self.constant * self.square - self.linear**2)

    def _angle(self, speed: float) -> float:
        return math.atan((2.0 * self.square * speed + self.linear) / self._root)

    def time_to(self, speed: float = 0.0) -> float:
        """Time until the speed has fallen to `speed` [s]."""
        return 2.0 * self.mass / self._root * (self._angle(self.start) - self._angle(speed))

    def speed_at(self, time: float) -> float:
        """Speed after `time` [m/s]."""
        angle = self._angle(self.start) - self._root * time / (2.0 * self.mass)
        return (self._root * math.tan(angle) - self.linear) / (2.0 * self.square)

    def distance_at(self, time: float) -> float:
        """Distance after `time` [m]."""
        first = self._angle(self.start)
        last = first - self._root * time / (2.0 * self.mass)
        bent = self.mass / self.square * math.log(math.cos(last) / math.cos(first))
        return bent - self.linear * time / (2.0 * self.square)
