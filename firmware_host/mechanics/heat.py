"""What a held motor heats and what a stopped mass sends back. SI throughout."""

from __future__ import annotations

import math

from firmware_host.mechanics.guard import require_not_negative, require_positive


def hold_copper_loss(rms_current: float, resistance: float) -> float:
    """2 I^2 R (W): copper loss with `rms_current` (A, >= 0) in each of two phases of `resistance` (ohm, > 0)."""
    require_not_negative("rms current", rms_current, "A")
    require_positive("phase resistance", resistance, "ohm")
    return 2.0 * rms_current**2 * resistance


def supply_voltage_rise(inertia: float, speed: float, supply_voltage: float, capacitance: float) -> float:
    """Rise (V) of the supply's voltage when a turning mass is stopped into it: sqrt(V^2 + 2 E/C) - V, E = J omega^2/2.

    Energy balance on the supply's capacitor, with nothing lost on the way: an upper bound. `inertia` >= 0 kg m^2 and
    `speed` rad/s on the same shaft; `supply_voltage` > 0 V; `capacitance` > 0 F.
    """
    require_not_negative("inertia", inertia, "kg m^2")
    require_positive("supply voltage", supply_voltage, "V")
    require_positive("supply capacitance", capacitance, "F")
    energy = inertia * speed**2 / 2
    return math.sqrt(supply_voltage**2 + 2 * energy / capacitance) - supply_voltage
