"""The procedures there are, in the order in which a machine is commissioned."""

from __future__ import annotations

from firmware_host.commissioning.procedures.base import Procedure
from firmware_host.commissioning.procedures.controller.gate import GateProcedure
from firmware_host.commissioning.procedures.controller.home import Home
from firmware_host.commissioning.procedures.controller.link import Link
from firmware_host.commissioning.procedures.direction import Direction
from firmware_host.commissioning.procedures.focus import Focus
from firmware_host.commissioning.procedures.grip import Grip
from firmware_host.commissioning.procedures.lost_motion import LostMotion
from firmware_host.commissioning.procedures.motion.ramp import Ramp
from firmware_host.commissioning.procedures.motion.ringing import Ringing
from firmware_host.commissioning.procedures.motor.drag import Drag
from firmware_host.commissioning.procedures.motor.inertia import Inertia
from firmware_host.commissioning.procedures.motor.power_off import PowerOff
from firmware_host.commissioning.procedures.motor.warm_up import WarmUp
from firmware_host.commissioning.procedures.ratio import Ratio
from firmware_host.commissioning.procedures.run_out import RunOut
from firmware_host.errors import InputError
from firmware_host.model.files.problems import nearest_of

PROCEDURES: tuple[Procedure, ...] = (
    GateProcedure(),
    Link(),
    Direction(),
    Home(),
    Ratio(),
    LostMotion(),
    RunOut(),
    Grip(),
    Drag(),
    Inertia(),
    Ringing(),
    Ramp(),
    WarmUp(),
    PowerOff(),
    Focus(),
)


def procedure_named(name: str) -> Procedure:
    """The procedure of that name. Raises `InputError`, naming the nearest."""
    for procedure in PROCEDURES:
        if procedure.key == name:
            return procedure
    problem = f"there is no procedure {name!r}"
    raise InputError(problem, nearest_of(name, [each.key for each in PROCEDURES]), key="procedure")
