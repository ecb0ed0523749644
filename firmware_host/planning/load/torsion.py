"""How belts and couplings twist: the modes of the train, and how far the part lies off at a standstill."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest
from typing import NamedTuple

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.train.torsion import TrainModes, train_modes
from firmware_host.mechanics.train.transmission import Stage
from firmware_host.mechanics.train.vibration import FrequencyBand, stiffness
from firmware_host.model.machine.gearing import GearingStage
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.load.swing import COMPUTED_UNCERTAINTY

TWISTING = ("toothed-belt", "coupling")
"""Kinds of stage that twist so much that it counts; gears, worms and planetary stages count as stiff."""


class Torsion(NamedTuple):
    """What the twisting of the train does to the swing of the part; `RIGID` where nothing twists.

    `upper`: bands of the natural angular frequencies above the lowest. `first`: the part's share in the swing of the
    lowest, >= 1; `rest`: what the upper ones add to that, as a part of the swing of a single oscillator of the lowest
    frequency; `over`: what they add to the accelerations of part and rotor. `compliance`: rad of the part per N m on
    the part's axis, of the stages whose stiffness is stated.
    """

    upper: tuple[FrequencyBand, ...] = ()
    first: float = 1.0
    rest: float = 0.0
    over: float = 0.0
    compliance: float = 0.0

    def peak(self, factor: FloatOrArray) -> FloatArray:
        """Peak over steady acceleration (>= 0) of part and rotor, where a single oscillator of the lowest has `factor`.

        At most: the upper ones swing by `WORST_PEAK`, in the worst phase.
        """
        return np.asarray(factor) * self.first + WORST_PEAK * self.over

    def jump(self, single: FloatOrArray) -> FloatArray:
        """The part's swing of a step of speed, where a single oscillator of the lowest frequency swings by `single`.

        At most: a frequency above it turns the same step into a smaller angle, as w/w_k.
        """
        return np.asarray(single) * (self.first + self.over)

    def swing(self, left: FloatOrArray, acceleration: FloatOrArray) -> FloatArray:
        """The part's swing after an index, w^2 times its amplitude, rad/s^2, of a single oscillator's `left`.

        At most: what each of the four jumps of `acceleration` (rad/s^2) starts of the upper ones adds up undamped.
        """
        return np.asarray(left) * self.first + WORST_PEAK * self.rest * np.asarray(acceleration)


WORST_PEAK = 4.0
"""Most that four jumps of an acceleration, up, off, down and off, make an oscillator swing by, over one of them."""

RIGID = Torsion()

_FAR_ABOVE = 100.0
"""A frequency so many times the lowest is left out: no motor makes full steps at such a rate, and it swings nothing."""


def torsion_of(
    machine: Machine, stages: Sequence[Stage], rotor: float, load_inertia: float, running_torque: float
) -> tuple[float, Torsion]:
    """(lowest natural angular frequency in rad/s, what twisting does), as far as stiffnesses are stated.

    `stages`: all of them, the drive's too. `rotor` and `load_inertia` kg m^2, the latter on the last shaft.
    `running_torque` N m: peak of the static torque at the set current.
    """
    spring = stiffness(machine.motor.full_steps // 4, running_torque)
    modes = _modes(machine, stages, rotor, load_inertia, spring)
    shares, squares = modes.part_shares, modes.frequencies**2
    of_torque = modes.rotor_shares / squares / (modes.rotor_shares / squares).sum()
    near = modes.frequencies[1:][modes.frequencies[1:] < _FAR_ABOVE * modes.lowest]
    compliance = _compliance(machine, stages)
    if not near.size:
        return modes.lowest, RIGID._replace(compliance=compliance)
    return modes.lowest, Torsion(
        upper=tuple(FrequencyBand.around(float(w), COMPUTED_UNCERTAINTY) for w in near),
        first=float(shares[0]),
        rest=float((abs(shares[1:]) * squares[0] / squares[1:]).sum()),
        over=max(float(abs(shares[1:]).sum()), 1 - float(of_torque[0])),
        compliance=compliance,
    )


def spanning(torsions: Sequence[Torsion]) -> Torsion:
    """The worst of several, its bands as wide as all of theirs: a frequency falls with every inertia all the way."""
    bands = zip_longest(*(each.upper for each in torsions))
    present = [[band for band in row if band is not None] for row in bands]
    return Torsion(
        upper=tuple(FrequencyBand(min(b.lowest for b in row), max(b.highest for b in row)) for row in present),
        first=max(each.first for each in torsions),
        rest=max(each.rest for each in torsions),
        over=max(each.over for each in torsions),
        compliance=max(each.compliance for each in torsions),
    )


def twisting_stages(machine: Machine) -> tuple[GearingStage, ...]:
    """The stages of which a stiffness is stated, or wanted."""
    return tuple(
        stage
        for stage in machine.gearing
        if stage.kind is None or stage.kind in TWISTING or stage.torsional_stiffness is not None
    )


def _modes(machine: Machine, stages: Sequence[Stage], rotor: float, load_inertia: float, spring: float) -> TrainModes:
    """Rotor, and what lies between two twisting stages, as one body each, all as seen from the motor."""
    bodies, springs = [rotor], []
    turns = 1.0
    for position, stage in enumerate(stages):
        bodies[-1] += stage.input_inertia / turns**2
        stated = _stated(machine, position)
        if stated is not None:
            springs.append(stated / turns**2)
            bodies.append(0.0)
        turns *= stage.ratio
        bodies[-1] += stage.output_inertia / turns**2
    bodies[-1] += load_inertia / turns**2
    return train_modes(spring, *_without_empty(bodies, springs))


def _without_empty(bodies: list[float], springs: list[float]) -> tuple[list[float], list[float]]:
    """The same row without bodies of no inertia between two springs: the springs then act in series."""
    kept: list[float] = [bodies[0]]
    between: list[float] = []
    for body, spring in zip(bodies[1:], springs, strict=True):
        if kept[-1] == 0.0:
            spring = 1 / (1 / between.pop() + 1 / spring)
            kept.pop()
        kept.append(body)
        between.append(spring)
    return kept, between


def _compliance(machine: Machine, stages: Sequence[Stage]) -> float:
    total, turns = 0.0, 1.0
    for position in reversed(range(len(stages))):
        turns *= stages[position].ratio
        stated = _stated(machine, position)
        total += 1 / (stated * turns**2) if stated is not None else 0.0
    return total


def _stated(machine: Machine, position: int) -> float | None:
    """Stiffness (N m/rad, seen from its driving shaft) of the gearing stage at `position`; None if not stated."""
    if position >= len(machine.gearing):
        return None
    given = machine.gearing[position].torsional_stiffness
    return given.si if given is not None else None
