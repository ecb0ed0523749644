"""What is known of a board that takes numbered lines once it has been opened."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from firmware_host.controller.learned import Beyond, Fact, Learned, Listing, Position, Source
from firmware_host.controller.numbered_line.boards import Answers, Board
from firmware_host.controller.stored_settings import ControllerSettings, StatedSettings

T = TypeVar("T")
SAFE_STEP_RATE = 20_000.0
"""Steps/s that every measured board of every dialect made exactly; those with numbered lines made 39,700 and 55,000."""
UNKIND_SHORTEST = 6
"""Steps: the longest of the shortest moves that a measured board makes."""
UNKIND_WAIT_S = 1 / 120
"""The longest wait for a second step that was measured (s)."""


@dataclass(frozen=True)
class Asked:
    """One board as it was found: its kind, its answers, and what else bears on what it does now."""

    board: Board
    answers: Answers
    settings: ControllerSettings
    answer_s: float
    homed: bool | None
    """Whether it was homed since it was reset; None: not known."""
    rates_per_s: tuple[bool | None, bool | None]
    """Whether a rate counts per second as it is written, and as it is listed; None: not known."""

    @property
    def axis(self) -> str:
        return self.settings.axis

    @property
    def stated(self) -> StatedSettings:
        return self.settings.stated

    def fact(self, measured: T | None, unkind: T, *, stated: T | None = None, key: str = "", note: str = "") -> Fact[T]:
        """What the machine's file states, else what was measured on such boards, else the unkind end.

        `key`: of the machine's file, where it can be stated.
        """
        if stated is not None:
            return Fact(stated, Source.STATED)
        if measured is not None:
            return Fact(measured, Source.DIALECT, note)
        return Fact(unkind, Source.ASSUMED, f"state {key} in the machine file" if key else "")


def learned_of(asked: Asked) -> Learned:
    """The record of a board."""
    board, answers = asked.board, asked.answers
    jump = board.start_jump(answers, asked.axis)
    written, listed = (_rate(per_s, asked) for per_s in asked.rates_per_s)
    return Learned(
        axes=Fact(answers.axes, Source.TOLD),
        acknowledgement=Fact(_acknowledgement(answers), Source.SEEN),
        position=asked.fact(Position.PLANNED if board.name else None, Position.PLANNED),
        position_asked=Fact(
            "a question that adds a line of steps" if answers.counts_apart else "a plain question", Source.SEEN
        ),
        listing=Fact(_listing(answers), Source.SEEN),
        rate_written_per_s=written,
        rate_listed_per_s=listed,
        acceleration_key=_acceleration(asked),
        whole_accelerations=asked.fact(board.whole_accelerations, True),
        start_jump_units_per_s=_start_jump(asked, jump[0]),
        start_jump_key=Fact(jump[1], Source.DIALECT if board.name else Source.ASSUMED),
        first_step_wait_s=asked.fact(
            board.first_step_wait_s,
            UNKIND_WAIT_S,
            stated=asked.stated.second_step_after_s,
            key="link.stated.second_step_after",
        ),
        shortest_move_steps=asked.fact(
            board.shortest_move_steps,
            UNKIND_SHORTEST,
            stated=asked.stated.shortest_move_steps,
            key="link.stated.shortest_move",
        ),
        travel_units=_travel(asked),
        beyond_travel=asked.fact(board.beyond_travel, Beyond.REFUSED_SILENTLY),
        travel_keys=Fact(None, Source.DIALECT if board.name else Source.ASSUMED),
        quick_stop=asked.fact(
            board.quick_stop,
            False,
            stated=asked.stated.quick_stop,
            key="link.stated.quick_stop",
            note=_STOP_NOTE if board.quick_stop else "",
        ),
        soft_reset_s=Fact(None, Source.DIALECT),
        answer_s=Fact(asked.answer_s, Source.SEEN),
        highest_step_rate=asked.fact(board.highest_step_rate, SAFE_STEP_RATE),
    )


_STOP_NOTE = "it stops short, and steps may be lost"


def _rate(per_s: bool | None, asked: Asked) -> Fact[bool | None]:
    """A rate's unit: as the listing tells it, else as stated; one that is told to be another was measured."""
    if per_s is None:
        return Fact(None, Source.ASSUMED, "state link.stated.rates_per in the machine file")
    if per_s == asked.answers.rates_per_s:
        return Fact(per_s, Source.TOLD)
    return Fact(per_s, Source.DIALECT if asked.stated.rates_per_s is None else Source.STATED)


def _acknowledgement(answers: Answers) -> str:
    repeats = "repeats it, " if answers.repeats_lines else ""
    answer = "answers with its number" if answers.numbers_answers else "answers"
    first, then = (answer, "prints") if answers.prints_behind else ("prints", answer)
    return f"{repeats}{first}, then {then}"


def _listing(answers: Answers) -> Listing:
    if not answers.printed:
        return Listing.NONE
    return Listing.STORED if answers.lists_stored else Listing.IN_FORCE


def _acceleration(asked: Asked) -> Fact[str | None]:
    """The setting that governs: the smaller one, where several do."""
    names, printed = asked.settings.names, asked.answers.printed
    general = next((key for key in names.general_accelerations if key in printed), None)
    key = names.acceleration
    if general is not None and key in printed and float(printed[general]) < float(printed[key]):
        key = general
    if asked.board.name:
        return Fact(key, Source.DIALECT, "the smaller of two" if general else "")
    return Fact(key, Source.ASSUMED, "the first moves of a run are timed against the plan")


def _start_jump(asked: Asked, measured: float | None) -> Fact[float | None]:
    if asked.stated.start_jump_units_per_s is not None:
        return Fact(float(asked.stated.start_jump_units_per_s), Source.STATED)
    if measured is None:
        return Fact(None, Source.ASSUMED, "state link.stated.start_jump in the machine file")
    note = "as stored" if measured and asked.answers.lists_stored else ""
    return Fact(measured, Source.DIALECT, note)


def _travel(asked: Asked) -> Fact[tuple[float, float] | None]:
    """The travel kept now. Where that depends on homing, and whether it was homed is not known, it is taken as kept."""
    ends = asked.answers.travel.get(asked.axis)
    if ends is None:
        return Fact(None, Source.ASSUMED, "it doesn't tell its travel: axis.travel of the machine file counts")
    if not asked.answers.keeps_travel:
        return Fact(None, Source.TOLD, "it says that it doesn't keep to it")
    if asked.board.travel_before_homing is False and asked.homed is False:
        return Fact(None, Source.TOLD, f"once homed {ends[0]:g} to {ends[1]:g}")
    return Fact(ends, Source.TOLD)
