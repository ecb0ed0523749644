"""Limits of the motor's own shaft and of a worm's bearings: what belt, gears, worm or roller push them with."""

from __future__ import annotations

from firmware_host.mechanics.contact.rollers import largest_contact_force
from firmware_host.mechanics.contact.support import shaft_load
from firmware_host.mechanics.guard import FloatOrArray
from firmware_host.mechanics.train.mesh import WormForces
from firmware_host.planning.limits.bearings.supports import absent
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, not_known, upper_limit
from firmware_host.planning.limits.limit import Figures, Limit
from firmware_host.planning.limits.remedy import GENTLER, higher, lower
from firmware_host.planning.load.mesh import ShaftForce, driving_shaft_force, forces_on_worm, stage_torque
from firmware_host.units import Quantity


class MotorShaftLoad(Limit):
    """Radial load on the motor's shaft: of the pulley, gear or worm on it, or of a roller that it carries directly.

    A coupling or a planetary stage pushes no shaft aside; a chuck on the motor's shaft is `radial-load`'s. A worm or
    rollers with bearings of their own (their load is given) leave the motor's shaft alone.
    """

    name = "motor-shaft-load"
    ways = (lower("support.motor_shaft_arm", "closer to the motor"), GENTLER)
    stops_unknown = False

    def check(self, case: LimitCase) -> LimitCheck | None:
        pushed = _on_motor_shaft(case)
        if pushed is None:
            return None
        motor, arm = case.machine.motor, case.machine.support.motor_shaft_arm
        formula = (
            "force*max(1, arm/rated distance) <= motor's radial load; force: belt t_1 + t_2, spur F_t/cos(20 deg), "
            "worm across, or roller"
        )
        source = (
            "statics of mesh and roller at the index's peak; belt: Machine Design, 2001; 20 deg: ISO 53; the motor's "
            "data sheet"
        )
        wanted = {
            "motor.radial_load": motor.radial_load,
            "motor.radial_load_at": motor.radial_load_at,
            "support.motor_shaft_arm": arm,
        }
        missing = absent(wanted) + pushed.missing
        found = _on_bearings(case, pushed)
        if found is None:
            value = float(pushed.force) if pushed.force is not None else None
            return not_known(self.name, "N", formula=formula, source=source, missing=missing, value=value)
        return upper_limit(
            self.name,
            *found,
            "N",
            formula=formula,
            source=source,
            remedy="Slacken the belt",
            missing=missing,
        )

    def figures(self, case: LimitCase) -> Figures | None:
        pushed = _on_motor_shaft(case)
        return _on_bearings(case, pushed) if pushed is not None else None


def _on_bearings(case: LimitCase, pushed: ShaftForce) -> Figures | None:
    motor, arm = case.machine.motor, case.machine.support.motor_shaft_arm
    if motor.radial_load is None or motor.radial_load_at is None or arm is None or pushed.force is None:
        return None
    return shaft_load(pushed.force, arm.si, motor.radial_load_at.si), motor.radial_load.si


def _on_motor_shaft(case: LimitCase) -> ShaftForce | None:
    """What pushes the motor's shaft aside; None where nothing here does."""
    gearing, load = case.machine.gearing, case.load
    if gearing:
        first = gearing[0]
        if first.kind is None:
            return ShaftForce(None, (f"gearing.{first.name}.kind",))
        if first.kind in ("coupling", "planetary") or first.largest_axial_load is not None:
            return None
        return driving_shaft_force(first, stage_torque(load, 0, *_swings(case)), load.stages[0].efficiency)
    cradle = case.machine.drive.cradle
    if cradle is None or cradle.largest_bearing_load is not None:
        return None
    return ShaftForce(roller_force(case))


def roller_force(case: LimitCase) -> FloatOrArray:
    """Force (N) between the part and the roller that bears most, as the part swings; 0 off rollers."""
    trough, cradle = case.load.trough, case.machine.drive.cradle
    if trough is None or cradle is None:
        return 0.0
    up, down = _swings(case)
    turning = trough.turning(case.index.peak_speed)
    return largest_contact_force(turning, up, case.load.imbalance_torque, braking=down) * cradle.busiest_share


