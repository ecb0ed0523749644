"""How a run reports what it is doing to whoever watches; the run itself never prints."""

from __future__ import annotations

from abc import ABC, abstractmethod


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
