"""Machine and job as one load case: everything the limits need, as SI floats.

Angles, speeds and accelerations of the part are about its own axis; `ratio` is motor turns per part turn.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from firmware_host.mechanics.contact.support import imbalance_torque
from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.motor import torque as motor_physics
from firmware_host.mechanics.motor.phases import PhaseMode
from firmware_host.mechanics.motor.supply import braking_energy
from firmware_host.mechanics.train.transmission import (
    Stage,
    WorstTorque,
    inertia_at_motor,
    total_efficiency,
    worst_torque,
)
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand
from firmware_host.model.base import stated
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor
from firmware_host.planning.assume.assumption import Assumption
from firmware_host.planning.assume.complete import complete, with_assumed
from firmware_host.planning.body import Body, body_of
from firmware_host.planning.load.drive import DriveLoad, drive_load
from firmware_host.planning.load.hunting import hunting_band, winding_of
from firmware_host.planning.load.measured_ramp import MeasuredRamp, measured_ramp
from firmware_host.planning.load.phases import phase_mode
from firmware_host.planning.load.start import NO_JUMP, StartJump, start_jump
from firmware_host.planning.load.supply import Supply, supply_of
from firmware_host.planning.load.support import support_friction
from firmware_host.planning.load.swing import damping_range, frequency_band, natural_frequency_of
from firmware_host.planning.load.torsion import Torsion, spanning, torsion_of

if TYPE_CHECKING:
    from firmware_host.mechanics.contact.trough import Trough


class LoadItem(NamedTuple):
    """One turning body: `inertia` kg m^2 about its own axis and `reflected` kg m^2 as the motor feels it."""

    name: str
    inertia: float
    reflected: float


@dataclass(frozen=True, slots=True, eq=False)
class LoadCase:
    """What one motor has to move, and with what. SI floats.

    Inertias kg m^2; `friction_torque` and `imbalance_torque` N m at the part's axis, >= 0. `running_torque` and
    `standstill_torque` N m: peak of the motor's static torque at the set and at the standstill current. Step rates in
    microsteps/s. `phases`: what they carry, as far as torque goes. `curve`: the motor's datasheet points, None if not
    given. `winding`: its electrical data. `supply`: what feeds the driver. `natural_frequency` (rad/s): at which rotor
    and load swing on the magnetic spring, as far as the data say; what looks at the swing asks `natural_band` and
    `damping`, where they may lie, and `torsion`, what belts and couplings that twist add.
    `start`: the step of speed at both ends of a move. `start_stop_rate`: of the bare motor, full steps/s, if stated.
    `measured_ramp`: the quickest that a move may be by what was tried on the machine, if it was.
    """

    rotor_inertia: float
    items: tuple[LoadItem, ...]
    stages: tuple[Stage, ...]
    load_inertia: float
    friction_torque: float
    imbalance_torque: float
    mass: float
    mass_disagreement: float | None
    density_source: str
    ratio: float
    efficiency: float
    full_steps: int
    microsteps: int
    current: float
    rated_current: float
    supply_voltage: float
    running_torque: float
    standstill_torque: float
    phases: PhaseMode
    curve: motor_physics.TorquePoints | None
    winding: motor_physics.Winding
    safety_factor: float
    driver_step_rate: float
    controller_step_rate: float
    smallest_pulse: float
    trough: Trough | None
    friction: float | None
    friction_source: str
    supply: Supply
    natural_frequency: float
    natural_band: FrequencyBand
    damping: DampingRange
    torsion: Torsion
    mid_range: tuple[float, float]
    start: StartJump
    start_stop_rate: float | None
    measured_ramp: MeasuredRamp | None = None

    @property
    def reflected_inertia(self) -> float:
        """Inertia of everything but the rotor, at the motor (kg m^2)."""
        return inertia_at_motor(self.stages, self.load_inertia)

    def braking_energy(self, part_speed: float) -> float:
        """Most energy (J) that a stop from `part_speed` (rad/s) sends back to the supply."""
        inertia = self.rotor_inertia + self.reflected_inertia
        return braking_energy(inertia, part_speed * self.ratio, self.imbalance_torque)

    @property
    def imbalance_at_motor(self) -> float:
        """Torque of the imbalance at its worst angle, at the motor (N m), no friction counted."""
        return self.imbalance_torque / self.ratio

    @property
    def torque_line(self) -> tuple[float, float]:
        """Torque at the motor (N m) to turn without acceleration, and what each rad/s^2 of the part adds (N m s^2)."""
        parts = np.broadcast(self.load_inertia, self.friction_torque, self.imbalance_torque).ndim
        steady, with_one = self.torque(np.array([0.0, 1.0]).reshape(2, *(1,) * parts)).accelerating
        return steady, with_one - steady

    @property
    def pull_out_corners(self) -> FloatArray:
        """Part speeds (rad/s) of the points of the motor's curve, rising; none without a curve."""
        if self.curve is None:
            return np.zeros((0, *np.shape(self.ratio)))
        return np.divide.outer(self.curve.speeds * (self.supply_voltage / self.curve.voltage), self.ratio)

    def of_part(self, planned: float) -> float:
        """What the part does when the motor does what is `planned` (acceleration or speed): just that."""
        return planned

    def step_rate(self, part_speed: FloatOrArray) -> FloatArray:
        """Microsteps per second at `part_speed` (rad/s)."""
        turns = np.asarray(part_speed, dtype=np.float64) * self.ratio / (2 * math.pi)
        return turns * (self.full_steps * self.microsteps)

    def pull_out(self, part_speed: FloatOrArray) -> FloatArray:
        """Pull-out torque (N m at the motor) at `part_speed` (rad/s): from the points, else from the winding."""
        speed = np.asarray(part_speed, dtype=np.float64) * self.ratio
        if self.curve is not None:
            return motor_physics.pull_out_from_points(
                speed,
                self.curve,
                current=self.current,
                voltage=self.supply_voltage,
                rated_current=self.rated_current,
                mode=self.phases,
            )
        return motor_physics.pull_out_from_winding(
            speed, self.winding, peak_current=self.current, voltage=self.supply_voltage, mode=self.phases
        )

    def lowest_pull_out(self, part_speed: FloatOrArray) -> FloatArray:
        """Least pull-out torque (N m) on the way from rest to `part_speed` (rad/s): a ramp passes every speed."""
        speeds = np.linspace(np.zeros_like(part_speed), part_speed, 513)
        corners = self.pull_out_corners
        corners = corners.reshape(*corners.shape, *(1,) * (speeds.ndim - corners.ndim))
        speeds = np.concatenate([speeds, np.minimum(corners, part_speed)])
        least: FloatArray = self.pull_out(speeds).min(axis=0)
        return least

    def torque(self, part_acceleration: FloatOrArray) -> WorstTorque:
        """Torques (N m at the motor) to speed up and to brake at `part_acceleration` (rad/s^2, >= 0), at the worst."""
        return worst_torque(
            self.stages,
            rotor_inertia=self.rotor_inertia,
            load_inertia=self.load_inertia,
            load_acceleration=part_acceleration,
            friction_torque=self.friction_torque,
            imbalance_torque=self.imbalance_torque,
        )

    def started(self, acceleration: FloatArray, earlier: FloatArray) -> tuple[FloatArray, FloatArray] | None:
        """What steps of speed at the ends of a move swing the part by, over w (rad/s); None where there are none.

        (Right after its end, the most on the way), with ramps of `acceleration` (rad/s^2); `earlier`: how long the step
        at the start is ago (s), they broadcast. With the least damping.
        """
        if self.start == NO_JUMP:
            return None
        decay = self.damping.lowest * self.natural_band.lowest
        left, most = (each(acceleration, earlier, decay) for each in (self.start.left, self.start.most))
        return self.torsion.jump(left), self.torsion.jump(most)

    def peak_torque(self, up: FloatOrArray, down: FloatOrArray) -> FloatArray:
        """Largest torque (N m at the motor) of a part that speeds up at `up` and brakes at `down` (rad/s^2, >= 0)."""
        return np.maximum(self.torque(up).accelerating, self.torque(down).braking)


