"""A round part in the trough of two rows of rollers: geometry, normal forces, grip.

Seen along the axis; part on top, one row on either side of it, all rollers of one diameter. Lengths m, forces N,
torques N m. A rotation is positive when the driven row's traction, pushing the part that way, also relieves the driven
row (its surface moves toward the middle of the trough). With one row driven the two senses differ, so whoever asks for
a limit has to take the worse of both: `friction_needed` and `grip_acceleration` do.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.contact.support import weight_across
from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_not_negative, require_positive


class DrivenRows(Enum):
    """Which rows the motor turns."""

    ONE = "one"
    BOTH = "both"


class Ramp(Enum):
    """Which ramp of a move: on one rolling friction adds to the traction, on the other it helps to stop."""

    UP = "speeding up"
    DOWN = "braking"


def contact_half_angle(part_diameter: float, roller_diameter: float, centre_distance: float) -> float:
    """Angle beta (rad, 0 < beta < pi/2) of each contact from the vertical: sin beta = c/(D_part + D_roller).

    From the triangle of the three centres. All in m, > 0. `FormulaRangeError` if the part falls through the trough.
    """
    require_positive("part diameter", part_diameter, "m")
    require_positive("roller diameter", roller_diameter, "m")
    require_positive("centre distance of the rollers", centre_distance, "m")
    if centre_distance >= part_diameter + roller_diameter:
        raise FormulaRangeError(
            "part diameter",
            part_diameter,
            "m",
            centre_distance - roller_diameter,
            "The part falls through between the rollers: move the rows closer together",
        )
    return math.asin(centre_distance / (part_diameter + roller_diameter))


def normal_at_standstill(mass: float, half_angle: float, tilt: float = 0.0) -> float:
    """Normal force m g cos(tilt)/(2 cos beta) (N) on each row with nothing turning; `mass` > 0 kg, 0 < beta < pi/2."""
    return weight_across(mass, tilt) / (2 * math.cos(half_angle))


@dataclass(frozen=True, slots=True)
class Trough:
    """Part and rollers as the statics need them.

    `mass` > 0 kg and `part_inertia` >= 0 kg m^2 of the part; diameters and `centre_distance` in m (`part_diameter`
    where the rollers touch). `driven`: which rows. `idle_row_inertia` >= 0 kg m^2: the idle row's rollers together.
    `idle_friction_torque` >= 0 N m: their bearings together. `lever_arm` >= 0 m: rolling friction of each contact.
    `tilt` of the axis, rad, 0 level to below pi/2: what of the weight pulls across it presses on the rollers.
    """

    mass: float
    part_inertia: float
    part_diameter: float
    roller_diameter: float
    centre_distance: float
    driven: DrivenRows = DrivenRows.ONE
    idle_row_inertia: float = 0.0
    idle_friction_torque: float = 0.0
    lever_arm: float = 0.0
    tilt: float = 0.0

    def __post_init__(self) -> None:
        require_positive("mass", self.mass, "kg")
        require_not_negative("part inertia", self.part_inertia, "kg m^2")
        require_not_negative("inertia of the idle row", self.idle_row_inertia, "kg m^2")
        require_not_negative("bearing friction of the idle row", self.idle_friction_torque, "N m")
        require_not_negative("lever arm of rolling friction", self.lever_arm, "m")
        contact_half_angle(self.part_diameter, self.roller_diameter, self.centre_distance)

    @property
    def weight(self) -> float:
        """What presses into the trough, N."""
        return weight_across(self.mass, self.tilt)

    @property
    def half_angle(self) -> float:
        """Contact half-angle beta in rad."""
        return contact_half_angle(self.part_diameter, self.roller_diameter, self.centre_distance)


@dataclass(frozen=True, slots=True, eq=False)
class ManyTroughs:
    """Many parts that differ a little on the same rollers: `Trough` with arrays of shape (n,) in place of numbers."""

    mass: FloatArray
    part_inertia: FloatArray
    part_diameter: FloatArray
    roller_diameter: float
    centre_distance: float
    driven: DrivenRows
    idle_row_inertia: float
    idle_friction_torque: FloatArray
    lever_arm: FloatArray
    tilt: float = 0.0

    @property
    def weight(self) -> FloatArray:
        """What presses into the trough, N."""
        return self.mass * STANDARD_GRAVITY * math.cos(self.tilt)

    @property
    def half_angle(self) -> FloatArray:
        """Contact half-angles beta in rad; NaN where the part falls through."""
        sine = self.centre_distance / (self.part_diameter + self.roller_diameter)
        return np.asarray(np.arcsin(np.where(sine < 1, sine, np.nan)))


AnyTrough: TypeAlias = Trough | ManyTroughs
"""One part on its rollers, or many at once: then the results' last axis is theirs."""


