"""What a run knows of its axis's motion: whether an act is under way, and how the last one was ended."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Literal, Protocol

from firmware_host.controller.controller import Controller
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    ControllerResetError,
    FirmwareHostError,
    LineRejectedError,
    MotorReleasedError,
    PositionError,
)
from firmware_host.station.journal.events import End, Finish, Home, JournalEvent, Move, Release, Unwind
from firmware_host.station.stop_request import StopAskedError, StopRequest


def outcome_of(error: BaseException) -> Literal["stopped", "failed"]:
    """How a run ended that `error` ends."""
    return "stopped" if isinstance(error, StopAskedError) else "failed"


class Journals(Protocol):
    """Where acts are announced before they are done: the journal of a run, or the note of a hand."""

    def write(self, event: JournalEvent) -> object:
        """Keep the event; it is there when this returns. Raises `JournalError`."""
        ...


class Motion:
    """The axis of one run, or of one hand. Every act that moves it goes through `act`.

    `stop` and `release` end a run early. `may_move`: something was sent that moves the axis, so a run that ends early
    has to stop it.
    """

    def __init__(self, controller: Controller, journal: Journals, stop: StopRequest) -> None:
        self._controller = controller
        self._journal = journal
        self._stop = stop
        self._under_way = False
        self._stands_still = True
        self._position_lost = False
        self.may_move = False

    @property
    def under_way(self) -> bool:
        """Whether an act was begun that has not come to its end."""
        return self._under_way

    @contextmanager
    def act(self, announced: Home | Move | Unwind | Finish) -> Iterator[None]:
        """An act that moves the axis: journalled before it, under way inside, and still so if an error leaves it.

        Raises `StopAskedError` instead of beginning when the run is to stop.
        """
        self._stop.check()
        self._journal.write(announced)
        self.may_move = self._under_way = True
        yield
        self._under_way = False

    def stop(self) -> bool:
        """Bring the axis to a standstill; whether it was seen to stand still.

        Where a stop stops short, it loses the position of an act under way.
        """
        self._stands_still = False
        if self._under_way and not self._controller.capabilities.stop_keeps_position:
            self._position_lost = True
        self._stands_still = self._controller.stop().stands_still
        self._under_way = self._under_way and not self._stands_still
        return self._stands_still

    def release(self) -> None:
        """Release the motor of an axis that stands still, journalled before; of any other it does nothing.

        If the controller refuses, that is journalled, too, and raised: the motor holds on, and the position stays.
        """
        if not self._stands_still:
            return
        lost = self._position_lost
        self._journal.write(Release())
        self._position_lost = True
        try:
            self._controller.release()
        except LineRejectedError as error:
            self._position_lost = lost
            self._journal.write(Release(refused=error.detail[:300]))
            raise ControllerError(f"refused to release the motor: {error.detail}. The motor holds the part") from error

    def end(self, error: BaseException) -> End:
        """What the journal says of a run that `error` ends."""
        told = isinstance(error, FirmwareHostError | StopAskedError)
        lost = isinstance(error, ControllerFaultError | ControllerResetError | MotorReleasedError | PositionError)
        return End(
            outcome=outcome_of(error),
            reason=str(error) if told else type(error).__name__,
            stands_still=self._stands_still,
            position_lost=lost or self._position_lost or self._controller.position_lost,
        )
