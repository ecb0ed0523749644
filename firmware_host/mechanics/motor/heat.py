"""What a motor's copper heats, over a cycle too, and how warm that makes it. SI; temperatures in degrees Celsius."""

from __future__ import annotations

import math

import numpy as np

from firmware_host.mechanics.guard import (
    FloatArray,
    FloatOrArray,
    require_at_most,
    require_not_negative,
    require_positive,
)
from firmware_host.mechanics.motor.phases import PhaseMode

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


def standing_copper_loss(current: float, resistance: float, mode: PhaseMode) -> float:
    """Copper loss (W) at the warmest place that the motor may stand at, `current` A (>= 0) as set; Joule's law.

    I^2 R, or 2 I^2 R where both phases carry all of it; `resistance` R > 0 ohm.
    """
    return mode.standing_loss_share * sine_copper_loss(current, resistance)


def moving_copper_loss(current: float, resistance: float, mode: PhaseMode) -> float:
    """Mean copper loss (W) from step to step, `current` A (>= 0) as set, `resistance` > 0 ohm; Joule's law."""
    return mode.moving_loss_share * sine_copper_loss(current, resistance)


def iron_loss(
    mean_speed: FloatOrArray, peak_speed: FloatOrArray, rated_copper_loss: float, equal_speed: float
) -> FloatArray:
    """Mean iron loss (W, >= 0) over a move with these speeds (rad/s, 0 <= mean <= peak), an upper bound.

    P (v_mean/v_e) max(1, v_peak/v_e): as large as `rated_copper_loss` P (I^2 R at the rated current, W, > 0) at the
    steady speed `equal_speed` v_e (rad/s, > 0), with the speed below and with its square above. Hysteresis goes with
    the frequency and eddy currents with its square (Electronic Design, "How to build a low-loss stepper motor"), so
    the larger of the two lies above any mixture, and the mean square of a speed is at most its mean times its peak.
    """
    require_not_negative("mean speed", mean_speed, "rad/s")
    require_not_negative("peak speed", peak_speed, "rad/s")
    require_positive("copper loss at the rated current", rated_copper_loss, "W")
    require_positive("speed of equal losses", equal_speed, "rad/s")
    return np.asarray(rated_copper_loss * mean_speed / equal_speed * np.maximum(1.0, peak_speed / equal_speed))


def cycle_loss(
    moving_loss: FloatOrArray, moving_time: FloatOrArray, holding_loss: float, holding_time: float
) -> FloatOrArray:
    """Mean loss (W) of a cycle that moves `moving_time` s (> 0) and holds `holding_time` s (>= 0); losses W, >= 0.

    The time average: right where the cycle is short beside the motor's thermal time constant (tens of minutes for the
    case, common practice, no source).
    """
    require_not_negative("loss while moving", moving_loss, "W")
    require_not_negative("loss while holding", holding_loss, "W")
    require_positive("moving time", moving_time, "s")
    require_not_negative("holding time", holding_time, "s")
    return (moving_loss * moving_time + holding_loss * holding_time) / (moving_time + holding_time)


def warmest_cycle_loss(
    moving_loss: FloatOrArray, moving_time: float, holding_loss: float, holding_time: float, time_constant: float
) -> float:
    """The steady loss (W) that would warm as far as the cycle does at its warmest moment, once it repeats itself.

    A first-order body of `time_constant` (s, > 0) under losses (W, >= 0) that change between moving, for
    `moving_time` s (> 0), and holding, for `holding_time` s (>= 0): at the end of the hotter part, of loss P_h and time
    t_h, beside P_c and t_c, it is (P_h (1 - a) + P_c (1 - b) a)/(1 - a b) with a = exp(-t_h/tau), b = exp(-t_c/tau).
    It lies between `cycle_loss`, where the cycle is short, and the greater loss, where it is long.
    """
    cycle_loss(moving_loss, moving_time, holding_loss, holding_time)  # the same ranges hold
    require_positive("time constant", time_constant, "s")
    hot, cold = sorted(((float(moving_loss), moving_time), (holding_loss, holding_time)), reverse=True)
    if hot[1] == 0:
        return cold[0]
    left_of_hot, left_of_cold = (math.exp(-part[1] / time_constant) for part in (hot, cold))
    warmest = hot[0] * (1 - left_of_hot) + cold[0] * (1 - left_of_cold) * left_of_hot
    return warmest / -math.expm1(-(hot[1] + cold[1]) / time_constant)


def winding_rise(loss_at_reference: FloatOrArray, thermal_resistance: float, ambient_celsius: float) -> FloatArray:
    """Steady rise (K) of the winding over `ambient_celsius` for a loss (W, >= 0) as computed at 20 degC.

    The winding warms by R_th P, and its resistance by `COPPER_TEMPERATURE_COEFFICIENT` per kelvin at a current that
    the driver holds: rise = R_th P_20 (1 + alpha (ambient + rise - 20)), solved for the rise. Infinite where that has
    no solution (it runs away). `thermal_resistance` > 0 K/W, winding to air. Iron loss that is part of the loss counts
    as if it rose with the copper's and began in the winding: on the safe side.
    """
    require_not_negative("loss at 20 degC", loss_at_reference, "W")
    require_positive("thermal resistance", thermal_resistance, "K/W")
    require_at_most("ambient temperature", ambient_celsius, 1000.0, "degC")
    cold = thermal_resistance * loss_at_reference
    feedback = np.asarray(1.0 - COPPER_TEMPERATURE_COEFFICIENT * cold)
    warm = cold * (1.0 + COPPER_TEMPERATURE_COEFFICIENT * (ambient_celsius - REFERENCE_CELSIUS))
    return np.where(feedback > 0, warm / np.where(feedback > 0, feedback, 1.0), math.inf)
