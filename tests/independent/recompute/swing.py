"""Rotor and load on the magnetic spring (docs: Motor, Vibration)."""

from __future__ import annotations

from math import pi, sqrt

from tests.independent.recompute.facts import Facts, through
from tests.independent.values import known, of, si


def torque_constant(facts: Facts) -> float:
    return si(facts.motor["holding_torque"]) / (sqrt(2) * si(facts.motor["rated_current"]))


def static_torque(facts: Facts) -> float:
    """Peak of the static torque at the set current: two whole phases in full steps that are said not to be shaped."""
    two = facts.microsteps == 1 and facts.driver.get("current_shaped") is False
    return torque_constant(facts) * si(facts.driver["current"]) * (sqrt(2) if two else 1.0)


def spanned(facts: list[Facts]) -> list[Facts]:
    """The corners of what is assumed, with the band of natural frequencies that they span together."""
    bands = [natural_band(each) for each in facts]
    for each in facts:
        each.band = min(low for low, _ in bands), max(high for _, high in bands)
    return facts


def natural_band(facts: Facts) -> tuple[float, float]:
    """Lowest and highest natural frequency (rad/s): 10 % about the computed one, or as measured; or as spanned."""
    if facts.band is not None:
        return facts.band
    swing, turning = facts.machine.get("swing", {}), facts.total_inertia
    measured = known(swing, "frequency")
    if measured is None:
        natural = sqrt(facts.teeth * static_torque(facts) / turning)
        return 0.9 * natural, 1.1 * natural
    own = facts.roller_inertia if facts.rolling else si(facts.drive["inertia"])
    inertia = si(facts.motor["rotor_inertia"]) + through(facts.gearing, own + of(swing, "load_inertia"))
    current = si(facts.driver["current"])
    stiffness = inertia * (2 * pi * measured) ** 2 * current / of(swing, "current", current)
    natural = sqrt(stiffness / turning)
    share = of(swing, "frequency_uncertainty", 0.05) + 0.1 * (1 - min(turning, inertia) / max(turning, inertia))
    return natural * (1 - share), natural * (1 + share)


def damping(facts: Facts) -> tuple[float, float]:
    """Least and most damping ratio."""
    swing = facts.machine.get("swing", {})
    measured = known(swing, "damping_ratio")
    if measured is None:
        return 0.05, 0.2
    share = of(swing, "damping_uncertainty", 0.2)
    return measured * (1 - share), measured * (1 + share)
