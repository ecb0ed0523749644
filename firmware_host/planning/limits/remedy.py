"""What would help a limit that doesn't hold: keys to change, each tried on the case before it is told.

A way names a key of the machine or job file and which way to change it. It is told where the key can still be changed
that way and the limit's margin then rises: nobody is sent to set what is set already, or what doesn't help here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Literal

from firmware_host.errors import FormulaRangeError, InputError
from firmware_host.model.job.job import Job
from firmware_host.model.machine.gearing import GearingStage
from firmware_host.model.machine.machine import Machine, SteadyRest
from firmware_host.planning.assume.complete import with_value
from firmware_host.planning.limits.case import IndexExtremes, LimitCase
from firmware_host.planning.load.case import load_case
from firmware_host.units import Quantity, parse_quantity

Margin = Callable[[LimitCase], float | None]

LOWERED, RAISED = Fraction(4, 5), Fraction(5, 4)
"""How far a way is tried: one step, enough to see whether it helps."""

_FURTHER = 7
"""Steps more where the margin has no end yet, as of a part that climbs out of its rollers."""

_REST = "support.steady_rest.position"
_NO_TORQUE = parse_quantity("0 N*m", "torque", "non-negative")
_PASS = parse_quantity("10 s", "time")
_MOST_STAGES = 8
_TRIED_STAGE = GearingStage.model_validate(
    {
        "name": "one more",
        "ratio": "2",
        "efficiency": 1.0,
        "lost_motion": "0 deg",
        "driving_inertia": "0 kg*m^2",
        "driven_inertia": "0 kg*m^2",
        "self_locking": False,
    }
)


@dataclass(frozen=True, slots=True)
class Way:
    """One change of one `key` (dotted). `value`: what to set it to. `words`: what that means at the machine.

    `until`: how far it can be changed, a number or the key of a value. "add" adds a stage to the gearing, "state" gives
    what the file left out.
    """

    verb: Literal["lower", "raise", "set", "add", "state"]
    key: str
    words: str = ""
    value: Quantity | bool | int | None = None
    until: float | str | None = None

    @property
    def text(self) -> str:
        """As a reader is told it, without a capital."""
        if self.verb == "add":
            told = f"add a stage to {self.key}"
        elif self.verb == "set":
            value = str(self.value).lower() if isinstance(self.value, bool) else str(self.value)
            told = f"set {self.key} = {value}"
        else:
            told = f"{self.verb} {self.key}"
        return f"{told} ({self.words})" if self.words else told


def lower(key: str, words: str = "", *, until: float | str | None = None) -> Way:
    """To lower the value at `key`, not beyond `until`."""
    return Way("lower", key, words, until=until)


def higher(key: str, words: str = "", *, until: float | str | None = None) -> Way:
    """To raise the value at `key`, not beyond `until`."""
    return Way("raise", key, words, until=until)


def setting(key: str, value: Quantity | bool | int, words: str = "") -> Way:
    """To set `key` to `value`."""
    return Way("set", key, words, value)


SLOWER, GENTLER = lower("index.speed"), lower("index.acceleration")
GEAR_DOWN = Way("add", "gearing", "gear down")
SHORTER_INDEXES = (higher("segments.count"), lower("segments.angle"))


def remedy(ways: Iterable[Way], case: LimitCase, margin: Margin, otherwise: str) -> str:
    """The ways that raise the `margin` of `case`, as one sentence without its full stop; `otherwise`: what else helps.

    `margin` is None where the limit concerns a case no more: that helps as well.
    """
    present = margin(case)
    helping = [way.text for way in ways if _helps(way, case, margin, present)]
    if otherwise:
        helping.append(otherwise[0].lower() + otherwise[1:] if helping else otherwise)
    *most, last = helping or ["Nothing that a key can state helps here"]
    told = f"{', '.join(most)}{',' if len(most) > 1 else ''} or {last}" if most else last
    return told[0].upper() + told[1:]


def _helps(way: Way, case: LimitCase, margin: Margin, present: float | None) -> bool:
    tried = changed(way, case)
    if tried is None:
        return False
    for _ in range(_FURTHER if present == -math.inf else 0):
        tried = changed(way, tried) or tried
    try:
        after = margin(tried)
    except (FormulaRangeError, InputError):
        return False
    if after is None or present is None:
        return after is None
    return after > present + 1e-9


def changed(way: Way, case: LimitCase) -> LimitCase | None:
    """The case with one step of `way` made; None where it can't be made. The motion stays, but for a way of its own."""
    table, *rest = way.key.split(".")
    if table == "index":
        return replace(case, index=_moved(way, case.index))
    if table == "segments":
        return _divided(way, case)
    described: Machine | Job = case.job if table in Job.model_fields else case.machine
    new = _new_value(way, _at(described, (table, *rest)), case)
    if new is None:
        return None
    path: tuple[str, ...] = (table, *rest)
    if way.key == _REST and case.machine.support.steady_rest is None:
        path, new = ("support", "steady_rest"), SteadyRest(position=new, friction_torque=_NO_TORQUE)
    described = with_value(described, path, new)
    machine, job = (case.machine, described) if isinstance(described, Job) else (described, case.job)
    try:
        return replace(case, machine=machine, job=job, load=load_case(machine, job))
    except (FormulaRangeError, InputError):
        return None


