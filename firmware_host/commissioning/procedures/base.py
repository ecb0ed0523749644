"""What every procedure answers, what it knows of the machine that stands there, and how a place is come to and read."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Generator
from dataclasses import dataclass
from fractions import Fraction
from typing import ClassVar, Literal

from firmware_host.commissioning.script import Answer, Ask, Kind, Script, Step, TurnTo
from firmware_host.errors import InputError
from firmware_host.model import Machine, Setup
from firmware_host.planning.by_hand import HandPlan, Pace
from firmware_host.station.hand.line import ControllerLine

APPROACH = Fraction(1, 12)
"""So far back the axis goes before it comes to a place from one side (turns): more than any lost motion."""


@dataclass(frozen=True)
class Bench:
    """The machine, the job whose part is in it (None for a part that nobody describes), and its diameter (m) if known.

    `per_turn`: microsteps for a turn of the part, exactly, as the files have it. `turns` and `repeats`: how far and how
    often, as the person wishes. `within_length` (m) and `within_angle` (rad): how closely the instrument reads.
    `plan`: how it may be turned by hand; `line`: the controller, where it is only asked. `paced`: whether a move may
    have an acceleration of its own, for which the controller's settings are written.
    """

    machine: Machine
    setup: Setup | None
    per_turn: Fraction
    diameter: float | None
    turns: int
    repeats: int
    within_length: float
    within_angle: float
    plan: HandPlan | None = None
    line: ControllerLine | None = None
    paced: bool = False

    @property
    def read_to(self) -> float:
        """How closely an angle of the part is read (rad): the coarser of a protractor and a rule at the surface."""
        by_length = 2 * self.within_length / self.diameter if self.diameter is not None else 0.0
        return max(self.within_angle, by_length)


class Procedure(ABC):
    """One thing to measure. `needs`: what the person needs for it; `turns`, `repeats`: what is usual."""

    key: ClassVar[str]
    title: ClassVar[str]
    purpose: ClassVar[str]
    needs: ClassVar[tuple[str, ...]]
    turns: ClassVar[int] = 1
    repeats: ClassVar[int] = 5
    writes_settings: ClassVar[bool] = False
    """Whether it changes the controller's stored settings meanwhile, and puts them back."""
    fewest: ClassVar[int] = 1
    """The fewest repeats that tell anything."""
    resumed: ClassVar[Literal["at its place", "anywhere", "never"]] = "at its place"
    """Where it can be taken up again after it was broken off: where its zero is proved, anywhere, or never."""

    opens_gate: ClassVar[bool] = False
    """Whether the job's gate is opened, where the part stands; else it stays closed."""
    seeks_home: ClassVar[bool] = False
    """Whether it seeks the home switch before anything else: then a locked controller is unlocked for it."""
    stands_still: ClassVar[bool] = False
    """Whether nothing is turned: then no zero is needed, and the one that is set stays."""
    asks_only: ClassVar[bool] = False
    """Whether the controller is only asked: it is opened whatever its settings are, and there is no hand."""

    @abstractmethod
    def moves(self, bench: Bench) -> str:
        """What will move, and how far, in one sentence."""

    @abstractmethod
    def script(self, bench: Bench) -> Script:
        """Its steps; returns what was found. Raises `InputError` where the machine can't have it."""


def in_lots(bench: Bench) -> str:
    """What moves where whole turns are made in lots, one way."""
    whole = bench.turns * bench.repeats
    return f"The part turns {whole} turns one way, in {bench.repeats} lots of {bench.turns}, and stays there."


def number(answer: Answer | None) -> float:
    """A reading as a number."""
    if not isinstance(answer, float):
        raise TypeError(f"{answer!r} is no reading")
    return answer


def from_below(turns: Fraction | int, words: str, pace: Pace | None = None) -> Generator[Step, Answer | None, None]:
    """Come to a place from the side of smaller angles; `pace` as in `TurnTo`."""
    yield TurnTo(turns - APPROACH, "back a little, to come from one side", pace=pace)
    yield TurnTo(Fraction(turns), words, pace=pace)


def read(key: str, question: str, kind: Kind) -> Generator[Step, Answer | None, float]:
    """Ask for a number."""
    answer = yield Ask(key, question, kind)
    return number(answer)


def require_diameter(bench: Bench) -> float:
    """The diameter (m) that a length around the part needs. Raises `InputError` if nobody has said it."""
    if bench.diameter is None:
        raise InputError("the diameter of the part is not known", "Name a job, or say --diameter", key="diameter")
    return bench.diameter


def require_setup(bench: Bench) -> Setup:
    """The job whose part is in the machine. Raises `InputError` if nobody has named it."""
    if bench.setup is None:
        raise InputError("it is not known what turns along", "Name a job whose part is in the machine", key="MACHINE")
    return bench.setup


def require_plan(bench: Bench) -> HandPlan:
    """How the part may be turned by hand. Raises `InputError` where there is no machine to turn."""
    if bench.plan is None:
        raise InputError("nothing says how the part may be turned", "Open a hand on the machine first", key="plan")
    return bench.plan


def degrees(angle: float) -> str:
    """An angle (rad) in degrees, with three digits that count, and never with an exponent."""
    return f"{float(f'{math.degrees(angle):.3g}'):.10g} deg"
