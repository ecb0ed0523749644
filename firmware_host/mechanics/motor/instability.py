"""Mid-range instability: step rates at which a stepping motor that its supply voltage feeds may hunt and drop out."""

from __future__ import annotations

import math
from collections.abc import Sequence

from firmware_host.mechanics.guard import require_positive
from firmware_host.mechanics.motor.torque import Winding

BAND_WIDTH = 2.0
"""How many times above and below its middle the band reaches: common practice, no source."""


def corner_speed(winding: Winding, peak_current: float, voltage: float) -> float:
    """Speed (rad/s, >= 0) from which on the supply can't drive `peak_current` (A, > 0) through the phases.

    |R I + k_T omega + j p omega L I| = `voltage` (V, > 0), current and back-EMF in phase; 0 where it never can.
    """
    require_positive("peak current", peak_current, "A")
    require_positive("supply voltage", voltage, "V")
    drop, back = winding.resistance * peak_current, winding.torque_constant
    reactance = winding.rotor_teeth * winding.inductance * peak_current
    square, linear, constant = back**2 + reactance**2, 2 * drop * back, drop**2 - voltage**2
    if constant >= 0:
        return 0.0
    return (-linear + math.sqrt(linear**2 - 4 * square * constant)) / (2 * square)


def mid_range_band(windings: Sequence[Winding], peak_current: float, voltage: float) -> tuple[float, float]:
    """(lowest, highest) full-step rate (steps/s) of the band to avoid, of any winding among or between `windings`.

    The instability lies near the rate at which the phases' angular frequency is R/L, (2/pi) R/L full steps/s (P.
    Acarnley, Stepping Motors, IET, 4th ed., section 5.5), of a motor that a voltage feeds. A driver that holds the
    current is no such feed, so the band begins no sooner than at `corner_speed`, and its middle lies no lower (from
    memory); how wide it is: `BAND_WIDTH`. L must be > 0, or the motor has none: then (inf, inf).
    """
    corners = [corner_speed(each, peak_current, voltage) * each.rotor_teeth * 2 / math.pi for each in windings]
    middles = [2 / math.pi * each.resistance / each.inductance if each.inductance else math.inf for each in windings]
    return max(min(middles) / BAND_WIDTH, min(corners)), BAND_WIDTH * max(*middles, *corners)
