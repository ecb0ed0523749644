"""Random described machines, what can be taken out of their description, and a value for it again."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any, get_args

from pydantic import BaseModel

from firmware_host.model.files.loading import Setup, load_job
from firmware_host.planning.assume.assumption import Assumption, Value
from firmware_host.units import KINDS, Quantity, parse_quantity

JOBS = {
    "belt": "shaft-scale",
    "direct": "sleeve-label",
    "worm": "heavy-shaft",
    "rollers": "bottle-band",
    "cone on rollers": "tumbler-wrap",
}
"""A shipped job for each kind of drive."""

_KEPT = {"step_angle", "torque_curve", "arc", "angle", "ratio", "microsteps"}
_NEEDED = {"full_steps_per_revolution", "driving_teeth", "driven_teeth", "pass_time"}
_SCALED = {"motor", "driver", "gearing", "drive", "support"}

Path = tuple[str | int, ...]


def described(kind: str, seed: int) -> Setup:
    """The shipped job of that kind with every quantity of its machine changed at random by up to a third."""
    setup, rng = load_job(JOBS[kind]), random.Random(seed)
    machine = setup.machine
    for table in sorted(_SCALED):
        machine = machine.model_copy(update={table: _scaled(getattr(machine, table), rng)})
    microsteps = rng.choice([1, 2, machine.driver.microsteps, machine.driver.microsteps])
    machine = machine.model_copy(update={"driver": machine.driver.model_copy(update={"microsteps": microsteps})})
    machine = type(machine).model_validate(_json(machine))
    return replace(setup, machine=machine)


def _scaled(value: Any, rng: random.Random) -> Any:
    if isinstance(value, Quantity):
        if value.kind in ("temperature", "voltage", "current"):
            return value
        factor = Fraction(round(rng.uniform(0.75, 1.33) * 1000), 1000)
        return Quantity(f"{float(value.exact * factor):.9g} {_UNITS[value.kind]}", value.exact * factor, value.kind)
    if isinstance(value, tuple):
        return tuple(_scaled(each, rng) for each in value)
    if isinstance(value, BaseModel):
        names = [name for name in type(value).model_fields if name not in _KEPT and name != "current"]
        return value.model_copy(update={name: _scaled(getattr(value, name), rng) for name in names})
    return value


_UNITS = {
    "length": "m", "mass": "kg", "force": "N", "torque": "N*m", "inertia": "kg*m^2", "angle": "turn",
    "angular speed": "turn/s", "time": "s", "rate": "Hz", "current": "A", "voltage": "V", "resistance": "ohm",
    "inductance": "H", "capacitance": "F", "thermal resistance": "K/W",
    "torsional stiffness": "N*m/turn",
}  # fmt: skip


def _json(model: BaseModel) -> dict[str, Any]:
    return model.model_dump(mode="json")


def optional_paths(model: BaseModel, under: Path = ()) -> Iterator[Path]:
    """Every key that is given and may be left out: one whose default is that nobody stated it."""
    for name, field in type(model).model_fields.items():
        value, path = getattr(model, name), (*under, name)
        if value is None or (name == "kind" and getattr(model, "driving_teeth", None) == 1):
            continue  # a stage of one tooth has to say that it is a worm
        if isinstance(value, BaseModel) and field.default is not None:
            yield from optional_paths(value, path)
        elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            for number, each in enumerate(value):
                yield from optional_paths(each, (*path, number))
        elif field.default is None and type(None) in get_args(field.annotation) and name not in _NEEDED:
            yield path


def without(setup: Setup, paths: Iterable[Path]) -> Setup:
    """The setup with these keys of its machine or its part taken out."""
    tables = {"machine": _json(setup.machine), "job": _json(setup.job)}
    for path in paths:
        place: Any = tables["job" if path[0] in ("part", "segments") else "machine"]
        for step in path[:-1]:
            place = place[step]
        place[path[-1]] = None
    machine, job = type(setup.machine).model_validate(tables["machine"]), type(setup.job).model_validate(tables["job"])
    return replace(setup, machine=machine, job=job)


def somewhere(assumption: Assumption, rng: random.Random) -> Value:
    """A value of the range: an end of it one time in three each, else inside."""
    place = rng.choice([0.0, 1.0, rng.random()])
    low, high = assumption.low, assumption.high
    if isinstance(low, bool) or isinstance(high, bool):
        return low if place < 0.5 else high
    if isinstance(low, Quantity) and isinstance(high, Quantity):
        if place in (0.0, 1.0):
            return high if place else low
        inside = float(low.exact) + place * float(high.exact - low.exact)
        return parse_quantity(f"{inside:.12g} {KINDS[low.kind].unit}", low.kind)
    if isinstance(low, Quantity) or isinstance(high, Quantity):
        raise TypeError(f"{assumption.key} has ends of two sorts")
    return low + place * (high - low)
