"""How a run reports what it is doing to whoever watches; the run itself never prints."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from firmware_host.planning.plan import JobPlan

Phase = Literal["preparing", "turning", "settling", "marking", "held", "between", "done", "stopped", "failed"]
"""What a run does; between: two parts of a batch, while somebody changes or judges the part."""


@dataclass(frozen=True)
class RunState:
    """What a run is at, told at each change.

    `still`: the axis is proved to stand still, and watched; everything else counts as turning. `gate_open`: the marking
    side may mark. `segment` of `segments`, pass `number` of `passes`, both from 1 and 0 before the first: those that
    are marked, come next, or (held) were done last; `following`: segment and pass that come behind, None where none do.
    `done` passes of `of` are done; about `left_s` (s) are left, None while that is not known. `part` of `parts` of a
    batch, from 1, with its `serial`; 0 and empty for a run of its own.
    """

    phase: Phase
    still: bool = False
    gate_open: bool = False
    segment: int = 0
    segments: int = 0
    number: int = 0
    passes: int = 0
    done: int = 0
    of: int = 0
    left_s: float | None = None
    part: int = 0
    parts: int = 0
    serial: str = ""
    following: tuple[int, int] | None = None


class Progress(ABC):
    """Receives what a run does, in order."""

    @abstractmethod
    def stage(self, text: str) -> None:
        """A new stage ("homing", "moving to segment 3 of 6")."""

    def note(self, text: str) -> None:  # noqa: B027 - most have nobody who has to know
        """Something that the person at the machine should know."""

    @abstractmethod
    def zero(self, origin_steps: int) -> None:
        """The job's zero is set, at a standstill, at this machine step."""

    @abstractmethod
    def done(self, passes: int, of: int, left_s: float | None) -> None:
        """`passes` of `of` are marked; about `left_s` (s) are left, None while that is not known."""

    @abstractmethod
    def standstill(self, segment: int, planned: int, reported: float) -> None:
        """The axis stands still at a segment: planned and reported position in microsteps from the job's zero."""

    def begins(self, plan: JobPlan, segments: Mapping[int, tuple[int, int]]) -> None:  # noqa: B027 - for who shows it
        """The passes of a part begin: of each segment that is asked for (from 1) how many are done, and of how many."""

    def marked(self, segment: int, done: int, of: int) -> None:  # noqa: B027 - for whoever shows it
        """Of a segment `done` of `of` passes are done now: more than before, or others were skipped or repeated."""

    def state(self, state: RunState) -> None:  # noqa: B027 - for whoever shows it
        """What the run is at now, at each change of it."""

    def still_so(self) -> None:  # noqa: B027 - for whoever shows it
        """The run has looked again at a standstill that it told of: it is still so. Many times a second."""


class PassingOn(Progress):
    """Passes everything on to `inner`."""

    def __init__(self, inner: Progress) -> None:
        self._inner = inner

    def stage(self, text: str) -> None:
        self._inner.stage(text)

    def note(self, text: str) -> None:
        self._inner.note(text)

    def zero(self, origin_steps: int) -> None:
        self._inner.zero(origin_steps)

    def done(self, passes: int, of: int, left_s: float | None) -> None:
        self._inner.done(passes, of, left_s)

    def standstill(self, segment: int, planned: int, reported: float) -> None:
        self._inner.standstill(segment, planned, reported)

    def begins(self, plan: JobPlan, segments: Mapping[int, tuple[int, int]]) -> None:
        self._inner.begins(plan, segments)

    def marked(self, segment: int, done: int, of: int) -> None:
        self._inner.marked(segment, done, of)

    def state(self, state: RunState) -> None:
        self._inner.state(state)

    def still_so(self) -> None:
        self._inner.still_so()


class SilentProgress(Progress):
    """Tells nobody."""

    def stage(self, text: str) -> None:
        pass

    def zero(self, origin_steps: int) -> None:
        pass

    def done(self, passes: int, of: int, left_s: float | None) -> None:
        pass

    def standstill(self, segment: int, planned: int, reported: float) -> None:
        pass
