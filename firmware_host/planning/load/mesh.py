"""What the gearing stages push their shafts with: torques through them, and the forces of belt, gears and worm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware_host.mechanics.guard import FloatOrArray
from firmware_host.mechanics.train.mesh import (
    WormForces,
    belt_shaft_force,
    belt_tensions,
    spur_shaft_force,
    tangential_force,
    worm_forces,
)
from firmware_host.mechanics.train.transmission import worst_torque
from firmware_host.model.machine.gearing import GearingStage
from firmware_host.planning.load.case import LoadCase


@dataclass(frozen=True, slots=True)
class StageTorque:
    """Largest torques (N m) through one stage: on its `driving` shaft, and at its `driven` one."""

    driving: FloatOrArray
    driven: FloatOrArray


@dataclass(frozen=True, slots=True)
class ShaftForce:
    """`force` N across the shaft that carries a stage's driving wheel; `missing`: keys without which it is less.

    None where nothing can be said.
    """

    force: FloatOrArray | None
    missing: tuple[str, ...] = ()


def stage_torque(load: LoadCase, position: int, up: FloatOrArray, down: FloatOrArray) -> StageTorque:
    """Largest torques through the gearing stage at `position` (0 is the motor's).

    The part speeds up at `up` and brakes at `down` (rad/s^2, >= 0), see `transmission.worst_torque`; the stage's losses
    count on the driving side, as while it drives.
    """
    stage, beyond = load.stages[position], load.stages[position + 1 :]
    worst = [
        worst_torque(
            beyond,
            rotor_inertia=stage.output_inertia,
            load_inertia=load.load_inertia,
            load_acceleration=acceleration,
            friction_torque=load.friction_torque,
            imbalance_torque=load.imbalance_torque,
        )
        for acceleration in (up, down)
    ]
    driven = np.maximum(worst[0].accelerating, worst[1].braking)
    return StageTorque(driven / (stage.ratio * stage.efficiency), driven)


def driving_shaft_force(stage: GearingStage, torque: StageTorque, efficiency: float) -> ShaftForce:
    """What a belt, spur gears or a worm push the driving shaft aside with; see `mechanics.train.mesh`."""
    key = f"gearing.{stage.name}"
    if stage.kind == "worm":
        forces, missing = forces_on_worm(stage, torque, efficiency)
        return ShaftForce(forces.across if forces is not None else None, missing)
    diameter = stage.driving_pitch_diameter
    if diameter is None:
        return ShaftForce(None, (f"{key}.pitch, or {key}.driving_diameter",))
    effective = tangential_force(torque.driving, diameter)
    if stage.kind == "spur-gears":
        return ShaftForce(spur_shaft_force(effective))
    mounted = stage.belt_tension.si if stage.belt_tension is not None else 0.0
    missing = () if stage.belt_tension is not None else (f"{key}.belt_tension",)
    return ShaftForce(belt_shaft_force(*belt_tensions(mounted, effective)), missing)


def forces_on_worm(
    stage: GearingStage, torque: StageTorque, efficiency: float
) -> tuple[WormForces | None, tuple[str, ...]]:
    """(forces on the worm of a stage, None if its geometry is not known; the keys of what is missing)."""
    key = f"gearing.{stage.name}"
    wheel, worm, lead = stage.driven_pitch_diameter, stage.driving_pitch_diameter, stage.worm_lead
    if wheel is None or worm is None or lead is None:
        given = {
            "pitch": stage.pitch,
            "driving_diameter": stage.driving_diameter,
            "driven_teeth": stage.driven_teeth,
        }
        return None, tuple(f"{key}.{name}" for name, value in given.items() if value is None)
    forces = worm_forces(torque.driven, wheel_diameter=wheel, worm_diameter=worm, lead=lead, efficiency=efficiency)
    return forces, ()
