"""What the drive adds to the motor's load: inertias, friction, and the grip of rollers.

A new kind of drive registers one more function here. Everything SI; torques at the part's axis.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import singledispatch

from firmware_host.errors import InputError
from firmware_host.mechanics.contact.friction import ROLLING_LEVER_ARM, static_friction_of
from firmware_host.mechanics.contact.rollers import DrivenRows, Trough, rolling_drag_torque
from firmware_host.mechanics.train.transmission import Stage
from firmware_host.model.machine.drive import Chuck, Drive, Rollers
from firmware_host.model.part.part import RoundPart
from firmware_host.planning.load.body import Body


@dataclass(frozen=True, slots=True)
class DriveLoad:
    """The drive between the last gearing stage and the part.

    `stage`: from the drive's shaft to the part, None if they are one shaft. `inertias`: (name, kg m^2, part turns the
    body makes per part turn) of the drive's own bodies. `friction_torque` N m at the part's axis, what is known of it.
    `missing`: keys of friction data not given. `trough`, `friction`: the rollers' geometry and grip coefficient;
    `friction_source`: whose figure that is.
    """

    stage: Stage | None
    inertias: tuple[tuple[str, float, float], ...]
    friction_torque: float
    missing: tuple[str, ...]
    trough: Trough | None = None
    friction: float | None = None
    friction_source: str = ""


@singledispatch
def drive_load(drive: Drive, part: RoundPart, body: Body) -> DriveLoad:
    """The load that `drive` adds when it turns `part`."""
    raise InputError(f"no load is known for a drive of kind {type(drive).__name__}", "Describe another kind")


@drive_load.register
def _chuck(drive: Chuck, part: RoundPart, body: Body) -> DriveLoad:
    del part, body
    known = drive.friction_torque is not None
    return DriveLoad(
        stage=None,
        inertias=(("chuck", drive.inertia.si, 1.0),),
        friction_torque=drive.friction_torque.si if drive.friction_torque is not None else 0.0,
        missing=() if known else ("drive.friction_torque",),
    )


@drive_load.register
def _rollers(drive: Rollers, part: RoundPart, body: Body) -> DriveLoad:
    """Rollers as one more stage. `friction_torque` is at the driven roller, so it loads the motor but not the grip;
    half of the rollers are idle where one row is driven: their inertia and their own bearings load the grip, too.
    """
    if not part.contact_known:
        raise InputError(
            "where the rollers touch a tapered part is not known",
            "Give part.contact_from (from the large end) or part.contact_diameter",
            key="part.contact_from",
        )
    turns = float(drive.shaft_turns_per_part_turn(part.contact))
    inertia = drive.rollers * drive.roller_inertia.si
    bearings = drive.friction_torque.si if drive.friction_torque is not None else 0.0
    friction, source = _grip(drive)
    trough = _trough(drive, part, body)
    return DriveLoad(
        stage=Stage(ratio=turns, input_inertia=inertia),
        inertias=(("rollers", inertia, turns),),
        friction_torque=rolling_drag_torque(trough) + bearings * turns,
        missing=_missing_friction(drive),
        trough=trough,
        friction=friction,
        friction_source=source,
    )


def _trough(drive: Rollers, part: RoundPart, body: Body) -> Trough:
    """Part and rollers for the statics; with one row driven, half of the rollers are idle."""
    one = drive.driven_rows == 1
    idle = drive.idle_friction_torque
    return Trough(
        mass=body.mass,
        part_inertia=body.inertia,
        part_diameter=part.contact.si,
        roller_diameter=drive.roller_diameter.si,
        centre_distance=drive.centre_distance.si,
        driven=DrivenRows.ONE if one else DrivenRows.BOTH,
        idle_row_inertia=drive.rollers * drive.roller_inertia.si / 2 if one else 0.0,
        idle_friction_torque=idle.si if idle is not None and one else 0.0,
        lever_arm=_lever_arm(drive) or 0.0,
    )


def _missing_friction(drive: Rollers) -> tuple[str, ...]:
    """Keys of friction data that are neither stated nor tabulated; idle bearings only where a row is idle."""
    known = {
        "drive.friction_torque": drive.friction_torque is not None,
        "drive.rolling_resistance": _lever_arm(drive) is not None,
        "drive.idle_friction_torque": drive.idle_friction_torque is not None or drive.driven_rows == 2,
    }
    return tuple(key for key, given in known.items() if not given)


def _grip(drive: Rollers) -> tuple[float, str]:
    """(coefficient of friction, whose figure): as stated, else the low end of the tabulated range of the surfaces."""
    if drive.friction is not None:
        return drive.friction, "friction as stated"
    try:
        row = static_friction_of(drive.surfaces or "")
    except InputError as error:
        raise replace(error, key="drive.surfaces") from error
    return row.low, f"friction: low end of {row.low:g} to {row.high:g}, {drive.surfaces}, {row.source}"


def _lever_arm(drive: Rollers) -> float | None:
    """Lever arm of rolling friction (m): as stated, else the tabulated one of the surfaces, else None."""
    if drive.rolling_resistance is not None:
        return drive.rolling_resistance.si
    row = ROLLING_LEVER_ARM.get(drive.surfaces or "")
    return row.high if row is not None else None
