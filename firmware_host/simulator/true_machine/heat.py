"""How warm the motor of a true machine gets: the copper heats the case, the case the air.

Two bodies, each of one temperature (Newton's law of cooling between them, and to the air); the copper's resistance
rises as it warms. Both equations are linear, so a stretch of time at one current has a closed form.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from firmware_host.mechanics.motor.heat import COPPER_TEMPERATURE_COEFFICIENT, REFERENCE_CELSIUS, sine_copper_loss
from firmware_host.model import Machine
from firmware_host.model.base import stated
from firmware_host.simulator.true_machine.description import TrueMachine

_THERMAL_TIME_S = 1200.0
"""Time constant of a motor of which nobody says it: 20 min, from memory."""
_WINDING_TIME_S = 60.0
"""The same of the copper against its case: a minute, from memory."""
_INSIDE = 0.225
"""The winding's rise over the case, as a share of the case's over the air: 0.1 to 0.35, from memory."""
_ROOM = 20.0


class Warm(NamedTuple):
    """Temperatures, degC."""

    winding: float
    case: float


class Bodies(NamedTuple):
    """Of copper and case: heat capacities (J/K), resistances to the case and to the air (K/W), the air (degC)."""

    winding_capacity: float
    case_capacity: float
    to_case: float
    to_air: float
    air: float

    @classmethod
    def of(cls, true: TrueMachine, machine: Machine) -> Bodies:
        """Those of a true machine. Raises `InputError` for what neither file says.

        `thermal_resistance` is that of the winding to the air, `winding_inside` parts it; the time constants are those
        of the case with the copper against the air, and of the copper against the case.
        """
        motor = true.motor
        whole = (motor.thermal_resistance or stated(machine.motor.thermal_resistance, "motor.thermal_resistance")).si
        inside = motor.winding_inside if motor.winding_inside is not None else _INSIDE
        to_air = whole / (1 + inside)
        both = (motor.thermal_time.si if motor.thermal_time is not None else _THERMAL_TIME_S) / to_air
        copper = (motor.winding_time.si if motor.winding_time is not None else _WINDING_TIME_S) / (whole - to_air)
        copper = min(copper, both / 2)
        air = motor.ambient.si if motor.ambient is not None else _ROOM
        return cls(copper, both - copper, whole - to_air, to_air, air)

    @property
    def cold(self) -> Warm:
        """As warm as the air."""
        return Warm(self.air, self.air)

    def after(self, before: Warm, loss: float, lasts: float) -> Warm:
        """After `lasts` s (>= 0) at a current that loses `loss` W in copper of 20 degC.

        x' = A x + b about the air, so x = x_e + exp(A t)(x_0 - x_e), A x_e = -b; of a 2 by 2 matrix of half trace m,
        with q^2 = m^2 - det A, exp(A t) = e^(m t)(cosh(q t) I + sinh(q t)/q (A - m I)).
        """
        more = loss * COPPER_TEMPERATURE_COEFFICIENT
        heats = loss + more * (self.air - REFERENCE_CELSIUS)
        between, out = 1 / self.to_case, 1 / self.to_air
        a, b = (more - between) / self.winding_capacity, between / self.winding_capacity
        c, d = between / self.case_capacity, -(between + out) / self.case_capacity
        determinant = a * d - b * c
        pushed = heats / self.winding_capacity
        end = (-d * pushed / determinant, c * pushed / determinant)
        half = (a + d) / 2
        root = math.sqrt(half**2 - determinant)
        slow, fast = math.exp((half + root) * lasts), math.exp((half - root) * lasts)
        even, odd = (slow + fast) / 2, (slow - fast) / (2 * root)
        x, y = before.winding - self.air - end[0], before.case - self.air - end[1]
        return Warm(
            self.air + end[0] + even * x + odd * ((a - half) * x + b * y),
            self.air + end[1] + even * y + odd * (c * x + (d - half) * y),
        )


class Warmth:
    """The motor's temperatures as it moves and stands; cold when it is first heard of.

    It loses what its current makes of the copper: the set one while it moves, the standstill current otherwise, and
    nothing while it is let go of.
    """

    def __init__(self, true: TrueMachine, machine: Machine) -> None:
        self._true, self._machine = true, machine
        self._bodies: Bodies | None = None
        self._now_s, self._moving, self._standing = 0.0, 0.0, 0.0
        self._warm = Warm(math.nan, math.nan)
        self._energised = True

    def at(self, now_s: float) -> Warm:
        """At `now_s` s of the device's time, after a standstill until then. Raises `InputError`, see `Bodies.of`."""
        if self._bodies is None:
            self._begin(now_s)
        self._until(now_s, self._standing if self._energised else 0.0)
        return self._warm

    def moved(self, start_s: float, end_s: float) -> None:
        """A motion between the two, after a standstill; nothing where nobody has asked for a temperature yet."""
        self._energised = True
        if self._bodies is not None:
            self._until(start_s, self._standing)
            self._until(end_s, self._moving)

    def let_go(self) -> None:
        """Without current from the last known moment on, until it moves again."""
        self._energised = False

    def _begin(self, now_s: float) -> None:
        driver = self._machine.driver
        current = (self._true.motor.current or driver.current).si
        resistance = (self._true.motor.resistance or stated(self._machine.motor.resistance, "motor.resistance")).si
        self._moving = sine_copper_loss(current, resistance)
        self._standing = sine_copper_loss(current * driver.standstill_share, resistance)
        self._bodies = Bodies.of(self._true, self._machine)
        self._now_s, self._warm = now_s, self._bodies.cold

    def _until(self, now_s: float, loss: float) -> None:
        if self._bodies is not None and now_s > self._now_s:
            self._warm = self._bodies.after(self._warm, loss, now_s - self._now_s)
            self._now_s = now_s
