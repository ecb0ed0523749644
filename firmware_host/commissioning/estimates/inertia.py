"""Inertia from timed swings, a run-down or a known ring, each with its uncertainty. SI; angles rad; pure.

Small swings of a body about an axis, energy balance: textbooks of mechanics and of vibration (S. S. Rao, Mechanical
Vibrations, chapter 2, from memory); the bifilar suspension also as in laboratory manuals of physics (University of
Hyderabad, "Bifilar pendulum"). The uncertainties: JCGM 100:2008, 5.1.2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from firmware_host.commissioning.estimates.fits import Line, line_through
from firmware_host.commissioning.estimates.measured import Measured, combined, mean_of, of_limits
from firmware_host.commissioning.estimates.sensible import require_sizes
from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.guard import require_positive

WIDE_WITHIN = 0.2
"""How well the width of a swing is seen, plus-minus a part of itself: it only corrects the period."""


def period(times: Sequence[float], swings: float, half_width: float, within: float) -> Measured:
    """Period (s) of small swings, from times (s, each good to `within`) of `swings` (> 0) full swings to and fro.

    `half_width` (rad, 0 to 1): mean of a swing to one side; so wide a pendulum is slower by 1 + half_width^2/16 (the
    first term of the elliptic integral); dry friction makes swings smaller and leaves their period as it is.
    """
    require_positive("number of swings", swings)
    if not 0 <= half_width <= 1:
        raise FormulaRangeError("width of a swing", math.degrees(half_width), "deg", 57.0, "Swing less wide")
    for each in times:
        require_sizes(time_of_the_swings=each)
    mean = mean_of(times, 0.0).no_better_than(of_limits(within) / math.sqrt(len(times)))
    slower = 1 + half_width**2 / 16
    doubt = Measured(1.0, of_limits(2 * WIDE_WITHIN * half_width**2 / 16))
    value = mean.value / swings / slower
    return combined(value, [(1 / swings / slower, mean), (value, doubt)])


def by_pendulum(mass: Measured, arm: Measured, one_side: Measured, other_side: Measured) -> Measured:
    """Inertia (kg m^2) of a body that turns on its axis, by a weight clamped to it: J = 2 m g R/(w1^2 + w2^2) - m R^2.

    `mass` (kg) at `arm` (m) from the axis; the periods (s) with it at one side of the body and at the other one. What
    the body's own imbalance adds to gravity at the one side it takes at the other, so of a small one nothing is left.
    """
    require_sizes(mass=mass.value, arm=arm.value, time_of_a_swing=min(one_side.value, other_side.value))
    squares = [(2 * math.pi / each.value) ** 2 for each in (one_side, other_side)]
    both = sum(squares)
    turning = 2 * mass.value * STANDARD_GRAVITY * arm.value / both
    value = turning - mass.value * arm.value**2
    by_arm = turning / arm.value - 2 * mass.value * arm.value
    by_periods = [
        2 * turning * square / both / each.value for square, each in zip(squares, (one_side, other_side), strict=True)
    ]
    return combined(
        value,
        [(value / mass.value, mass), (by_arm, arm), (by_periods[0], one_side), (by_periods[1], other_side)],
    )


def by_bifilar(mass: Measured, apart: Measured, length: Measured, swing: Measured) -> Measured:
    """Inertia (kg m^2) of a body of `mass` (kg) that hangs on two upright cords: J = m g d^2 T^2/(16 pi^2 L).

    `apart` d and `length` L of the cords (m), `swing` T the period (s) as it turns to and fro between them.
    """
    require_sizes(mass=mass.value, distance=apart.value, length=length.value, time_of_a_swing=swing.value)
    value = mass.value * STANDARD_GRAVITY * (apart.value * swing.value / math.pi) ** 2 / (16 * length.value)
    shares = ((1.0, mass), (2.0, apart), (-1.0, length), (2.0, swing))
    return combined(value, [(power * value / each.value, each) for power, each in shares])


def by_run_down(
    times: Sequence[float], speeds: Sequence[float], friction: Measured, within: float
) -> tuple[Measured, Line]:
    """Inertia (kg m^2) from how quickly `friction` (N m) alone stops it: J = T_f/|slope| of the speeds (rad/s).

    At `times` (s), n >= 3; each speed is good to `within`. The line is returned, too: a bend says that the friction is
    none that stays. Raises `FormulaRangeError` where it doesn't slow down.
    """
    require_sizes(friction_torque=friction.value)
    line = line_through(times, speeds)
    slope = line.slope_read_to(within)
    if slope.highest >= 0:
        raise FormulaRangeError("slowing down", -slope.value, "rad/s^2", 0.0, "Read over a longer time")
    value = friction.value / -slope.value
    return combined(value, [(value / friction.value, friction), (value / slope.value, slope)]), line


def ring_inertia(mass: Measured, outer: Measured, inner: Measured) -> Measured:
    """Of a ring about its own axis, m (D^2 + d^2)/8 (kg m^2), its diameters in m."""
    require_sizes(mass=mass.value, outer_diameter=outer.value)
    value = mass.value * (outer.value**2 + inner.value**2) / 8
    terms = [(value / mass.value, mass), *((mass.value * each.value / 4, each) for each in (outer, inner))]
    return combined(value, terms)


def by_ring(ring: Measured, without: Measured, with_it: Measured) -> Measured:
    """Inertia (kg m^2) that swings at `without` (Hz), and with a `ring` on it more slowly: J_ring/((f0/f1)^2 - 1).

    The spring is the same both times, so it cancels. Raises `FormulaRangeError` where the ring makes no difference.
    """
    require_sizes(ring=ring.value, frequency=min(without.value, with_it.value))
    ratio = (without.value / with_it.value) ** 2
    if ratio <= 1:
        raise FormulaRangeError("frequency with the ring", with_it.value, "Hz", without.value, "Take a heavier ring")
    value = ring.value / (ratio - 1)
    by_frequency = 2 * value * ratio / (ratio - 1)
    return combined(
        value,
        [(value / ring.value, ring), (by_frequency / without.value, without), (by_frequency / with_it.value, with_it)],
    )
