"""The simulated board that speaks a machine's dialect, or one of those that were recorded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from firmware_host.errors import InputError
from firmware_host.model import Machine
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.simulator.numbered_line import recorded as numbered_line
from firmware_host.simulator.numbered_line.boards import delivered_numbered_board, set_numbered_board
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.status_query import recorded as status_query
from firmware_host.simulator.status_query.boards import delivered_board, set_board
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.true_machine.axis import TrueAxis

_RATE_PER_S = 60.0
_ACCELERATION = 200.0
_SWITCH_STEPS = -2000

Make = Callable[[Machine, bool, float], SimulatedDevice]


def simulated_device(
    machine: Machine,
    *,
    delivered: bool,
    start_s: float,
    dialect: str = "",
    board: str = "",
    true_axis: TrueAxis | None = None,
) -> SimulatedDevice:
    """A board for the machine's axis that powers up at `start_s`, in its dialect unless `dialect` names another.

    `board`: one that was recorded, out of `board_names()`; it speaks its own dialect, with its own highest step rate.
    As delivered (nothing fits yet), or with the machine's steps per unit (all decimals), 60 units/s and 200 units/s^2.
    `true_axis` then hangs on its wires. Raises `InputError` for a dialect or a board that is not known, and for a board
    without the machine's axis.
    """
    device = _device(machine, delivered, start_s, dialect, board)
    if true_axis is not None:
        device.followed_by(machine.axis.letter, true_axis)
    return device


def _device(machine: Machine, delivered: bool, start_s: float, dialect: str, board: str) -> SimulatedDevice:
    if board:
        return _recorded(machine, board, delivered, start_s, dialect)
    name = dialect or machine.link.dialect
    if name not in _BOARDS:
        raise InputError(f"no board of dialect {name!r} can be simulated", f"Known: {', '.join(sorted(_BOARDS))}")
    return _BOARDS[name](machine, delivered, start_s)


def board_names() -> tuple[str, ...]:
    """The boards that were recorded, by the names under which they can be simulated, in alphabetical order."""
    return tuple(sorted([*status_query.RECORDED, *numbered_line.RECORDED]))


def _recorded(machine: Machine, board: str, delivered: bool, start_s: float, dialect: str) -> SimulatedDevice:
    """The board of that name, as delivered or set for the machine's axis."""
    spoken = "status-query" if board in status_query.RECORDED else "numbered-line"
    if board not in board_names():
        raise InputError(f"no board {board!r} can be simulated", f"Known: {', '.join(board_names())}")
    if dialect not in ("", spoken):
        raise InputError(f"board {board} speaks {spoken}, not {dialect}", "Name the board or the dialect, not both")
    letter = machine.axis.letter
    homes: dict[str, int] = {letter: _SWITCH_STEPS} if machine.axis.home_switch else {}
    scale = float(machine.steps_per_axis_unit)
    if spoken == "status-query":
        variant = status_query.RECORDED[board]
        _need_axis(board, variant.axes, letter)
        if not delivered:
            variant = status_query.set_for_axis(
                variant,
                letter,
                steps_per_unit=scale,
                rate=60 * _RATE_PER_S,
                acceleration=_ACCELERATION,
                homes=homes,
            )
        return StatusQueryDevice(variant, start_s)
    numbered = numbered_line.RECORDED[board]
    _need_axis(board, numbered.axes, letter)
    if not delivered:
        numbered = numbered_line.set_for_axis(
            numbered, letter, steps_per_unit=scale, rate=_RATE_PER_S, acceleration=_ACCELERATION, homes=homes
        )
    return NumberedLineDevice(numbered, start_s)


def _need_axis(board: str, axes: str, letter: str) -> None:
    if letter not in axes:
        raise InputError(
            f"board {board} drives the axes {' '.join(axes)}, not {letter}",
            f"Set axis.letter = {axes[0]!r} in the machine file, or simulate another board",
        )


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