def load_case(machine: Machine, job: Job) -> LoadCase:
    """The load case of `job` on `machine`, what is not stated taken at the unkind end of its range.

    A part that falls through the rollers raises `FormulaRangeError`.
    """
    return load_variants(machine, job).unkind.load


class LoadVariant(NamedTuple):
    """A complete description that what is stated leaves possible, and its load."""

    machine: Machine
    job: Job
    load: LoadCase


class LoadVariants(NamedTuple):
    """Every load that what is stated leaves possible, at the ends of the ranges of what is assumed.

    The first has the unkind end of every range; what is worst at the other end is found by looking at all of them. They
    have one band of natural frequencies: whatever an inertia is in its range, the frequency lies in it.
    """

    assumptions: tuple[Assumption, ...]
    variants: tuple[LoadVariant, ...]

    @property
    def unkind(self) -> LoadVariant:
        """The variant with the unkind end of every range."""
        return self.variants[0]

    def other_when_moving(self) -> tuple[LoadCase, ...]:
        """Loads that differ from the unkind one in what the motor has to move, or moves it with; each of them once."""
        loads = {_when_moving(each.load): each.load for each in reversed(self.variants)}
        return tuple(load for load in loads.values() if load is not self.unkind.load)

    def one_by_one(self) -> Iterator[tuple[Assumption | None, LoadVariant]]:
        """The unkind variant (None), then with each datum alone at the other end of its range; none without any."""
        machine, job = self.unkind.machine, self.unkind.job
        for each in (None, *self.assumptions) if self.assumptions else ():
            ends = [(each, each.other)] if each is not None else []
            described = with_assumed(machine, job, ends)
            yield each, LoadVariant(*described, _load_case(*described))


