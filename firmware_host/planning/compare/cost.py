"""What a limit costs: how long an index would take if that limit alone were lifted tenfold."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from firmware_host.errors import LimitExceededError
from firmware_host.mechanics.motor.torque import TorquePoints
from firmware_host.model.job.job import IndexRequest
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.safe_motion import SafeMotion, motion_for
from firmware_host.planning.load.case import LoadCase

TENFOLD = 10.0
"""How far a limit is lifted to see what it costs: far enough that it binds no more."""

_SAMPLES = 2049


@dataclass(frozen=True, slots=True)
class LimitCost:
    """A limit that stops the index from going faster, and what an average one would take without it, `index_s` s.

    The next limit then takes its place, so it isn't zero. For `ringing` it is the chosen move without its settling.
    """

    name: str
    index_s: float


def limit_costs(load: LoadCase, moves: IndexMoves, motion: SafeMotion, request: IndexRequest) -> tuple[LimitCost, ...]:
    """What each binding limit of a `motion` costs, in the order of `motion.binding`; a limit and its peak count as one.

    A speed or an acceleration that the job states stays; `as-stated`, where both are, is what those two cost. The
    length of the index is no limit that could be lifted.
    """
    costs: dict[str, LimitCost] = {}
    for binding in motion.binding:
        name = _ALIKE.get(binding, binding)
        index_s = _without(name, load, moves, motion, request)
        if index_s is not None and name not in costs:
            costs[name] = LimitCost(name, index_s)
    return tuple(costs.values())


def _without(name: str, load: LoadCase, moves: IndexMoves, motion: SafeMotion, request: IndexRequest) -> float | None:
    if name == "ringing":
        return motion.timing.move_s
    speed = request.speed.si if request.speed is not None else None
    acceleration = request.acceleration.si if request.acceleration is not None else None
    if name == "as-stated":
        speed = acceleration = None
    elif name not in _LIFTED:
        return None
    lifted = _LIFTED[name](load) if name in _LIFTED else load
    try:
        return motion_for(lifted, moves, speed=speed, acceleration=acceleration).timing.index_s
    except LimitExceededError:
        return None


def _more_torque(load: LoadCase) -> LoadCase:
    """Ten times the pull-out torque at every speed; rotor and natural frequency stay."""
    if load.curve is not None:
        return replace(load, curve=replace(load.curve, torques=load.curve.torques * TENFOLD))
    if load.winding is None:
        return load
    fastest = 2 * load.supply_voltage / load.winding.torque_constant
    speeds = np.linspace(0.0, fastest, _SAMPLES)
    torques = load.pull_out(speeds / load.ratio) * TENFOLD
    return replace(load, curve=TorquePoints(speeds, torques, load.current, load.supply_voltage))


def _more_grip(load: LoadCase) -> LoadCase:
    return replace(load, friction=load.friction * TENFOLD) if load.friction is not None else load


def _more_supply(load: LoadCase) -> LoadCase:
    """Ten times the power that the supply gives, and the energy that it takes back."""
    power, room = load.supply.power, load.supply.braking_room
    supply = replace(
        load.supply,
        power=power * TENFOLD if power is not None else None,
        braking_room=room * TENFOLD if room is not None else None,
    )
    return replace(load, supply=supply)


def _shorter_pulse(load: LoadCase) -> LoadCase:
    return replace(load, smallest_pulse=load.smallest_pulse / TENFOLD) if load.smallest_pulse is not None else load


_ALIKE: Mapping[str, str] = MappingProxyType(
    {"torque-accelerating": "torque", "torque-peak": "torque", "grip-peak": "grip", "seating-peak": "seating"}
)

_LIFTED: Mapping[str, Callable[[LoadCase], LoadCase]] = MappingProxyType(
    {
        "torque": _more_torque,
        "step-rate-driver": lambda load: replace(load, driver_step_rate=load.driver_step_rate * TENFOLD),
        "step-rate-controller": lambda load: replace(load, controller_step_rate=load.controller_step_rate * TENFOLD),
        "step-pulse": _shorter_pulse,
        "grip": _more_grip,
        "supply-current": _more_supply,
        "supply-voltage": _more_supply,
        "seating": lambda load: replace(load, trough=None, friction=None),
    }
)
