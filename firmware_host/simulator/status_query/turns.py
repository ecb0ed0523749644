"""When a status report carries more than state, position and speed."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass

from firmware_host.simulator.status_query.board import Board

_IDLE_TURN = 9
_BUSY_OFFSETS = 29
_BUSY_OTHERS = 19


@dataclass(frozen=True)
class Extras:
    """What one report carries besides: the offsets, the overrides, the outputs, and what only the first one has."""

    offsets: bool = False
    overrides: bool = False
    outputs: bool = False
    first: bool = False


class Turns(ABC):
    """Decides for one report after the other."""

    @abstractmethod
    def next(self, board: Board) -> Extras:
        """What the report that is due now carries besides."""


class NowAndThen(Turns):
    """The offsets at first, whenever they changed and every so many reports; overrides and outputs right after."""

    def __init__(self) -> None:
        self._offsets: list[float] | None = None
        self._since = 0

    def next(self, board: Board) -> Extras:
        self._since += 1
        offsets = board.program.offsets()
        if offsets != self._offsets or self._since >= board.variant.offset_every:
            self._offsets, self._since = offsets, 0
            return Extras(offsets=True)
        shown = self._since == 1
        return Extras(overrides=shown, outputs=shown and bool(board.program.modes.output_letters()))


class Counted(Turns):
    """Two countdowns, shorter while the board is idle; a reset or a change ends one of them at once.

    The lengths are those of the recordings for a board that is idle; those in motion are from memory.
    """

    def __init__(self, *, others_first: bool) -> None:
        self._others_first = others_first
        self._offsets_in = self._others_in = 0
        self._seen: dict[str, object] = {}
        self._outputs_changed = False

    def all_shown(self) -> None:
        """A report with everything was just given."""
        self._offsets_in = self._others_in = _IDLE_TURN
        self._outputs_changed = False

    def next(self, board: Board) -> Extras:
        restarted = self._changed("restarts", board.restarts)
        self._notice(board, restarted)
        busy = board.state_word() in ("Run", "Jog", "Home", "Hold:0", "Hold:1")
        offsets_turn = _BUSY_OFFSETS if busy else _IDLE_TURN
        others_turn = _BUSY_OTHERS if busy else _IDLE_TURN
        if self._others_first:
            others = self._others_in == 0
            self._others_in = others_turn if others else self._others_in - 1
            if others:
                self._offsets_in = max(self._offsets_in, 1)
            offsets = self._offsets_in == 0
            self._offsets_in = offsets_turn if offsets else self._offsets_in - 1
        else:
            offsets = self._offsets_in == 0
            self._offsets_in = offsets_turn if offsets else self._offsets_in - 1
            if offsets:
                self._others_in = max(self._others_in, 1)
            others = self._others_in == 0
            self._others_in = others_turn if others else self._others_in - 1
        outputs = self._outputs_changed if self._others_first else others
        self._outputs_changed = self._outputs_changed and not outputs
        letters = bool(board.program.modes.output_letters())
        return Extras(offsets, others, outputs and (letters or self._others_first), first=restarted and others)

    def _notice(self, board: Board, restarted: bool) -> None:
        """End the countdowns that what has happened since the last report ends."""
        moved_offsets = self._changed("offsets", board.program.offsets())
        other_unit = self._changed("unit", board.settings.unit_writes)
        outputs = (board.program.modes.output_letters(), board.sleeping)
        other_outputs = self._changed("outputs", outputs)
        resumed = self._changed("resumes", board.resumes) and self._others_first
        if restarted or moved_offsets or other_unit or resumed:
            self._offsets_in = 0
        if restarted or resumed or (other_outputs and not self._others_first):
            self._others_in = 0
        self._outputs_changed = self._outputs_changed or restarted or other_outputs

    def _changed(self, name: str, value: object) -> bool:
        """Whether something is not as it was at the last report; at the first one all is new."""
        before = self._seen.get(name)
        self._seen[name] = value
        return before != value


def turns_of(board: Board) -> Turns:
    """The turns of a board's variant."""
    extras = board.variant.ways.extras
    return NowAndThen() if extras == "now and then" else Counted(others_first=extras == "others first")
