"""A round part in the trough of two rows of rollers: geometry, normal forces, grip.

Seen along the axis; part on top, one row on either side of it, all rollers of one diameter. Lengths m, forces N,
torques N m. A rotation is positive when the driven row's traction, pushing the part that way, also relieves the driven
row (its surface moves toward the middle of the trough). With one row driven the two senses differ, so whoever asks for
a limit has to take the worse of both: `friction_needed` and `grip_acceleration` do.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace
from enum import Enum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.contact.throw import CORNERS
from firmware_host.mechanics.contact.trough import AnyTrough, DrivenRows, Trough
from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_not_negative, require_positive


class Ramp(Enum):
    """Which ramp of a move: on one rolling friction adds to the traction, on the other it helps to stop."""

    UP = "speeding up"
    DOWN = "braking"


class ContactForces(NamedTuple):
    """Forces on the part, arrays as broadcast: normals in N, positive pressing; tractions in N along +rotation."""

    normal_driven: FloatArray
    normal_other: FloatArray
    traction_driven: FloatArray
    traction_other: FloatArray
    driven: DrivenRows

    @property
    def seated(self) -> NDArray[np.bool_]:
        """True where both rows press on the part."""
        return (self.normal_driven > 0) & (self.normal_other > 0)

    @property
    def friction_needed(self) -> FloatArray:
        """Friction coefficient |F|/N that the driven contacts need not to slip; infinite where a row has lifted."""
        traction, normal = self.traction_driven, self.normal_driven
        if self.driven is DrivenRows.BOTH:
            traction, normal = traction + self.traction_other, normal + self.normal_other
        return np.where(self.seated, np.abs(traction) / np.where(self.seated, normal, 1.0), np.inf)


def contact_forces(
    trough: AnyTrough,
    acceleration: FloatOrArray,
    load_torque: FloatOrArray = 0.0,
    direction: FloatOrArray = 1.0,
    *,
    lift: FloatOrArray = 0.0,
    across: FloatOrArray = 0.0,
) -> ContactForces:
    """Normals and tractions while the part turns in `direction` (+1 or -1) at `acceleration` (rad/s^2, signed).

    `load_torque` N m, signed: what the drive must hold against gravity on an imbalance. The arguments broadcast.
    Plane equilibrium of the part: no net force across (the tractions push it over, so the normals differ by
    cot(beta) times their sum), weight carried upward, and r (F_1 + F_2) = J alpha + load + lever arm * (N_1 + N_2).
    An idle row only drags: r_roller F = -(J_idle alpha_roller + its friction). Two driven rows share the traction in
    proportion to their normals, as they do when both are about to slip. `lift` (N, upward) and `across` (N, toward the
    other row): what pulls on the part besides its weight, such as m e omega^2 of an imbalance (m e alpha is left out).
    An axial stop's friction works against the turning, as the load does.
    """
    alpha, load, sense, up, over = (
        np.asarray(each, dtype=np.float64) for each in (acceleration, load_torque, direction, lift, across)
    )
    pressing = trough.weight - up
    part_radius = trough.part_diameter / 2
    fixed = (trough.part_inertia * alpha + load + trough.stop_torque * sense) / part_radius
    per_normal = trough.lever_arm * sense / part_radius
    if trough.driven is DrivenRows.BOTH:
        return _both_driven(trough, fixed, per_normal, pressing, over)
    return _one_driven(trough, fixed, per_normal, alpha, sense, pressing, over)


def _one_driven(
    trough: AnyTrough,
    fixed: FloatArray,
    per_normal: FloatArray,
    alpha: FloatArray,
    sense: FloatArray,
    pressing: FloatArray,
    across: FloatArray,
) -> ContactForces:
    """The equilibrium with an idle row, linear in the sum of the normals: net traction = fixed + per_normal * sum."""
    sine, cosine = np.sin(trough.half_angle), np.cos(trough.half_angle)
    roller_radius = trough.roller_diameter / 2
    roller_alpha = alpha * (trough.part_diameter / trough.roller_diameter)
    drag = (trough.idle_row_inertia * roller_alpha + trough.idle_friction_torque * sense) / roller_radius
    drag_per_normal = trough.lever_arm * sense / roller_radius
    pushed = pressing + drag_per_normal * across
    total = (pushed + 2 * sine * drag + (cosine * drag_per_normal + sine) * fixed) / (
        cosine - sine * drag_per_normal - (cosine * drag_per_normal + sine) * per_normal
    )
    net = fixed + per_normal * total
    shift = (net * cosine + across) / sine
    other = (total + shift) / 2
    dragged = -(drag + drag_per_normal * other)
    return ContactForces((total - shift) / 2, other, net - dragged, dragged, DrivenRows.ONE)


def _both_driven(
    trough: AnyTrough, fixed: FloatArray, per_normal: FloatArray, pressing: FloatArray, across: FloatArray
) -> ContactForces:
    """The equilibrium with shares u N of each row, the root with the larger sum of the normals.

    cos(beta) (sum^2 + net^2) + across net = pressing sum: pressing is m g without a lift.

    NaN where no sum carries the traction (more than m g/(2 cos beta) in all): the part climbs out.
    """
    sine, cosine = np.sin(trough.half_angle), np.cos(trough.half_angle)
    square = cosine * (1 + per_normal**2)
    linear = pressing - (2 * cosine * fixed + across) * per_normal
    under_root = linear**2 - 4 * square * (cosine * fixed + across) * fixed
    root = np.sqrt(np.where(under_root >= 0, under_root, np.nan))
    total = (linear + root) / (2 * square)
    net = fixed + per_normal * total
    shift = (net * cosine + across) / sine
    driven, other = (total - shift) / 2, (total + shift) / 2
    share = net / total
    return ContactForces(driven, other, share * driven, share * other, DrivenRows.BOTH)


def friction_needed(
    trough: AnyTrough,
    acceleration: FloatOrArray,
    imbalance_torque: FloatOrArray = 0.0,
    *,
    braking: FloatOrArray | None = None,
) -> FloatArray:
    """Largest friction coefficient the driven contacts need at +-`acceleration` (rad/s^2, >= 0), infinite if unseated.

    The worst of both directions, of speeding up and braking, and of every angle of an imbalance (`imbalance_torque`
    m g e >= 0 N m; the trough's throw). The grip holds while this is at most the friction coefficient. `braking`: the
    acceleration (rad/s^2, >= 0) while braking, where it is another than while speeding up.
    """
    worst: FloatArray = _cases(trough, acceleration, imbalance_torque, braking).friction_needed.max(axis=0)
    return worst


def smallest_normal(
    trough: Trough,
    acceleration: FloatOrArray,
    imbalance_torque: FloatOrArray = 0.0,
    *,
    braking: FloatOrArray | None = None,
) -> FloatArray:
    """Smallest normal force (N) of either row in the same worst cases; the part stays seated while it is positive.

    -inf where no equilibrium exists.
    """
    forces = _cases(trough, acceleration, imbalance_torque, braking)
    least = np.minimum(forces.normal_driven, forces.normal_other)
    worst: FloatArray = np.where(np.isnan(least), -np.inf, least).min(axis=0)
    return worst


def largest_contact_force(
    trough: Trough,
    acceleration: FloatOrArray,
    imbalance_torque: FloatOrArray = 0.0,
    *,
    braking: FloatOrArray | None = None,
) -> FloatArray:
    """Largest force (N) between the part and either row, normal and traction together, in the same worst cases.

    What one row's rollers carry. Infinite where no equilibrium exists.
    """
    forces = _cases(trough, acceleration, imbalance_torque, braking)
    rows = (
        np.hypot(forces.normal_driven, forces.traction_driven),
        np.hypot(forces.normal_other, forces.traction_other),
    )
    largest = np.max(np.maximum(*rows), axis=0)
    return np.where(np.isfinite(largest), largest, np.inf)


def unevenness(trough: Trough, acceleration: FloatOrArray, imbalance_torque: FloatOrArray = 0.0) -> FloatArray:
    """Largest |N_1 - N_2|/(N_1 + N_2) of the rows' normals in the same worst cases: 0 to 1, 1 where one has lifted."""
    forces = _cases(trough, acceleration, imbalance_torque)
    total = np.where(forces.seated, forces.normal_driven + forces.normal_other, 1.0)
    shares = np.where(forces.seated, np.abs(forces.normal_driven - forces.normal_other) / total, 1.0)
    worst: FloatArray = shares.max(axis=0)
    return worst


def grip_acceleration(
    trough: Trough, friction: float, imbalance_torque: float = 0.0, *, ramp: Ramp | None = None
) -> float:
    """`grip_accelerations` at one speed, rad/s^2."""
    return float(grip_accelerations(trough, friction, imbalance_torque, ramp=ramp))


def grip_accelerations(
    trough: Trough, friction: float, imbalance_torque: float = 0.0, *, ramp: Ramp | None = None
) -> FloatArray:
    """Acceleration of the part (rad/s^2, >= 0) at which the grip is used up or a row lifts, whichever is first.

    `friction` > 0: static coefficient of the driven contacts. 0 if even a part at constant speed slips; infinite if
    nothing ever does. With an idle row every force is linear in the acceleration, so each limit is one straight line's
    zero; with both rows driven the limit is at traction u N with u the smaller of `friction`, tan(beta) and 1, or by
    halving where the part throws. `ramp`: look at this one only, by default at both. The shape is that of the throw.
    """
    require_positive("friction coefficient", friction)
    require_not_negative("imbalance torque", imbalance_torque, "N m")
    if trough.driven is DrivenRows.BOTH:
        at_a_crawl = _grip_acceleration_both(trough, friction, imbalance_torque, ramp)
        if not np.any(trough.throw):
            return np.full(np.shape(trough.throw), at_a_crawl)
        return _halved(trough, friction, imbalance_torque, ramp, at_a_crawl)
    return _first_zero(trough, imbalance_torque, ramp, lambda forces: _margins(forces, friction))


def seat_accelerations(
    trough: Trough, least: float, imbalance_torque: float = 0.0, *, ramp: Ramp | None = None
) -> FloatArray:
    """Acceleration of the part (rad/s^2, >= 0) at which a row presses with no more than `least` N (>= 0).

    0 if one does so at constant speed; infinite if none ever does. Otherwise as `grip_accelerations`: by halving where
    both rows are driven.
    """
    require_not_negative("least normal force", least, "N")
    if trough.driven is DrivenRows.ONE:
        return _first_zero(trough, imbalance_torque, ramp, lambda forces: _seats(forces, least))
    top = np.maximum(grip_accelerations(trough, _NEVER_SLIPS, imbalance_torque, ramp=ramp), 1e-9)
    endless = np.isinf(top)
    low, high = np.zeros_like(top), np.where(endless, 0.0, top)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        up, down = (middle * (ramp is not other) for other in (Ramp.DOWN, Ramp.UP))
        kept = smallest_normal(trough, up, imbalance_torque, braking=down) >= least
        low, high = np.where(kept, middle, low), np.where(kept, high, middle)
    return np.where(endless, top, low)


def seat_by_ramp(trough: Trough, least: float, imbalance_torque: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """`seat_accelerations` while speeding up and while braking."""
    if trough.driven is DrivenRows.ONE:
        return _first_zeros(trough, imbalance_torque, lambda forces: _seats(forces, least))
    up, down = (seat_accelerations(trough, least, imbalance_torque, ramp=ramp) for ramp in (Ramp.UP, Ramp.DOWN))
    return up, down


def grip_by_ramp(trough: Trough, friction: float, imbalance_torque: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """`grip_accelerations` while speeding up and while braking."""
    if trough.driven is DrivenRows.ONE:
        return _first_zeros(trough, imbalance_torque, lambda forces: _margins(forces, friction))
    up, down = (grip_accelerations(trough, friction, imbalance_torque, ramp=ramp) for ramp in (Ramp.UP, Ramp.DOWN))
    return up, down


def _first_zero(
    trough: Trough, imbalance_torque: float, ramp: Ramp | None, margins: Callable[[ContactForces], FloatArray]
) -> FloatArray:
    """`_first_zeros` of one ramp, or the less of both."""
    up, down = _first_zeros(trough, imbalance_torque, margins)
    return np.minimum(up, down) if ramp is None else (up if ramp is Ramp.UP else down)


def _first_zeros(
    trough: Trough, imbalance_torque: float, margins: Callable[[ContactForces], FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """The least acceleration (rad/s^2, >= 0), speeding up and braking, at which one of `margins` is 0.

    Each is linear in it as with an idle row.
    """
    both = np.array([0.0, 1.0]).reshape(2, *(1,) * np.ndim(trough.throw))
    found = margins(_cases(trough, both, imbalance_torque))
    at_zero, slope = found[:, :, 0], found[:, :, 1] - found[:, :, 0]
    falling = slope < 0
    reached = np.where(falling, at_zero / np.where(falling, -slope, 1.0), np.inf)
    nothing = (at_zero < 0).any(axis=(0, 1))
    up = _speeding(trough)
    first, second = (np.where(nothing, 0.0, reached[:, those].min(axis=(0, 1))) for those in (up, ~up))
    return first, second


def _halved(
    trough: Trough, friction: float, imbalance_torque: float, ramp: Ramp | None, at_a_crawl: float
) -> FloatArray:
    """The most that `friction` allows, between nothing and what it allows without a throw (rad/s^2)."""
    low, high = np.zeros(np.shape(trough.throw)), np.full(np.shape(trough.throw), min(at_a_crawl, _NEVER_REACHED))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        up, down = (middle * (ramp is not other) for other in (Ramp.DOWN, Ramp.UP))
        grips = friction_needed(trough, up, imbalance_torque, braking=down) <= friction
        low, high = np.where(grips, middle, low), np.where(grips, high, middle)
    return low


def _grip_acceleration_both(trough: Trough, friction: float, imbalance_torque: float, ramp: Ramp | None) -> float:
    share = min(friction, math.tan(trough.half_angle), 1.0)
    total = trough.weight / (math.cos(trough.half_angle) * (1 + share**2))
    part_radius = trough.part_diameter / 2
    drag = trough.lever_arm * total + trough.stop_torque
    spare_torque = share * part_radius * total - imbalance_torque
    if spare_torque <= drag:
        return 0.0
    spare_torque += drag if ramp is Ramp.DOWN else -drag
    return spare_torque / trough.part_inertia if trough.part_inertia > 0 else math.inf


def _margins(forces: ContactForces, friction: float) -> FloatArray:
    """What must stay >= 0, linear in the acceleration: room to slip either way, both normals. Shape (4, cases, ...)."""
    room = friction * forces.normal_driven
    return np.stack(
        [room - forces.traction_driven, room + forces.traction_driven, forces.normal_driven, forces.normal_other]
    )


def _seats(forces: ContactForces, least: float) -> FloatArray:
    """By how much (N) each row presses with more than `least`. Shape (2, cases, ...)."""
    return np.stack([forces.normal_driven - least, forces.normal_other - least])


_HALVINGS, _NEVER_REACHED, _NEVER_SLIPS = 60, 1e9, 1e6

_SIGNS = np.array(list(itertools.product((1.0, -1.0), repeat=2))).T  # of acceleration and direction
_STANDING = np.array([(1.0, -1.0), (0.0, 0.0), (0.0, 0.0)])  # gravity is worst with the centre of mass across
_TURNING = np.concatenate([_STANDING, np.stack([CORNERS[0], *CORNERS])], axis=1)


def _with_signs(places: FloatArray) -> FloatArray:
    return np.concatenate([np.tile(places, _SIGNS.shape[1]), np.repeat(_SIGNS, places.shape[1], axis=1)])


_CASES_STANDING, _CASES_TURNING = _with_signs(_STANDING), _with_signs(_TURNING)


def _every_case(trough: AnyTrough) -> FloatArray:
    """Every place of the centre of mass with every sign of acceleration and direction, shape (5, cases).

    Of a place its part of the gravity torque, of the throw across and up; then the two signs. With a throw also without
    it: a ramp begins at a standstill, and what lies between the two is no worse than either.
    """
    return _CASES_TURNING if np.any(trough.throw) else _CASES_STANDING


def _speeding(trough: AnyTrough) -> NDArray[np.bool_]:
    """Which of the cases speed up, shape (cases,)."""
    *_, rising, direction = _every_case(trough)
    return np.asarray(rising * direction > 0)


def _cases(
    trough: AnyTrough,
    acceleration: FloatOrArray,
    imbalance_torque: FloatOrArray,
    braking: FloatOrArray | None = None,
) -> ContactForces:
    """Both signs of acceleration and direction, with the centre of mass at each place, along a new first axis."""
    require_not_negative("imbalance torque", imbalance_torque, "N m")
    up = require_not_negative("acceleration", acceleration, "rad/s^2")
    down = up if braking is None else require_not_negative("acceleration while braking", braking, "rad/s^2")
    throw = np.asarray(trough.throw)
    among = (np.ndim(each) for each in (trough.mass, trough.part_diameter, imbalance_torque))
    after = (-1, *(1,) * max(up.ndim, down.ndim, throw.ndim, *among))
    gravity, x, y, rising, direction = (each.reshape(after) for each in _every_case(trough))
    size = np.where(rising * direction > 0, up, down)
    torque = gravity * imbalance_torque
    return contact_forces(trough, rising * size, torque, direction, lift=y * throw, across=x * throw)


def rolling_drag_torque(trough: Trough) -> float:
    """`rolling_drag` of one part, N m."""
    return float(rolling_drag(trough))


def rolling_drag(trough: AnyTrough) -> FloatArray:
    """Torque (N m, >= 0, on the part's axis) that turning part and rollers takes at constant speed.

    Lever arm times normal force at each contact, once on the part and once on the roller, plus the idle row's bearings,
    each brought to the part with the speed ratio (power balance), plus the friction of an axial stop (that shifts the
    normals little, and is left out of them). The worse of both directions.
    """
    rollers_per_part = trough.part_diameter / trough.roller_diameter
    free = replace(trough, stop_torque=0.0)
    both_ways = [contact_forces(free, 0.0, 0.0, direction) for direction in (1.0, -1.0)]
    both_normals = np.maximum(*(forces.normal_driven + forces.normal_other for forces in both_ways))
    bearings = trough.idle_friction_torque if trough.driven is DrivenRows.ONE else 0.0
    rolling = trough.lever_arm * both_normals * (1 + rollers_per_part) + bearings * rollers_per_part
    return np.asarray(rolling + trough.stop_torque)
