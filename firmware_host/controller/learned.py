"""What is known of the board at hand, each line with where it comes from. Frozen: learned once, on connecting.

Whoever plans, moves or writes settings reads this record and never asks which board it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Generic, TypeVar

T_co = TypeVar("T_co", covariant=True)


class Source(Enum):
    """Where a line of the record comes from; what counts most stands first."""

    TOLD = "the board told it"
    SEEN = "seen in its answers"
    STATED = "the machine file says so"
    DIALECT = "measured on boards that answer like this one"
    ASSUMED = "not known: the unkind end is taken"


@dataclass(frozen=True)
class Fact(Generic[T_co]):
    """One thing known of a board, and where from. A value None: the board has none, or it can't be known (ASSUMED)."""

    value: T_co
    source: Source
    note: str = ""
    """More for a reader; above all what the user can do where it isn't known."""

    @property
    def known(self) -> bool:
        """False where only the unkind end was taken."""
        return self.source is not Source.ASSUMED


class Position(Enum):
    """What a reported position tells."""

    FOLLOWS_MOTOR = "where the motor is"
    PLANNED = "the planned one: where the last move will end"


class Listing(Enum):
    """What the listing of settings shows."""

    IN_FORCE = "what is in force"
    STORED = "what is stored; another value may be in force"
    NONE = "the board lists no settings"


class Beyond(Enum):
    """What the board does with a move to a place beyond the travel that it keeps."""

    REFUSED_SILENTLY = "the whole move is left out, and accepted all the same"
    CLIPPED = "the move ends at the end of the travel, without a word"
    ALARM = "an alarm comes, and the board locks"
    MADE = "the move is made"


@dataclass(frozen=True)
class Learned:
    """What one board does, for the axis at hand. Units are the axis units (mm or degrees)."""

    axes: Fact[str]
    """The letters of its axes, in the order of its reports."""
    acknowledgement: Fact[str]
    """How it says that a line was accepted, in words for a reader."""
    position: Fact[Position]
    position_asked: Fact[str]
    """How the position is asked so that whole steps come back, in words for a reader."""
    listing: Fact[Listing]
    rate_written_per_s: Fact[bool | None]
    """Whether a rate that is written counts per second (True) or per minute (False)."""
    rate_listed_per_s: Fact[bool | None]
    """The same for a rate as it is listed."""
    acceleration_key: Fact[str | None]
    """The setting that governs a move of this axis alone, spelt as in `SettingNames`."""
    whole_accelerations: Fact[bool]
    """True if an acceleration is kept as a whole number: what is behind the point is dropped."""
    start_jump_units_per_s: Fact[float | None]
    """The step of speed at the start and at the end of a plain move (units/s, >= 0); 0: none."""
    start_jump_key: Fact[str | None]
    """The setting that the jump comes from, if it is one."""
    first_step_wait_s: Fact[float]
    """So long after the first step of a move the second one comes (s), whatever the acceleration; 0: as it asks."""
    shortest_move_steps: Fact[int]
    """Moves of fewer steps are not made, and nothing is said (>= 1)."""
    travel_units: Fact[tuple[float, float] | None]
    """Lowest and highest coordinate that the board keeps to now; None: no bounds."""
    beyond_travel: Fact[Beyond]
    travel_keys: Fact[tuple[str, str] | None]
    """The settings of the two ends of the travel, where they are settings."""
    quick_stop: Fact[bool]
    """True if a move under way can be ended before its target without a halt."""
    soft_reset_s: Fact[float | None]
    """How long a reset by a request takes (s); None: there is no such reset."""
    answer_s: Fact[float]
    """From a question for the position to its answer (s, > 0)."""
    highest_step_rate: Fact[float]
    """The most steps/s at which no step is lost, as far as was measured."""
