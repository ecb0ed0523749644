"""Rotor and load of a true machine, as the motor feels them: two masses, what is between them, and the motor's torque.

J1 x1'' = T sin(p (f - x1)) + c (f' - x1') - k (x1 - x2) - d (x1' - x2')
J2 x2'' = k (x1 - x2) + d (x1' - x2') - friction sign(x2') - imbalance sin(x2/n)

x1, x2: rotor and load, f: the field, all rad at the motor; T: the most torque at the field's speed. The sine of the
load angle p (f - x1) is that of a synchronous machine (T. Kenjo, Stepping Motors and Their Microprocessor Controls;
NEMA ICS 16; both from memory): a rotor that falls behind by more than half of 2 pi/p is caught by a later pole, and has
lost a multiple of four full steps. The damping c fades with the cosine of the load angle and is none beyond a quarter
of an electrical turn: an assumption, on the unkind side. No detent torque is counted.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from firmware_host.errors import InputError
from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.motor import torque as motor_physics
from firmware_host.mechanics.motor.phases import PhaseMode
from firmware_host.model import Machine, Motor
from firmware_host.model.base import stated
from firmware_host.simulator.true_machine.description import TrueMachine

_STIFF = 20.0
"""Stiffness of a train of which nobody stated any, over the motor's own: stiff, from memory."""


@dataclass(frozen=True, slots=True, eq=False)
class Rotor:
    """`pulse`: rad of the field for a pulse. `turns`: of the motor for one of the part (without what slips).

    Inertias kg m^2, `spring` N m/rad, `damping` and `train_damping` N m s/rad, `friction` and `imbalance` N m: all at
    the motor. `peak`: the most torque (N m) at a speed of the field (rad/s, any sign).
    """

    teeth: int
    pulse: float
    turns: float
    rotor_inertia: float
    load_inertia: float
    spring: float
    damping: float
    train_damping: float
    friction: float
    imbalance: float
    peak: Callable[[FloatOrArray], FloatArray]

    @property
    def standing_torque(self) -> float:
        """Peak of the torque at a standstill, N m."""
        return float(self.peak(0.0))

    @property
    def friction_holds(self) -> float:
        """How far (rad of the part) friction can hold the part off its place, either way: motor and train give way."""
        most = min(self.friction / self.standing_torque, 1.0)
        return (math.asin(most) / self.teeth + self.friction / self.spring) / self.turns

    @property
    def step(self) -> float:
        """Longest step of time (s) by which it is integrated: a part of the quickest swing's period."""
        stiffest = self.spring + self.teeth * self.standing_torque
        quickest = math.sqrt(stiffest / self.rotor_inertia + self.spring / self.load_inertia)
        return _PART_OF_RADIAN / quickest

    @property
    def period(self) -> int:
        """Pulses after which all is as before: of an electrical turn, of the part's where gravity counts; 0: never."""
        electrical = 2 * math.pi / (self.teeth * self.pulse)
        many = self.teeth * self.turns if self.imbalance else 1.0
        return round(electrical * many) if math.isclose(many, round(many), rel_tol=1e-9) else 0

    def swing(self) -> tuple[float, float]:
        """(natural frequency in Hz, damping ratio) of its slowest swing about a standstill, small and without friction.

        Of the eigenvalue s of the two equations that is nearest to 0 of those that swing: |s|/2 pi and -Re s/|s|.
        """
        found = _slowest(self, self.damping)
        return abs(found) / (2 * math.pi), -found.real / abs(found)


_PART_OF_RADIAN = 0.9
"""A leapfrog is stable below 2; of the slowest swing, ten times as slow, it is right to a thousandth."""