@dataclass(frozen=True, slots=True)
class ContactForces:
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
    trough: AnyTrough, acceleration: FloatOrArray, load_torque: FloatOrArray = 0.0, direction: FloatOrArray = 1.0
) -> ContactForces:
    """Normals and tractions while the part turns in `direction` (+1 or -1) at `acceleration` (rad/s^2, signed).

    `load_torque` N m, signed: what the drive must hold against gravity on an imbalance. The arguments broadcast.
    Plane equilibrium of the part: no net force across (the tractions push it over, so the normals differ by
    cot(beta) times their sum), weight carried upward, and r (F_1 + F_2) = J alpha + load + lever arm * (N_1 + N_2).
    An idle row only drags: r_roller F = -(J_idle alpha_roller + its friction). Two driven rows share the traction in
    proportion to their normals, as they do when both are about to slip. The centre of mass' own acceleration on an
    imbalance (m e omega^2) is left out.
    """
    alpha, load, sense = np.broadcast_arrays(
        np.asarray(acceleration, dtype=np.float64),
        np.asarray(load_torque, dtype=np.float64),
        np.asarray(direction, dtype=np.float64),
    )
    part_radius = trough.part_diameter / 2
    fixed = (trough.part_inertia * alpha + load) / part_radius
    per_normal = trough.lever_arm * sense / part_radius
    if trough.driven is DrivenRows.BOTH:
        return _both_driven(trough, fixed, per_normal)
    return _one_driven(trough, fixed, per_normal, alpha, sense)


def _one_driven(
    trough: AnyTrough, fixed: FloatArray, per_normal: FloatArray, alpha: FloatArray, sense: FloatArray
) -> ContactForces:
    """The equilibrium with an idle row, linear in the sum of the normals: net traction = fixed + per_normal * sum."""
    sine, cosine = np.sin(trough.half_angle), np.cos(trough.half_angle)
    roller_radius = trough.roller_diameter / 2
    roller_alpha = alpha * (trough.part_diameter / trough.roller_diameter)
    drag = (trough.idle_row_inertia * roller_alpha + trough.idle_friction_torque * sense) / roller_radius
    drag_per_normal = trough.lever_arm * sense / roller_radius
    weight = trough.weight
    total = (weight + 2 * sine * drag + (cosine * drag_per_normal + sine) * fixed) / (
        cosine - sine * drag_per_normal - (cosine * drag_per_normal + sine) * per_normal
    )
    net = fixed + per_normal * total
    shift = net * cosine / sine
    other = (total + shift) / 2
    dragged = -(drag + drag_per_normal * other)
    return ContactForces((total - shift) / 2, other, net - dragged, dragged, DrivenRows.ONE)


def _both_driven(trough: AnyTrough, fixed: FloatArray, per_normal: FloatArray) -> ContactForces:
    """The equilibrium with shares u N of each row: cos(beta) (sum^2 + net^2) = m g sum, the root with the larger sum.

    NaN where no sum carries the traction (more than m g/(2 cos beta) in all): the part climbs out.
    """
    sine, cosine = np.sin(trough.half_angle), np.cos(trough.half_angle)
    weight = trough.weight
    square = cosine * (1 + per_normal**2)
    linear = weight - 2 * cosine * fixed * per_normal
    under_root = linear**2 - 4 * square * cosine * fixed**2
    root = np.sqrt(np.where(under_root >= 0, under_root, np.nan))
    total = (linear + root) / (2 * square)
    net = fixed + per_normal * total
    shift = net * cosine / sine
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

    The worst of both directions, of speeding up and braking, and of the two worst angles of an imbalance
    (`imbalance_torque` m g e >= 0 N m). The grip holds while this is at most the friction coefficient. `braking`: the
    acceleration (rad/s^2, >= 0) while braking, where it is another than while speeding up.
    """
    worst: FloatArray = _cases(trough, acceleration, imbalance_torque, braking).friction_needed.max(axis=0)
    return worst


def smallest_normal(
    trough: Trough,
    acceleration: FloatOrArray,
    imbalance_torque: float = 0.0,
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
    trough: Trough, acceleration: float, imbalance_torque: float = 0.0, *, braking: float | None = None
) -> float:
    """Largest force (N) between the part and either row, normal and traction together, in the same worst cases.

    What one row's rollers carry. Infinite where no equilibrium exists.
    """
    forces = _cases(trough, acceleration, imbalance_torque, braking)
    rows = (
        np.hypot(forces.normal_driven, forces.traction_driven),
        np.hypot(forces.normal_other, forces.traction_other),
    )
    largest = float(np.max(np.maximum(*rows)))
    return largest if math.isfinite(largest) else math.inf


def unevenness(trough: Trough, acceleration: float, imbalance_torque: float = 0.0) -> float:
    """Largest |N_1 - N_2|/(N_1 + N_2) of the rows' normals in the same worst cases: 0 to 1, 1 where one has lifted."""
    forces = _cases(trough, acceleration, imbalance_torque)
    total = np.where(forces.seated, forces.normal_driven + forces.normal_other, 1.0)
    shares = np.where(forces.seated, np.abs(forces.normal_driven - forces.normal_other) / total, 1.0)
    return float(shares.max())


