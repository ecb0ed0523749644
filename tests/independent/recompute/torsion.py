"""Belts and couplings that twist: natural frequencies of the train, and the twist at a standstill (docs: Vibration)."""

from __future__ import annotations

from itertools import zip_longest
from math import inf, pi, sqrt

import numpy as np
from scipy.linalg import eigh

from tests.independent.recompute.facts import Facts, through
from tests.independent.recompute.rolling import spot
from tests.independent.recompute.swing import damping, static_torque
from tests.independent.recompute.verdict import UNKNOWN, Found
from tests.independent.values import diameter, known, of, si

_FAR = 100.0
"""Beyond so many times the lowest, no motor steps at such a rate."""
_NO_INERTIA = 1e-7
"""Of a body between two springs that has none, as a part of the rotor's: SciPy wants a mass matrix that is positive."""


def stiffnesses(facts: Facts) -> list[float | None]:
    """Of each gearing stage, as seen from its driving shaft; None where it is not stated."""
    return [known(stage, "torsional_stiffness") for stage in facts.machine["gearing"]]


def modes(facts: Facts) -> tuple[np.ndarray, np.ndarray]:
    """(natural frequencies in rad/s, the part's share in each): eigenvalues of stiffness and mass at the motor.

    The shares belong to a command that moves all of the train alike; they sum to 1.
    """
    rotor, bodies, springs, turns = si(facts.motor["rotor_inertia"]), [si(facts.motor["rotor_inertia"])], [], 1.0
    stated = [*stiffnesses(facts), *[None] * len(facts.stages)]
    for stage, spring in zip(facts.stages, stated, strict=False):
        bodies[-1] += stage.inertia_in / turns**2
        if spring is not None:
            springs.append(spring / turns**2)
            bodies.append(0.0)
        turns *= stage.ratio
        bodies[-1] += stage.inertia_out / turns**2
    bodies[-1] += facts.on_shaft / turns**2
    mass = np.diag([max(body, rotor * _NO_INERTIA) for body in bodies])
    stiff = np.zeros_like(mass)
    stiff[0, 0] = facts.teeth * static_torque(facts)
    for k, spring in enumerate(springs):
        stiff[k : k + 2, k : k + 2] += spring * np.array([[1, -1], [-1, 1]])
    squares, vectors = eigh(stiff, mass)
    shares = vectors[-1] * (vectors.T @ np.diag(mass))
    return np.sqrt(squares), shares


Bands = list[tuple[float, float]]


def spanned(facts: list[Facts]) -> list[Facts]:
    """The corners of what is assumed, with the bands of natural frequencies that they span together."""
    every = [natural_bands(each) for each in facts]
    for each in facts:
        rows = zip_longest(*every, fillvalue=(inf, 0.0))
        each.bands = [(min(low for low, _ in row), max(high for _, high in row)) for row in rows]
    return facts


def natural_bands(facts: Facts) -> Bands:
    """Lowest and highest of each natural frequency (rad/s): 10 % about the computed one, or as measured; or spanned."""
    if facts.bands is not None:
        return facts.bands
    frequencies, _ = modes(facts)
    upper = [(0.9 * w, 1.1 * w) for w in frequencies[1:] if w < _FAR * frequencies[0]]
    swing, turning = facts.machine.get("swing", {}), facts.total_inertia
    measured = known(swing, "frequency")
    if measured is None:
        return [(0.9 * frequencies[0], 1.1 * frequencies[0]), *upper]
    own = facts.roller_inertia if facts.rolling else si(facts.drive["inertia"])
    inertia = si(facts.motor["rotor_inertia"]) + through(facts.gearing, own + of(swing, "load_inertia"))
    current = si(facts.driver["current"])
    stiffness = inertia * (2 * pi * measured) ** 2 * current / of(swing, "current", current)
    natural = sqrt(stiffness / turning)
    share = of(swing, "frequency_uncertainty", 0.05) + 0.1 * (1 - min(turning, inertia) / max(turning, inertia))
    return [(natural * (1 - share), natural * (1 + share)), *upper]


def cruise_rate(facts: Facts) -> float:
    """Full steps/s of the cruise; none where the longest index is too short for one."""
    return facts.motion.peak * facts.ratio / (2 * pi) * facts.full_steps if facts.motion.cruises else 0.0


def resonance(facts: Facts) -> Found:
    """Outside f/k (1 -+ zeta), k = 1, 2, 3, of every f: the distance to the band's nearer edge as a part of it."""
    least, most = damping(facts)
    zeta = sqrt(least * most)
    rate = cruise_rate(facts)
    margins = []
    for lowest, highest in natural_bands(facts):
        for k in (1, 2, 3):
            low, high = lowest / (2 * pi) / k * (1 - zeta), highest / (2 * pi) / k * (1 + zeta)
            margins.append(max(((rate - high) / high, high), ((low - rate) / low, low)))
    margin, edge = min(margins, key=lambda pair: pair[0])
    return Found(rate, edge, facts.lacks("inertia"), advisory=facts.microsteps > 2, stated_margin=margin)


def twist(facts: Facts) -> Found | None:
    """How far imbalance and friction twist the train at a standstill, at the mark."""
    gearing, stated = facts.machine["gearing"], stiffnesses(facts)
    open_kinds = [stage.get("kind") in (None, "toothed-belt", "coupling") for stage in gearing]
    twisting = [wanted or spring is not None for wanted, spring in zip(open_kinds, stated, strict=True)]
    if not any(twisting):
        return None
    seen, compliance, turns = spot(facts), 0.0, 1.0
    for stage, spring in reversed(list(zip(facts.stages, [*stated, None], strict=False))):
        turns *= stage.ratio
        compliance += 1 / (spring * turns**2) if spring is not None else 0.0
    if seen is None:
        return UNKNOWN
    value = (facts.imbalance + facts.friction) * compliance * diameter(facts.part) / 2
    missing = any(wanted and spring is None for wanted, spring in zip(twisting, stated, strict=True))
    return Found(value, seen / 2, missing, advisory=True)


def mid_range(facts: Facts) -> Found:
    """The cruise beside max(f/2, f_c) to 2 max(f, f_c): f = 2 R/(pi L), f_c where the voltage limits the current."""
    every = [_hunting(facts, *winding) for winding in facts.windings]
    # with the resistance f rises and f_c falls: between the ends of a range both may be at their least
    low = max(min(alone for alone, _ in every) / 2, min(corner for _, corner in every))
    high = 2 * max(max(pair) for pair in every)
    rate = cruise_rate(facts)
    margin, edge = max(((rate - high) / high, high), ((low - rate) / low, low))
    return Found(rate, edge, advisory=True, stated_margin=margin)


def _hunting(facts: Facts, resistance: float, inductance: float) -> tuple[float, float]:
    """(f, f_c) of one winding, full steps/s."""
    current, voltage = si(facts.driver["current"]), si(facts.driver["supply_voltage"])
    voltage *= 4 / pi if facts.microsteps == 1 else 1.0
    constant = si(facts.motor["holding_torque"]) / (sqrt(2) * si(facts.motor["rated_current"]))
    # (R I + k w)^2 + (p w L I)^2 = V^2
    square = constant**2 + (facts.teeth * inductance * current) ** 2
    half, rest = resistance * current * constant, (resistance * current) ** 2 - voltage**2
    corner = (sqrt(max(0.0, half**2 - square * rest)) - half) / square if rest < 0 else 0.0
    return 2 / pi * resistance / inductance, corner / (2 * pi) * facts.full_steps
