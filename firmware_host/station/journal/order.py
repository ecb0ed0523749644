"""Whether a run's acts came in order: every move goes to the planned target of its segment, the gate opens only at a
standstill there, for a pass that is to be marked, and nothing moves before it is closed again.
"""

from __future__ import annotations

from firmware_host.station.journal.events import (
    Assumed,
    Begin,
    End,
    Finish,
    GateClosed,
    GateOpen,
    Home,
    Move,
    PassDone,
    Repeat,
    Resume,
    Skip,
    Standstill,
    Unwind,
)

_HALF_MICROSTEP = 0.5


class OrderReplay:
    """Follows gate and motion through the events of a journal."""

    def __init__(self) -> None:
        self.openings = 0
        self.disorder = ""
        """The first act that came out of order, with its line; empty if none did."""
        self.astray = ""
        """The first move or standstill that was not at the planned target of its segment; empty if there was none."""
        self._targets: tuple[int, ...] = ()
        self._standing: int | None = None
        self._gate: int | None = None
        self._open_segments: set[int] = set()
        self._done: set[tuple[int, int]] = set()
        self._again: set[tuple[int, int]] = set()

    def begin(self, event: Begin) -> None:
        """Where each segment is, and which are marked."""
        self._targets = event.targets
        self._open_segments = set(event.segments)

    def set_off(self, event: Home | Move | Unwind | Finish) -> None:
        """The gate must be closed."""
        if self._gate is not None:
            self._complain(event.line, f"{event.kind} while the gate is open for segment {self._gate}")
        self._standing = self._gate = None

    def move(self, event: Move) -> None:
        """The gate must be closed, and the target be that of the segment."""
        self.set_off(event)
        self._compare(event)

    def stand(self, event: Standstill) -> None:
        """On the planned microstep of the segment."""
        self._compare(event)
        if abs(event.reported - event.target) > _HALF_MICROSTEP:
            self._complain(event.line, f"standstill at {event.reported}, planned {event.target}")
        self._standing = event.segment

    def gate_open(self, event: GateOpen) -> None:
        """The axis must stand still at the segment."""
        if self._standing != event.segment:
            self._complain(event.line, f"gate open for segment {event.segment}, which does not stand still")
        if event.segment not in self._open_segments:
            self._complain(event.line, f"gate open for segment {event.segment}, which is not to be marked")
        if (event.segment, event.number) in self._done:
            told = f"gate open for segment {event.segment}, pass {event.number}, which is done"
            self._complain(event.line, f"{told}; nobody wished it again")
        self._gate, self.openings = event.segment, self.openings + 1

    def done(self, event: PassDone) -> None:
        """The gate must be closed before a pass counts as done."""
        if self._gate is not None:
            self._complain(event.line, "a pass is done before its gate is closed")
        self._done.add((event.segment, event.number))

    def assumed(self, event: Assumed) -> None:
        """Whoever was asked has said whether it is done."""
        (self._done.add if event.done else self._done.discard)((event.segment, event.number))

    def skip(self, event: Skip) -> None:
        """The gate must be closed; from now on it stays closed for that segment."""
        if self._gate is not None:
            self._complain(event.line, "a segment is skipped before its gate is closed")
        self._open_segments.discard(event.segment)
        self._done |= {key for key in self._again if key[0] == event.segment}  # it stays done

    def repeat(self, event: Repeat) -> None:
        """The gate must be closed, and the pass be done."""
        if self._gate is not None or (event.segment, event.number) not in self._done:
            self._complain(event.line, f"segment {event.segment}, pass {event.number} is repeated before it is done")
        self._done.discard((event.segment, event.number))
        self._again.add((event.segment, event.number))
        self._open_segments.add(event.segment)

    def gate_closed(self, event: GateClosed) -> None:
        """The axis may move again."""
        self._gate = None

    def end(self, event: End) -> None:
        """Whatever was open is closed: the run does that first."""
        self._gate = None

    def resume(self, event: Resume) -> None:
        """Nothing is known to stand still; the gate of a run that crashed closed with it."""
        self._standing = self._gate = None

    def _compare(self, event: Move | Standstill) -> None:
        planned = self._targets[event.segment - 1] if event.segment <= len(self._targets) else None
        if event.target != planned:
            what = f"line {event.line}: {event.kind} of segment {event.segment} at {event.target}, planned {planned}"
            self.astray = self.astray or what

    def _complain(self, line: int, what: str) -> None:
        self.disorder = self.disorder or f"line {line}: {what}"