def _at(described: Any, path: Iterable[str]) -> Any:
    """The value at `path`, None where a table on the way isn't there."""
    for step in path:
        described = getattr(described, step, None)
    return described


def _new_value(way: Way, present: Any, case: LimitCase) -> Any:
    """What `way` makes of the `present` value; None where nothing changes."""
    if way.verb == "add":
        return (*present, _TRIED_STAGE) if len(present) < _MOST_STAGES else None
    if way.verb == "set":
        return way.value if way.value != present else None
    if way.verb == "state":
        return _PASS if present is None else None
    if present is None:
        return None
    new = _one_step(way, present, _end(way, case))
    return new if new != present else None


def _end(way: Way, case: LimitCase) -> Any:
    if not isinstance(way.until, str):
        return way.until
    table, *rest = way.until.split(".")
    return _at(case.job if table in Job.model_fields else case.machine, (table, *rest))


def _one_step(way: Way, present: Any, end: Any) -> Any:
    further = min if way.verb == "raise" else max
    factor = RAISED if way.verb == "raise" else LOWERED
    if isinstance(present, Quantity):
        exact = present.exact * factor
        exact = further(exact, end.exact) if isinstance(end, Quantity) else exact
        return Quantity(str(float(exact)), exact, present.kind)
    halved = present * 2 if way.verb == "raise" else present // 2
    new = halved if isinstance(present, int) else present * float(factor)
    return further(new, end) if end is not None else new


def _moved(way: Way, index: IndexExtremes) -> IndexExtremes:
    """The index with its acceleration or its speed changed; a speed that it never reaches changes nothing."""
    factor = float(RAISED if way.verb == "raise" else LOWERED)
    if way.key == "index.acceleration":
        return _of_lengths(replace(index, acceleration=index.acceleration * factor), index.longest)
    return _of_lengths(replace(index, peak_speed=index.peak_speed * (factor if index.cruises else 1.0)), index.longest)


def _divided(way: Way, case: LimitCase) -> LimitCase | None:
    """The case with shorter indexes: more segments, or narrower ones where their angle is stated."""
    request = case.job.segments
    if request.seams == "in-gaps" or (way.key == "segments.angle") is (request.angle is None):
        return None
    return replace(case, index=_of_lengths(case.index, case.index.longest * float(LOWERED)))


def _of_lengths(index: IndexExtremes, longest: float) -> IndexExtremes:
    most = math.sqrt(longest * index.acceleration)
    peak = min(index.peak_speed, most)
    duration = longest / peak + peak / index.acceleration
    return replace(index, longest=longest, peak_speed=peak, cruises=peak < most, duration=duration)
