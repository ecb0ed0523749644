"""A part that slides on its rollers: what friction can give it is all the acceleration that it gets.

While it does not slide it turns as its pulses say. Where it would have to speed up or slow down by more than friction
at the driven contacts can make it, it slides: its acceleration is then that at which traction is mu N (the plane
equilibrium of the part, `mechanics.contact.rollers`), until it has the rollers' speed again. What it slides by is
integrated in time (Euler's steps). How the rotor swings about its pulses is left out of it: that is a/w^2, some microns
at the rollers, and their covering gives way by more (an assumption). So are the part's centrifugal force, and what a
sliding part takes off the rotor.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from firmware_host.errors import InputError
from firmware_host.mechanics.contact.rollers import ContactForces, contact_forces
from firmware_host.mechanics.contact.trough import DrivenRows, Trough
from firmware_host.mechanics.guard import FloatArray
from firmware_host.model import Machine
from firmware_host.simulator.device import Stretch
from firmware_host.simulator.true_machine.description import TrueMachine
from firmware_host.simulator.true_machine.field import field_of

_PLACES = 72
"""Angles of the part at which its limits are computed; a straight line between two."""
_HALVINGS = 50
_STEP_S = 1e-3


@dataclass(frozen=True, eq=False)
class Sliding:
    """`forward`, `backward` (rad/s^2, positive as positive pulses turn it): what a part that slides is sped up by.

    Where the rollers are ahead of it, and where it is ahead of them; of shape (2, places): the rollers turn the
    positive way, or the other; by the angle of the part.
    """

    forward: FloatArray
    backward: FloatArray

    @property
    def least(self) -> float:
        """The least (rad/s^2, >= 0) that it can be sped up by the way that the rollers turn."""
        return max(min(float(self.forward[0].min()), float(-self.backward[1].max())), 0.0)

    def behind(self, motion: Sequence[Stretch], per_pulse: float, angle: float) -> float:
        """How far the part falls behind its rollers (rad, positive where they turned the positive way) in a motion.

        A pulse turns it by `per_pulse` rad where it does not slide; it begins at a standstill at `angle` (rad).
        """
        field = field_of(motion, _STEP_S)
        step, rollers = field.step, np.append(field.rates * per_pulse, 0.0)
        wanted = np.diff(rollers, prepend=rollers[0]) / step
        way = np.cumsum(rollers) * step
        slid, place = 0.0, 0
        while place < len(rollers):
            low, high = self._limits(rollers[place:], angle + way[place:] - slid)
            over = np.flatnonzero((wanted[place:] > high) | (wanted[place:] < low))
            if not len(over):
                break
            place += int(over[0])
            before = float(rollers[place - 1]) if place else 0.0
            by, place = self._one(rollers, place, before, step, angle + float(way[place]) - slid)
            slid += by
        return slid

    def _one(self, rollers: FloatArray, place: int, speed: float, step: float, angle: float) -> tuple[float, int]:
        """One slide, from the step at `place` on: how far (rad), and the first step at which it turns along again."""
        slid, last = 0.0, len(rollers) - 1
        ahead = 0.0
        while True:
            roller = float(rollers[min(place, last)])
            if not ahead:
                ahead = math.copysign(1.0, roller - speed)
            table = (self.forward if ahead > 0 else self.backward)[0 if roller + speed >= 0 else 1]
            speed += self._at(table, angle) * step
            if (roller - speed) * ahead <= 0:
                return slid, place + 1
            slid += (roller - speed) * step
            angle += speed * step
            place += 1
            if place > last + _LONGEST_S / step:
                return slid, place

    def _limits(self, rollers: FloatArray, angles: FloatArray) -> tuple[FloatArray, FloatArray]:
        backward = np.array([np.interp(angles, _ANGLES, each, period=2 * math.pi) for each in self.backward])
        forward = np.array([np.interp(angles, _ANGLES, each, period=2 * math.pi) for each in self.forward])
        turning = rollers >= 0
        return np.where(turning, *backward), np.where(turning, *forward)

    @staticmethod
    def _at(table: FloatArray, angle: float) -> float:
        place = angle / (2 * math.pi) * _PLACES
        whole = math.floor(place)
        first, second = float(table[whole % _PLACES]), float(table[(whole + 1) % _PLACES])
        return first + (second - first) * (place - whole)


_LONGEST_S = 60.0
"""So long a part slides on at the most behind the last pulse."""
_ANGLES = 2 * math.pi * np.arange(_PLACES) / _PLACES


def sliding_of(true: TrueMachine, machine: Machine) -> Sliding | None:
    """What slides; None where nothing is said of it. Raises `InputError` where it can't be worked out."""
    friction, part, cradle = true.slip.friction, true.part, machine.drive.cradle
    if friction is None:
        return None
    if cradle is None:
        raise InputError("a part slides on rollers, and the machine has none", "Leave it out", key="slip.friction")
    if part.mass is None or part.inertia is None or part.diameter is None:
        remedy = "Give part.diameter, part.mass and part.inertia"
        raise InputError("when a part slides depends on its size, its mass and its inertia", remedy, key="part")
    lever, one = part.rolling_resistance or cradle.rolling_resistance, cradle.driven_rows == 1
    idle = cradle.idle_friction_torque or 0.0
    trough = Trough(
        mass=part.mass.si,
        part_inertia=part.inertia.si,
        part_diameter=part.diameter.si,
        roller_diameter=cradle.roller_diameter,
        centre_distance=cradle.centre_distance,
        driven=DrivenRows.ONE if one else DrivenRows.BOTH,
        idle_row_inertia=(cradle.roller_inertia or 0.0) / 2 if one else 0.0,
        idle_friction_torque=idle if one else 0.0,
        lever_arm=lever if isinstance(lever, float) else lever.si if lever is not None else 0.0,
        tilt=machine.axis.tilt.si,
    )
    imbalance = true.load.imbalance_torque.si if true.load.imbalance_torque is not None else 0.0
    sliding = _sliding(trough, friction, imbalance)
    if sliding.least <= 0:
        raise InputError("so little friction does not turn the part at all", "Give more", key="slip.friction")
    return sliding


def _sliding(trough: Trough, friction: float, imbalance: float) -> Sliding:
    """The accelerations at which the traction is mu N; found by halving, for a part of any rows."""
    gravity = imbalance * np.sin(_ANGLES)
    free = replace(trough, lever_arm=0.0, idle_friction_torque=0.0)
    most = 4 * (friction * free.weight * free.part_diameter / math.cos(free.half_angle) + imbalance) / free.part_inertia
    found = []
    for ahead in (1.0, -1.0):
        both = []
        for sense in (1.0, -1.0):
            low, high = np.full(_PLACES, -most), np.full(_PLACES, most)
            for _ in range(_HALVINGS):
                middle = (low + high) / 2
                below = _more(contact_forces(trough, middle, gravity, sense), friction * ahead) < 0
                low, high = np.where(below, middle, low), np.where(below, high, middle)
            both.append(low)
        found.append(np.array(both))
    return Sliding(*found)


def _more(forces: ContactForces, friction: float) -> FloatArray:
    """The traction beyond friction times what presses; where a row has lifted the part can't be turned so quickly."""
    traction, normal = forces.traction_driven, forces.normal_driven
    if forces.driven is DrivenRows.BOTH:
        traction, normal = traction + forces.traction_other, normal + forces.normal_other
    beyond = traction - friction * normal
    return np.where(np.isfinite(beyond), beyond, math.copysign(math.inf, friction))
