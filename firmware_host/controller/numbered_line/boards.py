"""The kinds of boards that take numbered lines: what can't be learned by asking, and what each is told apart by.

A board is recognised by what it answers, never by a name. A dialect lists its kinds in `NumberedDialect.boards`, the
most particular first. A kind of one's own is a subclass of `Board` with the few lines that differ. Figures were
measured by counting step pulses, unless they are said to be from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from firmware_host.controller.learned import Beyond
from firmware_host.controller.stored_settings import SettingNames


@dataclass(frozen=True)
class Answers:
    """What a board has answered while it was asked what it does."""

    axes: str = ""
    """Letters of the axes of which it counts steps."""
    counts_apart: bool = False
    """Whole steps come on a line of their own, and only if they are asked for."""
    repeats_lines: bool = False
    """It repeats each line as it has come, before it answers."""
    numbers_answers: bool = False
    """Its answer carries the number of the line."""
    prints_behind: bool = False
    """What a line prints comes behind its answer."""
    lists_stored: bool = False
    """The listing of settings shows what is stored."""
    printed: Mapping[str, str] = field(default_factory=dict)
    """Settings as printed, key -> text."""
    rates_per_s: bool | None = None
    """Whether rates are listed per second; None: not told."""
    jumps: Mapping[str, str] | None = None
    """The step of speed that is set for the start of a move, by axis letter; empty: none is set; None: not told."""
    travel: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """Lowest and highest coordinate by axis letter, as far as told."""
    keeps_travel: bool = True
    """False if it says that it doesn't keep to the travel."""


class Board:
    """A board of which nothing is known but its answers. None: not known."""

    name: str = ""
    """For tables; "" for a board of no known kind."""
    told_by: str = "answers like no board that was measured"
    """What it is told apart by, in words for a reader."""
    whole_accelerations: bool | None = None
    share_of_jump: float | None = None
    """How much of the listed jump there is at the start of a move."""
    first_step_wait_s: float | None = None
    shortest_move_steps: int | None = None
    beyond_travel: Beyond | None = None
    travel_before_homing: bool | None = None
    """Whether it keeps to its travel before it was homed."""
    quick_stop: bool | None = None
    highest_step_rate: float | None = None

    def fits(self, answers: Answers) -> bool:
        """True if a board that answers so is of this kind."""
        del answers
        return True

    def setting_names(self, names: SettingNames, axis: str) -> SettingNames:
        """`names`, which are the dialect's, with what is called otherwise on this kind of board."""
        del axis
        return names

    def start_jump(self, answers: Answers, axis: str) -> tuple[float | None, str | None]:
        """The step of speed at the start of a plain move of `axis` (units/s; None: not known), and its setting."""
        del answers, axis
        return None, None


class StoredLister(Board):
    """Repeats each line, answers with its number, and lists what is stored."""

    name = "numbered-line-a"
    told_by = "counts steps on a line of their own; lists what is stored, with a travel acceleration for each axis"
    whole_accelerations = False
    share_of_jump = 0.5
    first_step_wait_s = 0.0
    shortest_move_steps = 1
    beyond_travel = Beyond.REFUSED_SILENTLY
    travel_before_homing = True
    quick_stop = False
    highest_step_rate = 39_700.0

    def fits(self, answers: Answers) -> bool:
        particular = {f"{word} {axis}" for word in ("M202", "M207") for axis in answers.axes[:1]}
        return answers.counts_apart and answers.lists_stored and particular <= answers.printed.keys()

    def setting_names(self, names: SettingNames, axis: str) -> SettingNames:
        return replace(names, acceleration=f"M202 {axis}", general_accelerations=())  # M204 is a heater's

    def start_jump(self, answers: Answers, axis: str) -> tuple[float | None, str | None]:
        key = "M207 Z" if axis == "Z" else "M207 X"
        text = answers.printed.get(key)
        return (None if text is None or self.share_of_jump is None else self.share_of_jump * float(text)), key


class InForceLister(Board):
    """Prints, then answers; lists what is in force; starts each move at a rate of steps that no setting changes."""

    name = "numbered-line-b"
    told_by = "counts steps behind each position; lists what is in force, with no step of speed for the start of a move"
    whole_accelerations = True
    first_step_wait_s = 1 / 120
    shortest_move_steps = 6
    beyond_travel = Beyond.CLIPPED
    travel_before_homing = False
    quick_stop = True
    highest_step_rate = 55_000.0

    def fits(self, answers: Answers) -> bool:
        plain = not (answers.counts_apart or answers.prints_behind or answers.lists_stored)
        return plain and answers.jumps == {} and "M204 T" in answers.printed and answers.rates_per_s is True

    def start_jump(self, answers: Answers, axis: str) -> tuple[float | None, str | None]:
        del answers, axis
        return 0.0, None


BOARDS: tuple[Board, ...] = (StoredLister(), InForceLister())


def board_for(kinds: tuple[Board, ...], answers: Answers) -> Board:
    """The first of `kinds` that fits, else one of which nothing is known."""
    return next((kind for kind in kinds if kind.fits(answers)), Board())
