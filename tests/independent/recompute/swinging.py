"""Limits of the part as it swings: torque, grip and seating at their peaks (docs: Vibration, Rollers)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from tests.independent.recompute.facts import Facts
from tests.independent.recompute.motor import needed, torque_limit
from tests.independent.recompute.ringing import swings
from tests.independent.recompute.rolling import friction_needed, seat_lost
from tests.independent.recompute.verdict import Found

ALLOWED = 1.2
"""How many times the true peak of a swing the program may take, for lengths it takes together: on the safe side."""


def on_the_safe_side(limit: Callable[[Facts], Found | None]) -> Callable[[Facts], Found | None]:
    """`limit` of the true swing, and of the largest that may be counted with."""

    def both(facts: Facts) -> Found | None:
        found, most = limit(facts), limit(replace(facts, allowed=ALLOWED, missing={}))
        return replace(found, most=most) if found is not None else None

    return both


def torque_peak(facts: Facts) -> Found:
    up, down = swings(facts)
    return torque_limit(facts, max(needed(facts, up, 0.0)[0], needed(facts, 0.0, down)[1]), 1.0)


def grip_peak(facts: Facts) -> Found | None:
    if not facts.rolling:
        return None
    return Found(friction_needed(facts, *swings(facts)), facts.mu_left, facts.lacks("friction", "imbalance", "inertia"))


def seating_peak(facts: Facts) -> Found | None:
    if not facts.rolling:
        return None
    return Found(seat_lost(facts, *swings(facts)), 1.0, facts.lacks("friction", "imbalance", "inertia"))