def _swings(case: LimitCase) -> tuple[FloatOrArray, FloatOrArray]:
    """Largest accelerations (rad/s^2) of the part as it swings: speeding up, braking."""
    index = case.index
    return index.peak_pushing * index.acceleration, index.peak_holding * index.acceleration


class RollerBearings(Limit):
    """Radial load on the bearings of the roller that bears most: weight and drive force of its row."""

    name = "roller-bearing-load"
    ways = (higher("drive.largest_bearing_load", "larger bearings"), GENTLER)
    stops_unknown = False

    def check(self, case: LimitCase) -> LimitCheck | None:
        cradle = case.machine.drive.cradle
        if cradle is None:
            return None
        formula = "largest sqrt(N^2 + F^2) of a row * busiest_share <= largest_bearing_load"
        source = "plane equilibrium of the part on its rollers, as it swings; the data of the bearings"
        found = self.figures(case)
        if found is None:
            missing, value = ("drive.largest_bearing_load",), float(roller_force(case))
            return not_known(self.name, "N", formula=formula, source=source, missing=missing, value=value)
        return upper_limit(
            self.name,
            *found,
            "N",
            formula=formula,
            source=source,
            remedy="Spread the part over more rollers",
        )

    def figures(self, case: LimitCase) -> Figures | None:
        cradle = case.machine.drive.cradle
        if cradle is None or cradle.largest_bearing_load is None:
            return None
        return roller_force(case), cradle.largest_bearing_load


class WormThrust(Limit):
    """Axial force of a worm on its bearings: its own where their load is given, else the motor's of a first stage."""

    name = "worm-thrust"
    ways = (GENTLER,)
    stops_unknown = False

    def check(self, case: LimitCase) -> LimitCheck | None:
        found = [
            self._of_stage(case, position)
            for position, stage in enumerate(case.machine.gearing)
            if stage.kind == "worm"
        ]
        return max(found, key=_gravest) if found else None

    def figures(self, case: LimitCase) -> Figures | None:
        worms = [position for position, stage in enumerate(case.machine.gearing) if stage.kind == "worm"]
        forces, rated, _ = self._forces(case, worms[0]) if len(worms) == 1 else (None, None, ())
        return (forces.axial, rated.si) if forces is not None and rated is not None else None

    def _forces(self, case: LimitCase, position: int) -> tuple[WormForces | None, Quantity | None, tuple[str, ...]]:
        """(Forces on the worm, what its bearings bear along it, keys of what is missing)."""
        stage, load, motor = case.machine.gearing[position], case.load, case.machine.motor
        rated, key = stage.largest_axial_load, f"gearing.{stage.name}.largest_axial_load"
        if rated is None and position == 0:
            rated, key = motor.axial_load, f"{key}, or motor.axial_load"
        torque = stage_torque(load, position, *_swings(case))
        forces, missing = forces_on_worm(stage, torque, load.stages[position].efficiency)
        return forces, rated, missing + ((key,) if rated is None else ())

    def _of_stage(self, case: LimitCase, position: int) -> LimitCheck:
        forces, rated, missing = self._forces(case, position)
        formula = "2*T_wheel/d_wheel <= axial load of the worm's bearings, of the motor's shaft without any"
        source = (
            "the worm's axial force is the wheel's tangential one (statics), at the index's peak; the bearings' data"
        )
        if forces is None or rated is None:
            value = float(forces.axial) if forces is not None else None
            return not_known(self.name, "N", formula=formula, source=source, missing=missing, value=value)
        return upper_limit(
            self.name,
            forces.axial,
            rated.si,
            "N",
            formula=formula,
            source=source,
            remedy="Give the worm thrust bearings of its own",
        )


def _gravest(check: LimitCheck) -> tuple[int, float]:
    return check.verdict.gravity, -(check.margin or 0.0)
