"""Each remedy is done as it is printed: its keys exist, aren't set so already, and changing them raises the margin."""

from __future__ import annotations

import re
from fractions import Fraction
from math import inf
from typing import Any

import numpy as np
import pytest

from firmware_host.model import Job, Machine
from firmware_host.planning.limit_report import LimitReport, check_limits
from firmware_host.planning.limits.registry import LIMITS
from tests.planning.limits.test_shaft_loads import WORM
from tests.planning.limits.test_steady_rest import rested
from tests.planning.limits.test_supports import ON_THE_SHAFT, TAILSTOCK
from tests.planning.limits.workshop import job, machine, roller_machine

PRINTED = re.compile(
    r"\b(lower|raise|set|state|add a stage to) ([a-z_]+\.[a-z_.]+|gearing)(?: = ([^,(]+?))?(?= \(|,| or |$)"
)
STAGE = {
    "name": "one more",
    "ratio": "2",
    "efficiency": 1.0,
    "lost_motion": "0 deg",
    "driving_inertia": "0 kg*m^2",
    "driven_inertia": "0 kg*m^2",
    "self_locking": False,
}

Description = tuple[Machine, Job, float, float]
"""Machine, job, speed and acceleration of the indexes."""


def case(rig: Machine | None = None, work: Job | None = None, speed: float = 8.0, acceleration: float = 60.0) -> Any:
    return rig or machine(), work or job(), speed, acceleration


def rolled(speed: float = 8.0, acceleration: float = 60.0, tilt: str = "0 deg", part: Any = None, **keys: Any) -> Any:
    rig = roller_machine(**keys)
    rig = machine(axis={"tilt": tilt}, drive=rig.drive.model_dump(mode="json", exclude_none=True), gearing=[])
    return rig, job(**(part or {})), speed, acceleration


LONG = {"part__diameter": "20 mm", "part__length": "500 mm", "part__mass": "1.2 kg", "part__overhang": "250 mm"}
CONE = {
    "part__kind": "cone",
    "part__large_diameter": "70 mm",
    "part__small_diameter": "50 mm",
    "part__contact_from": ["50 mm"],
}
PASSES = {"gate": {"kind": "timed", "duration": "0.1 s"}}
HOT = {"motor__thermal_resistance": "40 K/W"}

