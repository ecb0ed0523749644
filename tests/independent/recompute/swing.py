"""Rotor and load on the magnetic spring (docs: Motor, Vibration)."""

from __future__ import annotations

from math import sqrt

from tests.independent.recompute.facts import Facts
from tests.independent.values import known, of, si


def torque_constant(facts: Facts) -> float:
    return si(facts.motor["holding_torque"]) / (sqrt(2) * si(facts.motor["rated_current"]))


def static_torque(facts: Facts) -> float:
    """Peak of the static torque at the set current: two whole phases in full steps that are said not to be shaped."""
    two = facts.microsteps == 1 and facts.driver.get("current_shaped") is False
    return torque_constant(facts) * si(facts.driver["current"]) * (sqrt(2) if two else 1.0)


def damping(facts: Facts) -> tuple[float, float]:
    """Least and most damping ratio."""
    swing = facts.machine.get("swing", {})
    measured = known(swing, "damping_ratio")
    if measured is None:
        return 0.05, 0.2
    share = of(swing, "damping_uncertainty", 0.2)
    return measured * (1 - share), measured * (1 + share)
