"""The plane equilibrium of a part on two rows of rollers (docs: Rollers)."""

from __future__ import annotations

from math import cos, inf, sin, sqrt, tan
from typing import Protocol

G = 9.80665


class OnRollers(Protocol):
    """What the equilibrium needs to know; row 1 is driven."""

    weight: float
    inertia: float
    contact: float
    roller: float
    beta: float
    arm: float
    one_row: bool
    idle_inertia: float
    idle_torque: float
    stop_torque: float


def forces(
    facts: OnRollers, acceleration: float, load: float, sense: int, lift: float = 0.0, across: float = 0.0
) -> tuple[float, float, float, float]:
    """(N_1, N_2, F_1, F_2), row 1 driven, of a part that turns with `sense` and is accelerated (both signed).

    `lift` (N, upward) and `across` (N, toward row 2) pull on it besides its weight.

    The plane equilibrium of the page, its linear equations solved by elimination: one row driven.
    """
    weight, b = facts.weight - lift, facts.beta
    r, d = facts.contact / 2, facts.roller / 2
    push = facts.inertia * acceleration + load + facts.stop_torque * sense
    if not facts.one_row:
        return _both(facts, push, sense, weight, across)
    dragged = facts.idle_inertia * acceleration * facts.contact / facts.roller + facts.idle_torque * sense
    # F_2 = -(dragged + f N_2 sense)/d; F_1 = (push + f (N_1 + N_2) sense)/r - F_2
    f = facts.arm * sense
    # Sum S = N_1 + N_2 and difference E = N_2 - N_1: E = cot(b) (push + f S)/r, and
    # S cos(b) = weight + sin(b) (F_1 - F_2), with F_1 - F_2 = (push + f S)/r - 2 F_2.
    cot = 1 / tan(b)
    # N_2 = (S + E)/2 = (S (1 + cot f/r) + cot push/r)/2
    slope, start = (1 + cot * f / r) / 2, (cot * push / r + across / sin(b)) / 2
    # F_1 - F_2 = push/r + f S/r + 2 (dragged + f (slope S + start))/d
    per_sum = f / r + 2 * f * slope / d
    at_none = push / r + 2 * (dragged + f * start) / d
    total = (weight + sin(b) * at_none) / (cos(b) - sin(b) * per_sum)
    second = slope * total + start
    traction = -(dragged + f * second) / d
    return total - second, second, (push + f * total) / r - traction, traction


def _both(facts: OnRollers, push: float, sense: int, weight: float, across: float) -> tuple[float, float, float, float]:
    """Two rows driven, each its share F_1/N_1 = F_2/N_2: S^2 + F^2 + F across/cos(b) = S weight/cos(b); larger root.

    r F = push + f S.
    """
    b, r, f = facts.beta, facts.contact / 2, facts.arm * sense
    square, linear = 1 + (f / r) ** 2, 2 * push * f / r**2 + (across * f / r - weight) / cos(b)
    rest = (push / r) ** 2 + across * push / r / cos(b)
    inside = linear**2 - 4 * square * rest
    if inside < 0:
        return -inf, -inf, inf, inf  # nothing carries the traction: it climbs out
    total = (sqrt(inside) - linear) / (2 * square)
    force = (push + f * total) / r
    apart = force / tan(b) + across / sin(b)
    first, second = (total - apart) / 2, (total + apart) / 2
    return first, second, force * first / total, force * second / total