def _when_moving(load: LoadCase) -> tuple[object, ...]:
    return (
        load.rotor_inertia,
        load.stages,
        load.load_inertia,
        load.friction_torque,
        load.imbalance_torque,
        load.running_torque,
        load.trough,
        load.supply.losses.most,
    )


def load_variants(machine: Machine, job: Job) -> LoadVariants:
    """The loads of every complete description of `job` on `machine`, see `planning.assume.complete`."""
    completed = complete(machine, job)
    loads = [_load_case(*each) for each in completed.variants]
    bands = [load.natural_band for load in loads]
    band = FrequencyBand(min(each.lowest for each in bands), max(each.highest for each in bands))
    torsion = spanning([load.torsion for load in loads])
    if len(loads) > 1 or completed.assumptions:
        hunting = [
            hunting_band(*each, load.phases, completed.assumptions)
            for each, load in zip(completed.variants, loads, strict=True)
        ]
        loads = [
            replace(load, natural_band=band, torsion=torsion, mid_range=hunts)
            for load, hunts in zip(loads, hunting, strict=True)
        ]
    variants = tuple(LoadVariant(*each, load) for each, load in zip(completed.variants, loads, strict=True))
    return LoadVariants(completed.assumptions, variants)


def _load_case(machine: Machine, job: Job) -> LoadCase:
    """The load of a complete description."""
    body = body_of(job.part)
    drive = drive_load(machine.drive, job.part, body, machine.axis.tilt.si)
    gearing = _gearing_stages(machine)
    stages = gearing + ((drive.stage,) if drive.stage is not None else ())
    on_spindle = sum(inertia for _, inertia, _ in drive.inertias) if drive.stage is None else 0.0
    of_supports = support_friction(machine, job.part)
    constant = motor_physics.torque_constant(machine.motor.holding_torque.si, machine.motor.rated_current.si)
    phases = phase_mode(machine.driver)
    running = motor_physics.static_torque(constant, machine.driver.current.si, phases)
    ratio, inertia = float(machine.motor_turns_per_part_turn(job.part.contact)), body.inertia + on_spindle
    rotor = stated(machine.motor.rotor_inertia, "motor.rotor_inertia").si
    turning = rotor + inertia_at_motor(stages, inertia)
    lowest, torsion = torsion_of(machine, stages, rotor, inertia, running)
    natural, measured_with = natural_frequency_of(machine, gearing, turning, running)
    natural = natural if measured_with is not None else lowest
    return LoadCase(
        rotor_inertia=rotor,
        items=_items(machine, gearing, ratio, body, drive),
        stages=stages,
        load_inertia=inertia,
        friction_torque=drive.friction_torque + of_supports,
        imbalance_torque=imbalance_torque(body.mass, body.offset or 0.0, machine.axis.tilt.si),
        mass=body.mass,
        mass_disagreement=body.disagreement,
        density_source=body.density_source,
        ratio=ratio,
        efficiency=total_efficiency(stages),
        full_steps=machine.motor.full_steps,
        microsteps=machine.driver.microsteps,
        current=machine.driver.current.si,
        rated_current=machine.motor.rated_current.si,
        supply_voltage=machine.driver.supply_voltage.si,
        running_torque=running,
        standstill_torque=running * machine.driver.standstill_share,
        phases=phases,
        curve=_curve(machine.motor),
        winding=winding_of(machine.motor),
        safety_factor=job.index.safety_factor,
        driver_step_rate=machine.driver.highest_step_rate.si,
        controller_step_rate=machine.link.highest_step_rate.si,
        smallest_pulse=stated(machine.driver.smallest_pulse, "driver.smallest_pulse").si,
        trough=drive.trough,
        friction=drive.friction,
        friction_source=drive.friction_source,
        supply=supply_of(machine),
        natural_frequency=natural,
        natural_band=frequency_band(machine.swing, natural, turning, measured_with),
        damping=damping_range(machine.swing),
        torsion=torsion,
        mid_range=hunting_band(machine, job, phases),
        start=start_jump(machine, job),
        start_stop_rate=machine.motor.start_stop_rate.si if machine.motor.start_stop_rate is not None else None,
        measured_ramp=measured_ramp(machine, gearing, drive.stage.ratio if drive.stage is not None else 1.0, turning),
    )


