"""The simulated board that speaks a machine's dialect."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from firmware_host.errors import InputError
from firmware_host.model import Machine
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.simulator.numbered_line.boards import delivered_numbered_board, set_numbered_board
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.status_query.boards import delivered_board, set_board
from firmware_host.simulator.status_query.device import StatusQueryDevice

_RATE_PER_S = 60.0
_ACCELERATION = 200.0

Make = Callable[[Machine, bool, float], SimulatedDevice]


def simulated_device(machine: Machine, *, delivered: bool, start_s: float, dialect: str = "") -> SimulatedDevice:
    """A board for the machine's axis that powers up at `start_s`, in its dialect unless `dialect` names another.

    As delivered (nothing fits yet), or with the machine's steps per unit (all decimals), 60 units/s and 200 units/s^2.
    Raises `InputError` for a dialect of which there is no simulated board.
    """
    name = dialect or machine.link.dialect
    if name not in _BOARDS:
        raise InputError(f"no board of dialect {name!r} can be simulated", f"Known: {', '.join(sorted(_BOARDS))}")
    return _BOARDS[name](machine, delivered, start_s)


def _status_query(machine: Machine, delivered: bool, start_s: float) -> SimulatedDevice:
    letter, homes = machine.axis.letter, machine.axis.home_switch
    step_rate = machine.link.highest_step_rate.si
    if delivered:
        return StatusQueryDevice(delivered_board(letter, highest_step_rate=step_rate, homes=homes), start_s)
    variant = set_board(
        letter,
        steps_per_unit=float(machine.steps_per_axis_unit),
        rate=60 * _RATE_PER_S,
        acceleration=_ACCELERATION,
        highest_step_rate=step_rate,
        homes=homes,
    )
    return StatusQueryDevice(variant, start_s)


def _numbered_line(machine: Machine, delivered: bool, start_s: float) -> SimulatedDevice:
    letter, homes = machine.axis.letter, machine.axis.home_switch
    step_rate = machine.link.highest_step_rate.si
    if delivered:
        return NumberedLineDevice(delivered_numbered_board(letter, highest_step_rate=step_rate, homes=homes), start_s)
    variant = set_numbered_board(
        letter,
        steps_per_unit=float(machine.steps_per_axis_unit),
        rate=_RATE_PER_S,
        acceleration=_ACCELERATION,
        highest_step_rate=step_rate,
        homes=homes,
    )
    return NumberedLineDevice(variant, start_s)


_BOARDS: Mapping[str, Make] = MappingProxyType({"status-query": _status_query, "numbered-line": _numbered_line})
