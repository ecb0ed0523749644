"""What every simulated controller can do, whatever language it speaks."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class MotionInterval:
    """A motor's uninterrupted travel in one direction.

    `start_s` and `end_s` are in seconds of the device's time; `from_steps` and `to_steps` are whole steps of the motor
    itself (see `SimulatedDevice.steps_at`).
    """

    axis: str
    start_s: float
    end_s: float
    from_steps: int
    to_steps: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of a move as a board sends its pulses to one motor: at one constant acceleration.

    `start_s` and `end_s` in seconds of the device's time; `duration_s` what it lasts on a machine (shorter than that by
    a clock that is quicker). Of the pulses, counted in the motor's own forward direction: `base` were made before the
    block it belongs to, `first` and `last` are the places in the block at its ends, as real numbers: made are whole
    pulses, cut off toward 0. `first_rate`, `last_rate`: pulses/s at its ends, signed.
    """

    start_s: float
    end_s: float
    duration_s: float
    base: int
    first: float
    last: float
    first_rate: float
    last_rate: float


class Follower(ABC):
    """What hangs on a motor's wires: it is told of every pulse once a motion has ended."""

    @abstractmethod
    def follow(self, stretches: Sequence[Stretch]) -> None:
        """A motion has ended that was made of these stretches, in order, one after the other."""


class SimulatedDevice(ABC):
    """A controller driven by explicit time: no thread, no clock, no sleeping.

    Every `now_s` is in seconds and may never be smaller than one handed in before (ValueError).
    """

    @abstractmethod
    def receive(self, data: bytes, now_s: float) -> None:
        """Take the bytes that arrive at `now_s`."""

    @abstractmethod
    def transmit(self, now_s: float) -> bytes:
        """Hand over (and forget) the bytes that the device has put on the line up to `now_s`."""

    @abstractmethod
    def next_event_s(self) -> float | None:
        """Next instant (s) at which the device transmits or changes state by itself; None if nothing is pending."""

    @abstractmethod
    def hardware_reset(self, now_s: float) -> None:
        """Do what the reset line does: position back to 0, greeting; stored settings stay."""

    @abstractmethod
    def client_opened(self, now_s: float) -> bool:
        """Do what the board does when somebody opens its port: a reset (True), or nothing (False)."""

    @abstractmethod
    def steps_at(self, axis: str, now_s: float) -> int:
        """True step count of the motor since power-up: what the shaft did, whatever the controller believes.

        Positive is the motor's own forward direction: a direction mask turns the sign. No reset sets it back.
        """

    @abstractmethod
    def moving_at(self, now_s: float) -> bool:
        """Whether a motor is turning at `now_s`."""

    @abstractmethod
    def released_at(self, now_s: float) -> bool:
        """Whether the motors are without current at `now_s`, so that the part can turn by itself."""

    @abstractmethod
    def make_moves_last(self, times: float) -> None:
        """From now on let moves take so many `times` (> 0) as long: their true time, by a clock that is as quick."""

    @abstractmethod
    def followed_by(self, axis: str, follower: Follower) -> None:
        """From now on tell `follower` of every pulse of the motor of `axis`."""

    @property
    @abstractmethod
    def motion_log(self) -> Sequence[MotionInterval]:
        """The record of all completed motion, oldest first."""