CASES: dict[str, list[Description]] = {
    "torque-accelerating": [case(acceleration=2000.0), case(speed=40.0, acceleration=900.0)],
    "torque-braking": [case(acceleration=3000.0)],
    "torque-peak": [case(acceleration=2000.0), case(machine(driver__current="1.2 A"), acceleration=1500.0)],
    "holding-torque": [
        case(machine(driver__standstill_current=0.3, driver__current="1 A"), job(part__mass_offset="12 mm")),
    ],
    "step-rate-driver": [case(machine(driver__highest_step_rate="3 kHz"))],
    "step-rate-controller": [case(machine(link__highest_step_rate="400 Hz", driver__microsteps=1))],
    "step-pulse": [case(machine(driver__smallest_pulse="200 us"))],
    "start-jump": [
        case(machine(link__stated={"start_jump": "600 deg/s"}), speed=2.0, acceleration=10.0),
        case(
            machine(motor__start_stop_rate="2 Hz", link__stated={"start_jump": "5 deg/s"}), speed=2.0, acceleration=10.0
        ),
    ],
    "measured-ramp": [
        case(machine(ramp={"acceleration": "30 rad/s^2", "speed": "30 rad/s", "load_inertia": "1 kg*m^2"})),
        case(machine(ramp={"acceleration": "900 rad/s^2", "speed": "3 rad/s", "load_inertia": "1 kg*m^2"})),
    ],
    "inertia-ratio": [case(machine(gearing=[]))],
    "resonance": [case(machine(driver__microsteps=2), speed=v) for v in (0.6, 0.66, 0.3)],
    "mid-range": [case(speed=15.0, acceleration=900.0), case(speed=25.0, acceleration=2000.0)],
    "twist": [case(machine(gearing__0__torsional_stiffness="5 N*m/rad"), job(part__mass_offset="4 mm"))],
    "mass": [case(work=job(part__mass="3 kg"))],
    "falls-through": [rolled(centre_distance="83 mm", part=CONE | {"part__contact_from": ["10 mm", "90 mm"]})],
    "grip": [
        rolled(acceleration=150.0, friction=0.2),
        rolled(acceleration=250.0, friction=0.2, driven_rows=2),
        rolled(5.0, 60.0, "22 deg"),
    ],
    "grip-peak": [rolled(acceleration=300.0)],
    "seating": [rolled(acceleration=900.0)],
    "seating-peak": [rolled(acceleration=600.0)],
    "creep": [
        rolled(slip=0.02),
        rolled(acceleration=5.0, slip=0.0, contact_width="3 mm", part={"part__mass_offset": "2 mm"}),
        rolled(slip=0.02, part={"segments": {"angle": "30 deg"}}),
    ],
    "axial-slide": [rolled(acceleration=1.0, tilt="30 deg")],
    "axial-walk": [rolled(acceleration=40.0, part=CONE), rolled(acceleration=5.0, tilt="10 deg", contact_width="1 mm")],
    "grip-range": [
        case(machine(drive__smallest_grip="5 mm", drive__largest_grip="40 mm")),
        case(machine(drive__smallest_grip="70 mm", drive__largest_grip="140 mm")),
    ],
    "overhang": [
        case(machine(support__largest_overhang_moment="1 N*m")),
        case(machine(**(TAILSTOCK | {"support__largest_overhang_moment": "0.3 N*m"}))),
        case(rested("50 mm", support__largest_overhang_moment="0.3 N*m")),
    ],
    "radial-load": [
        case(machine(support__largest_radial_load="60 N")),
        case(machine(**ON_THE_SHAFT), acceleration=10.0),
        case(machine(**(TAILSTOCK | {"support__largest_radial_load": "20 N"}))),
    ],
    "axial-load": [
        case(machine(**(TAILSTOCK | {"support__largest_axial_load": "50 N"}))),
        case(machine(axis={"tilt": "60 deg"}, support__largest_axial_load="20 N")),
    ],
    "motor-shaft-load": [case(machine(support__motor_shaft_arm="30 mm", motor__radial_load="5 N"))],
    "roller-bearing-load": [rolled(acceleration=5.0, largest_bearing_load="8 N")],
    "worm-thrust": [case(machine(**(WORM | {"motor__axial_load": "2 N"})), acceleration=10.0)],
    "tailstock-load": [case(machine(**(TAILSTOCK | {"support__largest_tailstock_load": "5 N"})))],
    "steady-rest-load": [case(rested("80 mm", largest_load="5 N"))],
    "unsupported-length": [
        case(work=job(**LONG)),
        case(machine(**TAILSTOCK), job(**LONG)),
        case(rested("100 mm"), job(**LONG)),
        case(rested("385 mm"), job(**LONG)),
        case(rested("250 mm", **TAILSTOCK), job(**LONG)),
    ],
    "power-off": [case(machine(gearing__0__self_locking=False), job(part__mass_offset="9 mm"))],
    "heat-holding": [case(machine(**HOT))],
    "heat-cycle": [
        case(machine(**HOT)),
        case(machine(**HOT), job(**PASSES)),
        case(machine(**HOT), job(mark__pass_time="0.1 s")),
    ],
    "supply-current": [case(machine(driver__supply_current="0.2 A"))],
    "supply-voltage": [
        case(machine(driver__supply_capacitance="1 uF", driver__highest_supply_voltage="24.5 V"), speed=30.0)
    ],
}


def looked_at(description: Description) -> LimitReport:
    rig, work, speed, acceleration = description
    request = work.segments
    each = 1 / (request.count or 12) if request.angle is None else float(request.angle.exact)
    turns = np.full(round(1 / each), each)
    return check_limits(rig, work, index_turns=turns, speed=speed, acceleration=acceleration)


def check_of(report: LimitReport, name: str) -> Any:
    return next((check for check in report.checks if check.name == name), None)


def ways(remedy: str) -> list[tuple[str, str, str]]:
    """(verb, key, value) of each way that a printed remedy names."""
    return PRINTED.findall(remedy[0].lower() + remedy[1:])


def done(description: Description, verb: str, key: str, value: str) -> Description:
    """The description with the file changed as the remedy says; a key that no file knows is refused by the models."""
    rig, work, speed, acceleration = description
    factor = 1.25 if verb == "raise" else 0.8
    if key == "index.speed":
        return rig, work, speed * factor, acceleration
    if key == "index.acceleration":
        return rig, work, speed, acceleration * factor
    of_job = key.split(".")[0] in Job.model_fields
    tables = (work if of_job else rig).model_dump(mode="json", exclude_none=True)
    place: Any = tables
    *parents, last = key.split(".")
    for parent in parents:
        place = place.setdefault(parent, {})
    before = place.get(last)
    place[last] = after(verb, key, value, before)
    assert place[last] != before, f"{key} is {before} already"
    changed: Any = (Job if of_job else Machine).model_validate(tables)
    return (rig, changed, speed, acceleration) if of_job else (changed, work, speed, acceleration)


