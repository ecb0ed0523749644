"""What every dialect must be able to say and to understand. Pure: no port, no clock, no memory.

A dialect belongs to a mechanism, whose base class lists its own requests: `status_query.base.StateWordDialect` or
`numbered_line.base.NumberedDialect`. `mechanisms.controller_for` makes the controller that goes with it.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from firmware_host.controller.reply import AxisState, Reply
from firmware_host.controller.stored_settings import SettingNames
from firmware_host.errors import InputError

_DECIMAL = re.compile(r"-?\d{1,7}(?:\.\d{1,6})?", re.ASCII)


@dataclass(frozen=True)
class Capabilities:
    """What the controllers of a dialect can do, as far as a caller has to know it."""

    tells_state: bool
    """It says in a word whether it is ready; else only sync lines and step counts tell."""
    counts_steps: bool
    """Positions come as the controller's own step counts, without rounding; else in units. `Learned.position` says what
    they tell: of a planned count no more than where the last move will end."""
    stop_keeps_position: bool
    """A stop of a moving axis slows it down; else it stops short, and steps may be lost."""
    in_pieces: bool = False
    """No word stops a move with its position kept, so long ones are sent in pieces: a stop sends no more of them."""


class Dialect(ABC):
    """Turns our requests into bytes and lines into replies. Lines come with their end.

    Methods that take an axis raise InputError for a letter the dialect can't name.
    """

    name: ClassVar[str]
    capabilities: ClassVar[Capabilities]
    alarm_remedy: ClassVar[str]
    """What a person can do after an alarm."""
    probes_early: ClassVar[bool] = False
    """True if the probe may go out while a board may still be starting: what it doesn't hear then does no harm."""
    max_line_bytes: ClassVar[int]
    """Longest line the controller takes (bytes, with its end, as `ask` gets it)."""

    @abstractmethod
    def probe(self) -> bytes:
        """Makes whoever speaks the dialect answer, changes nothing, and never carries out a half line left behind."""

    @abstractmethod
    def is_own(self, reply: Reply) -> bool:
        """True if `reply`, as parsed by this dialect, shows that this dialect is spoken."""

    @abstractmethod
    def move_line(self, axis: str, coordinate: str, feed: str) -> bytes:
        """One straight move to the coordinate `coordinate` at `feed` units/min (decimal texts, feed > 0).

        Raises InputError for a text that isn't a plain decimal number.
        """

    @abstractmethod
    def sync_line(self) -> bytes:
        """Answered only when all motion before it has ended (some boards: the line after it is)."""

    @abstractmethod
    def output_line(self, number: int, on: bool) -> bytes:
        """Switches output `number` (which outputs there are depends on the dialect). Raises InputError for another."""

    def release_line(self) -> bytes:
        """Lets go of the motors. Raises InputError where there is no word for it."""
        problem = f"dialect {self.name} has no word that releases the motors"
        raise InputError(problem, "Run without releasing the motor", key="release_motor")

    @abstractmethod
    def setting_line(self, key: str, text: str) -> bytes:
        """Sets one setting. Raises InputError for a key or a text that can't be one."""

    def listed_setting_line(self, key: str, text: str) -> bytes:
        """As `setting_line`, for a text as the controller has listed it, however many decimals that has."""
        return self.setting_line(key, text)

    def storing_order(self, changes: Mapping[str, str]) -> tuple[str, ...]:
        """The keys of `changes` in an order in which they are taken; those that change steps per unit last."""
        return tuple(sorted(changes, key=self.rescales))

    @abstractmethod
    def rescales(self, key: str) -> bool:
        """True if setting `key` changes how many steps make a unit, for whichever axis."""

    @abstractmethod
    def setting_names(self, axis: str) -> SettingNames:
        """The keys of the settings of `axis`."""

    @abstractmethod
    def parse(self, line: bytes) -> Reply:
        """What `line` (without its end) means; Unknown if it fits nothing. Never raises."""

    @abstractmethod
    def state_remedy(self, state: AxisState) -> str:
        """What a person can do when the controller is in `state`; "" if nothing needs to be done."""


def require_plain_numbers(coordinate: str, feed: str) -> None:
    """Raise InputError unless both are plain decimal texts, at most seven digits before the point, and the feed > 0."""
    if not _DECIMAL.fullmatch(coordinate):
        raise InputError(f"coordinate {coordinate!r} is not a decimal number", "Write it like -12.345")
    if not _DECIMAL.fullmatch(feed) or float(feed) <= 0:
        raise InputError(f"feed {feed!r} is not a decimal number above 0", "Write it in units/min, like 600")
