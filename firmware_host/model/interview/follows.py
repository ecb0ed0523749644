"""What follows from an answer, in figures that a machinist checks at a glance."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from pydantic import BaseModel

from firmware_host.model.interview.forms import around
from firmware_host.model.machine.gearing import GearingStage
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor
from firmware_host.units import parse_quantity

_AT = "50 mm"
"""The part that figures are told for."""


def what_follows(key: str, described: BaseModel | None) -> str:
    """What the answer to the question `key` means, in a sentence; empty where nothing follows."""
    if not isinstance(described, Machine):
        return ""
    if key in _FOLLOWS:
        return _FOLLOWS[key](described)
    table, _, of_drive = key.partition(".")
    return described.drive.told(of_drive) if table == "drive" else ""


def key_figures(motor: Motor) -> str:
    """A motor in a line: size, steps, current, torque."""
    angle = 360 / motor.full_steps
    return f"{motor.name}: {angle:.3g} deg, {motor.rated_current}, holds {motor.holding_torque}"


def _motor(machine: Machine) -> str:
    return f"That is {key_figures(machine.motor)}."


def _gearing(machine: Machine) -> str:
    if not machine.gearing:
        return "The motor turns the drive directly, 1:1."
    stages = "; ".join(_stage(stage) for stage in machine.gearing)
    whole = f" Together {float(machine.reduction):.6g}:1." if len(machine.gearing) > 1 else ""
    return f"{stages[:1].upper()}{stages[1:]}.{whole}"


def _stage(stage: GearingStage) -> str:
    ratio = stage.reduction
    way = "reducing" if ratio > 1 else "speeding up" if ratio < 1 else "as quick"
    size = f"{float(ratio):.6g}:1 {way}" if ratio >= 1 else f"1:{float(1 / ratio):.6g} {way}"
    if stage.driving_teeth is None:
        return f"a ratio of {size}"
    return f"a {stage.driving_teeth}-tooth {_driving(stage)} driving a {stage.driven_teeth}-tooth wheel: {size}"


def _driving(stage: GearingStage) -> str:
    if stage.kind == "worm":
        return "(or -start) worm" if stage.driving_teeth != 1 else "(one-start) worm"
    return "gear" if stage.kind == "spur-gears" else "pulley"


def _microsteps(machine: Machine) -> str:
    part = parse_quantity(_AT, "length")
    for_a_turn = machine.microsteps_per_part_turn(part)
    one_deg, one_mm = float(360 / for_a_turn), around(part.si) * 1e3 / float(for_a_turn)
    turn = f"{float(for_a_turn):,.6g} for a turn of the part"
    return f"One microstep is {one_deg:.4g} deg, {one_mm:.2g} mm around a part of {_AT}; {turn}."


def _speed(machine: Machine) -> str:
    rate = min(machine.link.highest_step_rate.exact, machine.driver.highest_step_rate.exact)
    turns = float(rate / machine.microsteps_per_part_turn(parse_quantity(_AT, "length")))
    return f"So many steps turn a part of {_AT} at most {60 * turns:.3g} times a minute; the motor may allow less."


def _current(machine: Machine) -> str:
    share = float(machine.driver.current.exact / machine.motor.rated_current.exact)
    return f"That is {100 * share:.0f} % of the motor's rated current."


_FOLLOWS: Mapping[str, Callable[[Machine], str]] = MappingProxyType(
    {
        "motor": _motor,
        "gearing": _gearing,
        "driver.microsteps": _microsteps,
        "driver.current": _current,
        "link.highest_step_rate": _speed,
    }
)
