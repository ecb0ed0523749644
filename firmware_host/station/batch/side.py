"""Whoever stands at a batch: told that the part may be changed, asked what became of it. Nothing moves meanwhile."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from firmware_host.errors import FirmwareHostError
from firmware_host.station.batch.events import PartZero
from firmware_host.station.gates.gate import PartContext
from firmware_host.station.journal.record import RunRecord

Wait = Callable[[float], None]
"""Waits so long (s), watches that the axis stands still meanwhile, and raises if it doesn't, or at a wish to stop."""


@dataclass(frozen=True)
class NextPart:
    """A part that may be put in. The axis stands still, the gate is closed.

    `diameter`: as the table has it, with its unit, empty where it is the job's; `zero`: where the part's zero will be,
    `because` says why somebody has to turn it there by hand; `released`: the motor is let go; `done_at`: when the batch
    will be finished, None while that is not known.
    """

    part: PartContext
    diameter: str
    zero: PartZero
    because: str
    released: bool
    done_at: datetime | None


@dataclass(frozen=True)
class Ready:
    """The part is in: run it. `diameter`: as measured, with its unit; empty: as the table or the job has it."""

    diameter: str = ""


@dataclass(frozen=True)
class LeaveOut:
    """Leave the part out."""

    reason: str = ""


@dataclass(frozen=True)
class Stop:
    """Stop the batch here; it can be resumed."""

    reason: str = "by the operator"


@dataclass(frozen=True)
class Good:
    """The part is good."""


@dataclass(frozen=True)
class Scrap:
    """The part is scrapped."""


@dataclass(frozen=True)
class Again:
    """Mark some segments of the part once more; `passes` of each, as many as the job says if it is None."""

    segments: tuple[int, ...]
    passes: int | None = None


@dataclass(frozen=True)
class PickUp:
    """A part that was interrupted is resumed."""


class BatchSide(ABC):
    """Answers for a batch. Every method may take its time, as long as it spends it in `wait`.

    `sees`: somebody sees where the part stands, so a zero that is not proved may be set by hand.
    """

    sees: ClassVar[bool] = True

    @abstractmethod
    def change(self, part: NextPart, wait: Wait) -> Ready | LeaveOut | Stop:
        """The part may be put in."""

    @abstractmethod
    def refused(self, part: NextPart, error: FirmwareHostError, wait: Wait) -> Ready | LeaveOut | Stop:
        """The part can't be run: a limit that fails, a diameter that is none. Nothing has moved."""

    @abstractmethod
    def judge(self, part: PartContext, record: RunRecord, wait: Wait) -> Good | Scrap | Again | Stop:
        """The part is marked: what has become of it?"""

    @abstractmethod
    def interrupted(self, part: PartContext, record: RunRecord, wait: Wait) -> PickUp | Scrap | Stop:
        """The batch is resumed at a part whose run was interrupted."""


class Unasked(BatchSide):
    """Asks nobody: a part that is marked is good, one that was interrupted is resumed, what is refused is raised."""

    sees = False

    def refused(self, part: NextPart, error: FirmwareHostError, wait: Wait) -> Ready | LeaveOut | Stop:
        raise error

    def judge(self, part: PartContext, record: RunRecord, wait: Wait) -> Good | Scrap | Again | Stop:
        return Good()

    def interrupted(self, part: PartContext, record: RunRecord, wait: Wait) -> PickUp | Scrap | Stop:
        return PickUp()


class AloneSide(Unasked):
    """Nobody there: each part follows by itself after `pause_s` (s, >= 0)."""

    def __init__(self, pause_s: float = 0.0) -> None:
        self._pause_s = pause_s

    def change(self, part: NextPart, wait: Wait) -> Ready | LeaveOut | Stop:
        wait(self._pause_s)
        return Ready()