def after(verb: str, key: str, value: str, before: Any) -> Any:
    if verb == "add a stage to":
        return [*(before or []), STAGE]
    if verb == "set":
        return {"true": True, "2": 2}.get(value, value)
    if verb == "state":
        assert before is None, f"{key} is stated already"
        return "10 s"
    if key == "segments.count":
        return 2 * (before or 12)
    assert before is not None, f"{key} is not there to {verb}"
    factor = Fraction(5, 4) if verb == "raise" else Fraction(4, 5)
    if isinstance(before, int):
        return before * 2 if verb == "raise" else before // 2
    if isinstance(before, float):
        return min(1.0, before * float(factor)) if key == "driver.standstill_current" else before * float(factor)
    number, _, unit = before.partition(" ")
    changed = Fraction(number) * factor
    if key == "driver.current":
        changed = min(changed, Fraction(2))
    return f"{float(changed):.6g} {unit}"


NUMBERED = [(name, number) for name, found in CASES.items() for number in range(len(found))]


@pytest.mark.parametrize(("name", "number"), NUMBERED, ids=[f"{name} {number}" for name, number in NUMBERED])
def test_every_way_that_a_remedy_names_can_be_done_and_helps(name: str, number: int) -> None:
    description = CASES[name][number]
    check = check_of(looked_at(description), name)
    assert check is not None
    assert check.margin < 0, f"{check} holds: no remedy to try"
    for verb, key, value in ways(check.remedy):
        changed = done(description, verb, key, value)
        while check.margin == -inf and check_of(looked_at(changed), name).margin == -inf and verb in ("lower", "raise"):
            changed = done(changed, verb, key, value)
        better = check_of(looked_at(changed), name)
        assert better is None or better.margin > check.margin, f"{verb} {key} {value}: {check.remedy}"


def test_every_limit_is_looked_at() -> None:
    assert CASES.keys() == {limit.name for limit in LIMITS}


def test_every_key_in_a_remedy_is_in_a_way_that_is_tried() -> None:
    tables = "part|mark|window|segments|index|gate|motor|driver|gearing|drive|support|axis|link"
    named = re.compile(rf"\b(?:{tables})\.[a-z_.]+")
    for name, number in NUMBERED:
        remedy = check_of(looked_at(CASES[name][number]), name).remedy
        tried = {key for _, key, _ in ways(remedy)} | {"drive.roller_diameter"}
        assert set(named.findall(remedy)) <= tried, remedy


@pytest.mark.parametrize(
    ("name", "number", "told", "not_told"),
    [
        pytest.param("overhang", 0, ("support.tailstock = true",), (), id="a tailstock where there is none"),
        pytest.param("overhang", 1, ("larger bearings",), ("support.tailstock",), id="none where it is set"),
        pytest.param("grip", 0, ("drive.driven_rows = 2",), (), id="the other row driven"),
        pytest.param("grip", 1, (), ("driven_rows",), id="not where both are"),
        pytest.param("unsupported-length", 0, ("support.tailstock", "support.steady_rest.position = "), (), id="both"),
        pytest.param("unsupported-length", 4, (), ("support.",), id="a rest in the middle and a tailstock are all"),
        pytest.param("heat-cycle", 0, ("state mark.pass_time",), (), id="a pause that nobody told"),
        pytest.param("heat-cycle", 2, ("raise mark.pass_time",), ("state",), id="one that is told"),
        pytest.param(
            "step-rate-controller", 0, ("index.acceleration",), ("microsteps",), id="full steps have none to spare"
        ),
    ],
)
def test_a_remedy_is_of_this_case(name: str, number: int, told: tuple[str, ...], not_told: tuple[str, ...]) -> None:
    remedy = check_of(looked_at(CASES[name][number]), name).remedy
    assert all(words in remedy for words in told), remedy
    assert not any(words in remedy for words in not_told), remedy


def test_a_limit_that_holds_with_room_gets_no_advice_worked_out() -> None:
    check = check_of(looked_at(case(acceleration=10.0)), "inertia-ratio")
    assert check.margin > 0.2
    assert "gearing" not in check.remedy
