"""How far the part swings on the magnetic spring in an index, in closed form (docs: Vibration).

The lag e after each jump of the commanded acceleration is a step response of the oscillator; between the jumps its
extremes lie where its slope is nothing. The worst of one natural frequency and one damping ratio at a time counts.
"""

from __future__ import annotations

from functools import lru_cache
from math import sqrt

import numpy as np

from tests.independent.recompute.facts import Facts
from tests.independent.recompute.swing import damping
from tests.independent.recompute.torsion import modes, natural_bands

_ANY = 1e6
_FREQUENCIES, _DAMPINGS = 41, 5


def swings(facts: Facts) -> tuple[float, float]:
    """Largest accelerations of the part as it swings: speeding up and braking."""
    pushing, holding = peaks(facts)
    return pushing * facts.motion.acceleration, holding * facts.motion.acceleration


def peaks(facts: Facts) -> tuple[float, float]:
    """Largest acceleration of the part over the commanded one: pushed on, and held back."""
    a, v = facts.motion.acceleration, facts.motion.speed
    lengths = sorted({round(length, 9) for length in facts.motion.lengths} or {round(facts.motion.longest, 9)})
    times = tuple((min(v / a, sqrt(d / a)), max(d / v, sqrt(d / a))) for d in lengths)
    frequencies, shares = modes(facts)
    band = natural_bands(facts)[0]
    single = _peaks(times, band, damping(facts))
    if len(shares) == 1:
        return facts.allowed * single[0], facts.allowed * single[1]
    if facts.allowed > 1.0:  # a bound over all that is assumed: only that it is never less is looked at
        return _ANY * single[0], _ANY * single[1]
    ratios = tuple(frequencies / frequencies[0])
    return _twisting_peaks(times, band, damping(facts), ratios, tuple(shares))


Times = tuple[tuple[float, float], ...]
Range = tuple[float, float]


@lru_cache(maxsize=512)
def _peaks(times: Times, band: Range, ratios: Range) -> tuple[float, float]:
    """Of one oscillator: the extremes of each stretch between two jumps, in closed form."""
    pushed = held = 0.0
    for zeta in np.linspace(*ratios, _DAMPINGS):
        w = np.linspace(*band, _FREQUENCIES)
        for ramp, until in times:
            most, least = _extremes(w, float(zeta), ramp, until)
            pushed, held = max(pushed, most), max(held, least)
    return pushed, held


@lru_cache(maxsize=512)
def _twisting_peaks(
    times: Times, band: Range, dampings: Range, ratios: tuple[float, ...], shares: tuple[float, ...]
) -> tuple[float, float]:
    """Of a train that twists: its modes added up, sampled in time; all frequencies lie off by the same part."""
    behind = ahead = 0.0
    for zeta in np.linspace(*dampings, 3):
        damped = sqrt(1 - zeta**2)
        for lowest in np.linspace(*band, 9):
            for ramp, until in times:
                jumps = [(0.0, 1.0), (ramp, -1.0), (until, -1.0), (until + ramp, 1.0)]
                longest = 8 * 2 * np.pi / lowest
                stretches = [
                    at + np.linspace(0.0, min(end - at, longest), 300)
                    for (at, _), end in zip(jumps, [*(at for at, _ in jumps[1:]), np.inf], strict=True)
                ]
                t, lag = np.concatenate(stretches), 0.0
                for at, size in jumps:
                    age = np.maximum(t - at, 0.0)
                    for ratio, share in zip(ratios, shares, strict=True):
                        w = lowest * ratio
                        swing = np.cos(w * damped * age) + zeta / damped * np.sin(w * damped * age)
                        lag = lag + size * share * (1 - np.exp(-zeta * w * age) * swing)
                behind, ahead = max(behind, float(np.max(lag))), max(ahead, -float(np.min(lag)))
    return behind, ahead


def _extremes(w: np.ndarray, zeta: float, ramp: float, until: float) -> tuple[float, float]:
    """Most that the load is pushed on and held back, over the commanded acceleration, whichever of `w` it is.

    Of the spring's pull and of the load's own acceleration. What swings on after the stop pushes either way, and so
    does what holds back a load that already runs backward.
    """
    damped, lead = sqrt(1 - zeta**2), np.exp(2j * np.arcsin(zeta))
    pole = w * complex(-zeta, damped)
    # 1 - exp(-zeta w t) (cos + zeta/damped sin) = Re(1 + c exp(pole t)) with c = -(1 - j zeta/damped)
    c = -complex(1.0, -zeta / damped)
    jumps = [(0.0, 1.0), (ramp, -1.0), (until, -1.0), (until + ramp, 1.0)]
    ends = [*(at for at, _ in jumps[1:]), np.inf]
    phasor, steady, last = np.zeros_like(pole), 0.0, 0.0
    pushed = held = 0.0
    for (at, size), end in zip(jumps, ends, strict=True):
        phasor = phasor * np.exp(pole * (at - last)) + size * c
        steady, last = steady + size, at
        for turned in (phasor, phasor * lead):
            first = (np.pi / 2 - np.angle(turned * pole)) % np.pi / (w * damped)
            times = [np.zeros_like(w), *(first + k * np.pi / (w * damped) for k in range(3))]
            values = [steady + (turned * np.exp(pole * np.minimum(when, end - at))).real for when in times]
            pushed, held = max(pushed, float(np.max(values))), max(held, -float(np.min(values)))
        if end == np.inf:
            pushed = max(pushed, -float(np.min(values)))
        elif steady < 0:
            pushed = max(pushed, _backward(w, pole, phasor, lead, ramp))
    return pushed, held


def _backward(w: np.ndarray, pole: np.ndarray, phasor: np.ndarray, lead: complex, ramp: float) -> float:
    """Most that holds the load back while it runs backward during the last ramp, which lasts `ramp`."""
    t = ramp * np.linspace(0.0, 1.0, 200)[:, None]
    swing = phasor * np.exp(pole * t)
    speed = (ramp - t) - (swing * pole).real / w**2
    pull = np.where(speed < 0, -np.minimum(-1 + swing.real, -1 + (swing * lead).real), 0.0)
    return float(pull.max())
