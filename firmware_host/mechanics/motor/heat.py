"""What a motor's copper heats, over a cycle too, and how warm that makes it. SI; temperatures in degrees Celsius."""

from __future__ import annotations

import math

from firmware_host.mechanics.guard import require_at_most, require_not_negative, require_positive

COPPER_TEMPERATURE_COEFFICIENT = 3.93e-3
"""Rise of copper's resistance per kelvin, as a part of that at 20 degC (IEC 60028, annealed copper standard)."""

REFERENCE_CELSIUS = 20.0
"""Temperature that a stated resistance is for (IEC 60028; motor data sheets say 20 or 25 degC)."""


def hold_copper_loss(rms_current: float, resistance: float) -> float:
    """2 I^2 R (W): copper loss with `rms_current` (A, >= 0) in each of two phases of `resistance` (ohm, > 0)."""
    require_not_negative("rms current", rms_current, "A")
    require_positive("phase resistance", resistance, "ohm")
    return 2.0 * rms_current**2 * resistance


def sine_copper_loss(peak_current: float, resistance: float) -> float:
    """I^2 R (W): loss of two phases that carry the sine and the cosine of `peak_current` (A, >= 0), at any angle."""
    require_not_negative("peak current", peak_current, "A")
    return hold_copper_loss(peak_current / math.sqrt(2), resistance)


def cycle_loss(moving_loss: float, moving_time: float, holding_loss: float, holding_time: float) -> float:
    """Mean loss (W) of a cycle that moves `moving_time` s (> 0) and holds `holding_time` s (>= 0); losses W, >= 0.

    The time average: right where the cycle is short beside the motor's thermal time constant (tens of minutes for the
    case, common practice, no source).
    """
    require_not_negative("loss while moving", moving_loss, "W")
    require_not_negative("loss while holding", holding_loss, "W")
    require_positive("moving time", moving_time, "s")
    require_not_negative("holding time", holding_time, "s")
    return (moving_loss * moving_time + holding_loss * holding_time) / (moving_time + holding_time)


def winding_rise(loss_at_reference: float, thermal_resistance: float, ambient_celsius: float) -> float:
    """Steady rise (K) of the winding over `ambient_celsius` for a copper loss (W, >= 0) as computed at 20 degC.

    The winding warms by R_th P, and its resistance by `COPPER_TEMPERATURE_COEFFICIENT` per kelvin at a current that
    the driver holds: rise = R_th P_20 (1 + alpha (ambient + rise - 20)), solved for the rise. Infinite where that has
    no solution (it runs away). `thermal_resistance` > 0 K/W, winding to air. Iron losses are left out.
    """
    require_not_negative("copper loss", loss_at_reference, "W")
    require_positive("thermal resistance", thermal_resistance, "K/W")
    require_at_most("ambient temperature", ambient_celsius, 1000.0, "degC")
    cold = thermal_resistance * loss_at_reference
    feedback = 1.0 - COPPER_TEMPERATURE_COEFFICIENT * cold
    if feedback <= 0:
        return math.inf
    return cold * (1.0 + COPPER_TEMPERATURE_COEFFICIENT * (ambient_celsius - REFERENCE_CELSIUS)) / feedback