def grip_acceleration(
    trough: Trough, friction: float, imbalance_torque: float = 0.0, *, ramp: Ramp | None = None
) -> float:
    """Acceleration of the part (rad/s^2, >= 0) at which the grip is used up or a row lifts, whichever is first.

    `friction` > 0: static coefficient of the driven contacts. 0 if even a part at constant speed slips; infinite if
    nothing ever does. With an idle row every force is linear in the acceleration, so each limit is one straight line's
    zero; with both rows driven the limit is at traction u N with u the smaller of `friction`, tan(beta) and 1.
    `ramp`: look at this one only, by default at both.
    """
    require_positive("friction coefficient", friction)
    require_not_negative("imbalance torque", imbalance_torque, "N m")
    if trough.driven is DrivenRows.BOTH:
        return _grip_acceleration_both(trough, friction, imbalance_torque, ramp)
    counts = np.array([ramp is None or of_case is ramp for of_case in _RAMPS])
    at_zero = _margins(_cases(trough, 0.0, imbalance_torque), friction)
    slope = _margins(_cases(trough, 1.0, imbalance_torque), friction) - at_zero
    if (at_zero < 0).any():
        return 0.0
    falling = (slope < 0) & counts
    return float((at_zero[falling] / -slope[falling]).min(initial=np.inf))


def _grip_acceleration_both(trough: Trough, friction: float, imbalance_torque: float, ramp: Ramp | None) -> float:
    share = min(friction, math.tan(trough.half_angle), 1.0)
    total = trough.weight / (math.cos(trough.half_angle) * (1 + share**2))
    part_radius = trough.part_diameter / 2
    if (share * part_radius - trough.lever_arm) * total - imbalance_torque <= 0:
        return 0.0
    drag = -trough.lever_arm if ramp is Ramp.DOWN else trough.lever_arm
    spare_torque = (share * part_radius - drag) * total - imbalance_torque
    return spare_torque / trough.part_inertia if trough.part_inertia > 0 else math.inf


def _margins(forces: ContactForces, friction: float) -> FloatArray:
    """What must stay >= 0, linear in the acceleration: room to slip either way, and both normals. Shape (4, 8)."""
    room = friction * forces.normal_driven
    return np.stack(
        [room - forces.traction_driven, room + forces.traction_driven, forces.normal_driven, forces.normal_other]
    )


_SIGNS = np.array(list(itertools.product((1.0, -1.0), repeat=3))).T  # of acceleration, gravity torque and direction
_RAMPS = tuple(Ramp.UP if sign > 0 else Ramp.DOWN for sign in (_SIGNS[0] * _SIGNS[2]).tolist())


def _cases(
    trough: AnyTrough,
    acceleration: FloatOrArray,
    imbalance_torque: FloatOrArray,
    braking: FloatOrArray | None = None,
) -> ContactForces:
    """The eight sign combinations of acceleration, gravity torque and direction along a new first axis."""
    require_not_negative("imbalance torque", imbalance_torque, "N m")
    up = require_not_negative("acceleration", acceleration, "rad/s^2")
    down = up if braking is None else require_not_negative("acceleration while braking", braking, "rad/s^2")
    up, down = np.broadcast_arrays(up, down)
    signs = _SIGNS.reshape((3, 8) + (1,) * up.ndim)
    size = np.where(signs[0] * signs[2] > 0, up, down)
    return contact_forces(trough, signs[0] * size, signs[1] * imbalance_torque, signs[2])


def rolling_drag_torque(trough: Trough) -> float:
    """`rolling_drag` of one part, N m."""
    return float(rolling_drag(trough))


def rolling_drag(trough: AnyTrough) -> FloatArray:
    """Torque (N m, >= 0, on the part's axis) that turning part and rollers takes at constant speed.

    Lever arm times normal force at each contact, once on the part and once on the roller, plus the idle row's bearings,
    each brought to the part with the speed ratio (power balance). The worse of both directions.
    """
    rollers_per_part = trough.part_diameter / trough.roller_diameter
    both_ways = [contact_forces(trough, 0.0, 0.0, direction) for direction in (1.0, -1.0)]
    both_normals = np.maximum(*(forces.normal_driven + forces.normal_other for forces in both_ways))
    bearings = trough.idle_friction_torque if trough.driven is DrivenRows.ONE else 0.0
    return np.asarray(trough.lever_arm * both_normals * (1 + rollers_per_part) + bearings * rollers_per_part)