def _gearing_stages(machine: Machine) -> tuple[Stage, ...]:
    return tuple(
        Stage(
            ratio=float(stage.reduction),
            efficiency=stated(stage.efficiency, f"gearing.{stage.name}.efficiency"),
            input_inertia=stated(stage.driving_inertia, f"gearing.{stage.name}.driving_inertia").si,
            output_inertia=stated(stage.driven_inertia, f"gearing.{stage.name}.driven_inertia").si,
        )
        for stage in machine.gearing
    )


def _items(
    machine: Machine, gearing: tuple[Stage, ...], ratio: float, body: Body, drive: DriveLoad
) -> tuple[LoadItem, ...]:
    """The turning bodies, motor side first, each with what it counts at the motor: J/n^2."""
    items = []
    turns = 1.0
    for stage in gearing:
        pairs = ((stage.input_inertia, turns), (stage.output_inertia, turns * stage.ratio))
        turns *= stage.ratio
        items.append((sum(j for j, _ in pairs), sum(j / n**2 for j, n in pairs)))
    named = [
        LoadItem(stage.name, own, reflected) for stage, (own, reflected) in zip(machine.gearing, items, strict=True)
    ]
    named += [LoadItem(name, own, own * (per_part / ratio) ** 2) for name, own, per_part in drive.inertias]
    return (*named, LoadItem("part", body.inertia, body.inertia / ratio**2))


def _curve(motor: Motor) -> motor_physics.TorquePoints | None:
    curve = motor.torque_curve
    if curve is None:
        return None
    return motor_physics.TorquePoints(
        speeds=np.array([point.speed.si for point in curve.points]),
        torques=np.array([point.torque.si for point in curve.points]),
        current=(curve.current or motor.rated_current).si,
        voltage=curve.supply_voltage.si,
    )
