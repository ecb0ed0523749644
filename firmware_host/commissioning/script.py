"""What a procedure does, step by step, as data: whoever carries it out turns the axis and asks the person.

A procedure is a generator of these steps. Places are absolute, from where it began, so that one that was interrupted is
resumed at the first reading that is missing: what was read before is handed to it again, and nothing is turned for it.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, TypeAlias

from firmware_host.commissioning.finding import Finding
from firmware_host.planning.by_hand import Pace
from firmware_host.station.gates.gate import PassRequest
from firmware_host.station.hand.hand import Hand

Kind = Literal[
    "length",
    "angle",
    "part-angle",
    "choice",
    "number",
    "time",
    "rate",
    "angular speed",
    "mass",
    "force",
    "torque",
    "inertia",
    "current",
    "resistance",
    "temperature",
]
"""Of a reading: "part-angle" may be read as an angle, or as a length around the part where its diameter is known; a
"number" has no unit; "choice" is one of some words; each other is a kind of quantity, in any of its units.
"""


@dataclass(frozen=True)
class Say:
    """Something to do by hand, or to know."""

    text: str


@dataclass(frozen=True)
class TurnTo:
    """Turn the part to `turns` from where the procedure began; `words` say it ("": they were said before).

    `straight`: from whichever side it comes, lost motion and all; else that is taken up where the file has any.
    `pace`: how quickly; None as the hand's plan has it.
    """

    turns: Fraction
    words: str
    straight: bool = False
    pace: Pace | None = None


@dataclass(frozen=True)
class Wait:
    """Let `seconds` pass with the axis standing still, and watch that it does; `words` say what for."""

    seconds: float
    words: str


@dataclass(frozen=True)
class TurnToAndFro:
    """Turn on by `by` (turns) and back, `pause` s at a standstill after each move, until `seconds` have passed.

    It begins and ends where the part stands.
    """

    seconds: float
    by: Fraction
    pause: float
    words: str


@dataclass(frozen=True)
class Release:
    """Release the motor: the part may turn by itself, or fall, and be turned by hand."""

    words: str


@dataclass(frozen=True)
class Hold:
    """Energise the motor again; the part is then taken to stand `turns` from where the procedure began."""

    turns: Fraction
    words: str


@dataclass(frozen=True)
class ReadClock:
    """The time since the procedure began (s), read by the program; `key`: its name in the record."""

    key: str


@dataclass(frozen=True)
class SeekHome:
    """Seek the home switch; places count from where it is found from then on."""

    words: str


@dataclass(frozen=True)
class Confirm:
    """What has to be so before anything is done, asked each time that it is begun or resumed, and kept nowhere.

    `right` of the two `choices` must be said; `problem`: what is wrong otherwise.
    """

    question: str
    choices: tuple[str, str]
    right: str
    problem: str


@dataclass(frozen=True)
class Look:
    """What the program reads by itself, of the hand or of what stands there; `words` say what it does, "" for nothing.

    `key`: its name in the record. What `read` does may open the gate, and turns nothing.
    """

    key: str
    words: str
    read: Callable[[Hand], Answer]


@dataclass(frozen=True)
class Ask:
    """A reading, in SI (degC of a temperature); of a choice the word itself.

    `key`: its name in the record, once a procedure. `pass_open`: the gate is open for that pass while it is asked.
    """

    key: str
    question: str
    kind: Kind
    choices: tuple[str, ...] = ()
    pass_open: PassRequest | None = None


Act: TypeAlias = TurnTo | TurnToAndFro | Wait | Release | Hold | SeekHome
"""What is done to the machine; it is left out where the reading behind it is known."""
Reading: TypeAlias = ReadClock | Look | Ask
Step: TypeAlias = Say | Act | Confirm | Reading
Answer: TypeAlias = "float | str"
Script: TypeAlias = Generator[Step, "Answer | None", tuple[Finding, ...]]
