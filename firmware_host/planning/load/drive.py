"""What the drive adds to the motor's load: inertias, friction, and the grip of rollers.

Every kind of drive answers the same questions (`model.machine.drives.base`). Everything SI; torques at the part's axis.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from firmware_host.errors import InputError
from firmware_host.mechanics.contact.friction import ROLLING_LEVER_ARM, static_friction_of
from firmware_host.mechanics.train.transmission import Stage
from firmware_host.model.base import stated
from firmware_host.model.machine.drives.base import Cradle, Drive
from firmware_host.model.part.part import RoundPart
from firmware_host.planning.body import Body

if TYPE_CHECKING:
    from firmware_host.mechanics.contact.trough import Trough


class DriveLoad(NamedTuple):
    """The drive between the last gearing stage and the part.

    `stage`: from the drive's shaft to the part, None if they are one shaft. `inertias`: (name, kg m^2, part turns the
    body makes per part turn) of the drive's own bodies. `friction_torque` N m at the part's axis. `trough`, `friction`:
    the rollers' geometry and grip coefficient; `friction_source`: whose figure that is.
    """

    stage: Stage | None
    inertias: tuple[tuple[str, float, float], ...]
    friction_torque: float
    trough: Trough | None = None
    friction: float | None = None
    friction_source: str = ""


def drive_load(drive: Drive, part: RoundPart, body: Body, tilt: float = 0.0) -> DriveLoad:
    """The load that `drive` adds when it turns `part` about an axis tilted by `tilt` (rad); nothing is left open.

    Friction of the drive's bearings is at its shaft, so on rollers it loads the motor but not the grip. Half of the
    rollers are idle where one row is driven: their inertia and their own bearings load the grip, too. `InputError`
    where the diameter that rollers touch is not known.
    """
    cradle, own, bearings = drive.cradle, drive.shaft_body, stated(drive.shaft_friction, "drive.friction_torque")
    if cradle is not None and not part.contact_known:
        raise InputError(
            "where the rollers touch a tapered part is not known",
            "Give part.contact_from (from the large end) or part.contact_diameter",
            key="part.contact_from",
        )
    turns = float(drive.shaft_turns_per_part_turn(part.contact))
    load = DriveLoad(
        stage=None if drive.part_on_shaft else Stage(ratio=turns, input_inertia=own.inertia),
        inertias=((own.name, own.inertia, turns),),
        friction_torque=bearings * turns,
    )
    if cradle is None:
        return load
    from firmware_host.mechanics.contact.rollers import rolling_drag_torque  # these three only for what lies on rollers
    from firmware_host.mechanics.contact.tilted import friction_left

    friction, source = grip_of(cradle)
    trough = _trough(cradle, part, body, tilt)
    along = friction_along_axis(cradle, trough)
    if 0 < along < friction:  # where it slides at once, `axial-slide` says so, not every motion
        friction = friction_left(friction, along)
        source += f", less what keeps the part from sliding along its tilted axis ({along:.3g})"
    return load._replace(
        friction_torque=rolling_drag_torque(trough) + load.friction_torque,
        trough=trough,
        friction=friction,
        friction_source=source,
    )


def friction_along_axis(cradle: Cradle | None, trough: Trough | None) -> float:
    """Friction coefficient that keeps a part from sliding down a tilted axis; 0 on a level one, or with a stop."""
    if cradle is None or trough is None or cradle.axial_stop:
        return 0.0
    from firmware_host.mechanics.contact.tilted import friction_along

    return friction_along(trough.half_angle, trough.tilt)


def _trough(cradle: Cradle, part: RoundPart, body: Body, tilt: float) -> Trough:
    """Part and rollers for the statics; with one row driven, half of the rollers are idle."""
    from firmware_host.mechanics.contact.trough import DrivenRows, Trough

    one = cradle.driven_rows == 1
    return Trough(
        mass=body.mass,
        part_inertia=body.inertia,
        part_diameter=part.contact.si,
        roller_diameter=cradle.roller_diameter,
        centre_distance=cradle.centre_distance,
        driven=DrivenRows.ONE if one else DrivenRows.BOTH,
        idle_row_inertia=stated(cradle.roller_inertia, "drive.roller_inertia") / 2 if one else 0.0,
        idle_friction_torque=stated(cradle.idle_friction_torque, "drive.idle_friction_torque") if one else 0.0,
        lever_arm=stated(_lever_arm(cradle), "drive.rolling_resistance"),
        tilt=tilt,
        stop_torque=_stop_torque(cradle, tilt),
        unbalance=body.mass * (body.offset or 0.0),
    )


def _stop_torque(cradle: Cradle, tilt: float) -> float:
    """Friction torque (N m) of the axial stop; nothing presses the part there on a level axis, unless it is stated."""
    if cradle.axial_stop and tilt > 0:
        return stated(cradle.stop_friction_torque, "drive.stop_friction_torque")
    return cradle.stop_friction_torque or 0.0


def grip_of(cradle: Cradle) -> tuple[float, str]:
    """(coefficient of friction, whose figure): as stated, else the low end of the tabulated range of the surfaces."""
    if cradle.friction is not None:
        return cradle.friction, "drive.friction"
    try:
        row = static_friction_of(cradle.surfaces or "")
    except InputError as error:
        raise replace(error, key="drive.surfaces") from error
    return row.low, f"friction: low end of {row.low:g} to {row.high:g}, {cradle.surfaces}, {row.source}"


def _lever_arm(cradle: Cradle) -> float | None:
    """Lever arm of rolling friction (m): as stated, else the tabulated one of the surfaces, else None."""
    if cradle.rolling_resistance is not None:
        return cradle.rolling_resistance
    row = ROLLING_LEVER_ARM.get(cradle.surfaces or "")
    return row.high if row is not None else None