def rotor_of(true: TrueMachine, machine: Machine) -> Rotor:
    """What was really built. Raises `InputError` for what neither of the two files says."""
    full = true.ratio.full_steps_per_revolution or machine.motor.full_steps
    microsteps = true.ratio.microsteps or machine.driver.microsteps
    peak = _peak(true, machine)
    shaft = float(_reduction(true, machine))
    turns = shaft * _beside(true, machine) / float(true.turned)
    first, later = _stage_inertias(machine)
    rotor = true.motor.rotor_inertia or stated(machine.motor.rotor_inertia, "motor.rotor_inertia")
    if true.load.inertia is not None:
        load = true.load.inertia.si / turns**2
    else:
        load = machine.drive.shaft_body.inertia / shaft**2
    built = Rotor(
        teeth=full // 4,
        pulse=2 * math.pi / (full * microsteps),
        turns=turns,
        rotor_inertia=rotor.si + first,
        load_inertia=max(load + later, _LEAST_LOAD * rotor.si),
        spring=_spring(true, machine, turns, full // 4 * float(peak(0.0))),
        damping=0.0,
        train_damping=0.0,
        friction=_friction(true, machine, turns, shaft),
        imbalance=true.load.imbalance_torque.si / turns if true.load.imbalance_torque is not None else 0.0,
        peak=peak,
    )
    return _damped(built, true.motor.damping_ratio, true.train.damping_ratio)


_LEAST_LOAD = 0.01
"""Inertia of a load that is none, over the rotor's."""


def _reduction(true: TrueMachine, machine: Machine) -> Fraction:
    """Motor turns for a turn of the drive's shaft, with the wheels that are there."""
    others = {stage.name: stage for stage in true.ratio.stages}
    unknown = sorted(set(others) - {stage.name for stage in machine.gearing})
    if unknown:
        known = ", ".join(stage.name for stage in machine.gearing) or "none"
        raise InputError(f"the machine has no stage {unknown[0]!r}", f"Its stages: {known}", key="ratio.stages")
    turns = Fraction(1)
    for stage in machine.gearing:
        other = others.get(stage.name)
        if other is None:
            turns *= stage.reduction
            continue
        driving, driven = other.driving_teeth or stage.driving_teeth, other.driven_teeth or stage.driven_teeth
        if driving is None or driven is None:
            raise InputError(f"the teeth of {stage.name!r} are not all known", "Give both", key="ratio.stages")
        turns *= Fraction(driven, driving)
    return turns


def _beside(true: TrueMachine, machine: Machine) -> float:
    """Turns of the drive's shaft for a turn of the part."""
    if not machine.drive.rolls_on_part:
        return 1.0
    if true.part.diameter is None or machine.drive.cradle is None:
        raise InputError("rollers turn a part by its diameter, and none is given", "Give it", key="part.diameter")
    return true.part.diameter.si / machine.drive.cradle.roller_diameter


def _stage_inertias(machine: Machine) -> tuple[float, float]:
    """(what turns with the rotor, what turns behind the first stage), as far as stated, at the motor."""
    first = later = 0.0
    turns = 1.0
    for place, stage in enumerate(machine.gearing):
        driving = stage.driving_inertia.si / turns**2 if stage.driving_inertia is not None else 0.0
        first, later = (first + driving, later) if place == 0 else (first, later + driving)
        turns *= float(stage.reduction)
        later += stage.driven_inertia.si / turns**2 if stage.driven_inertia is not None else 0.0
    return first, later


def _spring(true: TrueMachine, machine: Machine, turns: float, magnetic: float) -> float:
    if true.train.stiffness is not None:
        return true.train.stiffness.si / turns**2
    compliance, before = 0.0, 1.0
    for stage in machine.gearing:
        if stage.torsional_stiffness is not None:
            compliance += before**2 / stage.torsional_stiffness.si
        before *= float(stage.reduction)
    return min(1 / compliance, _STIFF * magnetic) if compliance else _STIFF * magnetic


def _friction(true: TrueMachine, machine: Machine, turns: float, shaft: float) -> float:
    if true.load.friction_torque is not None:
        return true.load.friction_torque.si / turns
    return (machine.drive.shaft_friction or 0.0) / shaft


def _peak(true: TrueMachine, machine: Machine) -> Callable[[FloatOrArray], FloatArray]:
    """The motor's pull-out torque over the field's speed, as it is really fed."""
    motor, driver = machine.motor, machine.driver
    current = (true.motor.current or driver.current).si
    voltage = (true.motor.supply_voltage or driver.supply_voltage).si
    mode = PhaseMode.of(driver.microsteps, shaped=driver.current_shaped is not False)
    factor = true.motor.torque_factor
    points = _points(motor)
    if points is not None:
        rated = max(motor.rated_current.si, current)

        def by_points(speed: FloatOrArray) -> FloatArray:
            torque = motor_physics.pull_out_from_points(
                speed, points, current=current, voltage=voltage, rated_current=rated, mode=mode
            )
            return np.asarray(torque * factor)

        return by_points
    winding = motor_physics.Winding(
        stated(motor.resistance, "motor.resistance").si,
        stated(motor.inductance, "motor.inductance").si,
        motor_physics.torque_constant(motor.holding_torque.si, motor.rated_current.si),
        motor.full_steps // 4,
    )

    def by_winding(speed: FloatOrArray) -> FloatArray:
        return np.asarray(
            factor
            * motor_physics.pull_out_from_winding(speed, winding, peak_current=current, voltage=voltage, mode=mode)
        )

    return by_winding


def _points(motor: Motor) -> motor_physics.TorquePoints | None:
    curve = motor.torque_curve
    if curve is None:
        return None
    return motor_physics.TorquePoints(
        np.array([point.speed.si for point in curve.points]),
        np.array([point.torque.si for point in curve.points]),
        (curve.current or motor.rated_current).si,
        curve.supply_voltage.si,
    )


def _damped(built: Rotor, ratio: float, train_ratio: float) -> Rotor:
    """The same with such dampings that its slowest swing has the damping ratio `ratio`; found by halving."""
    between = 1 / (1 / built.rotor_inertia + 1 / built.load_inertia)
    train = 2 * train_ratio * math.sqrt(built.spring * between)
    with_train = _changed(built, 0.0, train)
    low, high = 0.0, 4 * math.sqrt(built.teeth * built.standing_torque * (built.rotor_inertia + built.load_inertia))
    for _ in range(60):
        middle = (low + high) / 2
        found = _slowest(with_train, middle)
        low, high = (middle, high) if -found.real / abs(found) < ratio else (low, middle)
    return _changed(built, low, train)


def _changed(built: Rotor, damping: float, train_damping: float) -> Rotor:
    return Rotor(
        built.teeth,
        built.pulse,
        built.turns,
        built.rotor_inertia,
        built.load_inertia,
        built.spring,
        damping,
        train_damping,
        built.friction,
        built.imbalance,
        built.peak,
    )


def _slowest(built: Rotor, damping: float) -> complex:
    """The eigenvalue of the slowest swing (1/s), its imaginary part positive; linear, about a standstill."""
    magnetic = built.teeth * built.standing_torque
    k, d = built.spring, built.train_damping
    first, second = built.rotor_inertia, built.load_inertia
    matrix = np.array(
        [
            [0.0, 0.0, 1.0, 0.0],
            [0.0, 0.0, 0.0, 1.0],
            [-(magnetic + k) / first, k / first, -(damping + d) / first, d / first],
            [k / second, -k / second, d / second, -d / second],
        ]
    )
    return complex(min((each for each in np.linalg.eigvals(matrix) if each.imag >= 0), key=abs))
