"""What whoever watches a run wishes of it: hold, carry on, stop, skip this segment, repeat this pass."""

from __future__ import annotations

import threading

from firmware_host.station.stop_request import StopRequest

PassKey = tuple[int, int]
"""(segment, pass), both from 1."""


class RunControl:
    """Wishes for a run, noted by any thread; the run looks at them after each pass and before it opens the gate.

    Asking interrupts nobody and returns at once. A wish to skip or repeat names its segment or pass when it is uttered,
    so that it never strikes the next one. A wish that the run has not taken yet is forgotten with the process.
    `stop`: the wish to stop, which is looked at wherever something waits.
    """

    def __init__(self, stop: StopRequest | None = None) -> None:
        self.stop = stop if stop is not None else StopRequest()
        self._lock = threading.Lock()
        self._holds = False
        self._hold_number = 0
        self._next: PassKey | None = None
        self._last: PassKey | None = None
        self._skip: list[int] = []
        self._repeat: list[PassKey] = []

    # --- wishes ----------------------------------------------------------------------------------------------------

    def hold(self) -> None:
        """Hold after this pass: the gate stays closed, the motor stays energised, until `carry_on`.

        Wished while the axis turns, it holds at the next segment before its gate opens.
        """
        with self._lock:
            self._hold_number += not self._holds
            self._holds = True

    def carry_on(self) -> None:
        """Carry on after a hold, or take the wish to hold back."""
        self._holds = False

    def stop_now(self, reason: str = "by the operator") -> None:
        """Stop: the gate closes, the axis is stopped, the run ends and can be resumed."""
        self.stop.ask(reason)

    def skip_segment(self, segment: int | None = None) -> int | None:
        """Skip what is left of a segment, by default of the one whose pass is marked now or comes next.

        A pass of it that is being marked ends at once. Returns the segment; None, and nothing is skipped, where the run
        has no pass left or hasn't begun.
        """
        with self._lock:
            if segment is None:
                segment = self._next[0] if self._next is not None else None
            if segment is not None and segment not in self._skip:
                self._skip.append(segment)
                self._repeat = [key for key in self._repeat if key[0] != segment]  # wished before, and away with it
            return segment

    def repeat_pass(self) -> PassKey | None:
        """Mark a pass once more: the one being marked once it is done, or else the one that was done last.

        Returns it; None, and nothing is repeated, where no pass was marked since the run began or was resumed.
        """
        with self._lock:
            if self._last is not None and self._last not in self._repeat:
                self._repeat.append(self._last)
            return self._last

    # --- what they are about ---------------------------------------------------------------------------------------

    @property
    def holds(self) -> bool:
        """Whether the run is to hold, or holds."""
        return self._holds

    @property
    def hold_number(self) -> int:
        """Which hold is wished, or was last, from 1; 0 before the first. Whoever ends one can say which it means."""
        return self._hold_number

    @property
    def segment(self) -> int | None:
        """The segment that `skip_segment` would skip."""
        return self._next[0] if self._next is not None else None

    @property
    def last_pass(self) -> PassKey | None:
        """The pass that `repeat_pass` would repeat."""
        return self._last

    # --- the run's side --------------------------------------------------------------------------------------------

    def stands_at(self, coming: PassKey | None, last: PassKey | None) -> None:
        """The run says which pass is marked now or comes next, and which one was begun last."""
        with self._lock:
            self._next, self._last = coming, last

    def ends(self) -> bool:
        """Whether the passes are over: nothing is wished, and from now on no pass can be repeated."""
        with self._lock:
            if not self.wishes:
                self._next = self._last = None
                return True
            return False

    @property
    def wishes(self) -> bool:
        """Whether there is something to look at before the next pass."""
        return self._holds or self.asks

    @property
    def asks(self) -> bool:
        """Whether a segment is to be skipped, or a pass repeated."""
        return bool(self._skip) or bool(self._repeat)

    def skips(self, segment: int) -> bool:
        """Whether this segment is to be skipped."""
        return segment in self._skip

    def take_skip(self) -> int | None:
        """The next segment to skip; it counts as taken then."""
        with self._lock:
            return self._skip.pop(0) if self._skip else None

    def take_repeat(self) -> PassKey | None:
        """The next pass to repeat; it counts as taken then."""
        with self._lock:
            return self._repeat.pop(0) if self._repeat else None
