"""Where a run's journal says that it has left the axis, and what makes that unknown."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.station.journal.events import (
    Begin,
    End,
    Finish,
    Finished,
    Move,
    PositionLost,
    Release,
    Resume,
    Standstill,
    Unwind,
    Zero,
    ZeroSet,
)

AT_MACHINE_ZERO = "it stands at machine zero, where a controller that was switched off and on stands, too"


@dataclass(frozen=True)
class LastPosition:
    """`origin`: machine step of the job's zero, None if none was ever set; `turns` taken back since.

    The axis was left at a microstep (from the job's zero) of `lowest` to `highest`: at a standstill, or on the way of a
    move. `lost` says why nothing is known; empty if something is. `moving`: the journal ends during a move.
    """

    origin: int | None
    turns: int
    lowest: int
    highest: int
    lost: str
    moving: bool

    def why_lost(self, *, stop_keeps_position: bool) -> str:
        """Why nothing is known; also for a move without an end, where a stop stops short and the count is lost."""
        if self.moving and not stop_keeps_position:
            return "it was moving when the run crashed, and may have been stopped short"
        return self.lost


class PositionReplay:
    """Follows the axis through the events of a journal."""

    def __init__(self) -> None:
        self._places = [0]
        self._lost = ""
        self._lost_before_release = ""
        self._moving = False
        self._origin: int | None = None
        self._turns = 0
        self._overrun = 0
        self.complete = True
        """False in a journal of schema 1 that was not completed: it does not hold all that this takes."""

    def begin(self, event: Begin) -> None:
        """How far moves may go below their targets."""
        self._overrun = event.overrun or 0
        self.complete = event.overrun is not None

    def zero(self, event: ZeroSet) -> None:
        """The axis stands where it is known to, whatever was before."""
        self._origin, self._turns = event.origin_steps, event.turns
        self._places, self._lost, self._moving = [event.at], "", False

    def resume(self, event: Resume) -> None:
        """A zero that was set by hand counts only once it is journalled."""
        if event.zero is Zero.SET_ANEW:
            self._lost = (
                "the part was to be turned to the job's zero by hand, but the run ended before the zero was set"
            )

    def released(self, event: Release) -> None:
        """The part may turn, unless the controller refused."""
        if event.refused:
            self._lost = self._lost_before_release
        else:
            self._lost_before_release = self._lost
            self._lost = "the motor was released when the run ended, as it was asked for"

    def position_lost(self, event: PositionLost) -> None:
        """It may not show another time, so it counts from now on."""
        self._lost = "the controller was found reset, locked, or with its motor released"

    def move(self, event: Move) -> None:
        """Under way to a segment, perhaps from below."""
        position = event.target if event.position is None else event.position
        self._places += [position - self._overrun, position]
        self._moving = True

    def go(self, event: Unwind | Finish) -> None:
        """Under way, straight."""
        self._places.append(event.target)
        self._moving = True

    def stand(self, event: Standstill) -> None:
        """At a standstill at a segment."""
        self._places, self._moving = [event.target if event.position is None else event.position], False

    def finished(self, event: Finished) -> None:
        """At a standstill at the end position."""
        self._places, self._moving = [event.target], False

    def end(self, event: End) -> None:
        """The axis was brought to a standstill, wherever that was."""
        if event.position_lost and not self._lost:
            self._lost = f"the run ended with: {event.reason}"
        self._moving = False

    def result(self) -> LastPosition:
        """Where the axis was left."""
        return LastPosition(
            self._origin, self._turns, min(self._places), max(self._places), self._lost, moving=self._moving
        )
