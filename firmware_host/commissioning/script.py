"""What a procedure does, step by step, as data: whoever carries it out turns the axis and asks the person.

A procedure is a generator of these steps. Places are absolute, from where it began, so that one that was interrupted is
resumed at the first reading that is missing: what was read before is handed to it again, and nothing is turned for it.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, TypeAlias

from firmware_host.commissioning.finding import Finding

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
    """Turn the part to `turns` from where the procedure began; `words` say it.

    `straight`: from whichever side it comes, lost motion and all; else that is taken up where the file has any.
    """

    turns: Fraction
    words: str
    straight: bool = False


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
class Ask:
    """A reading, in SI (degC of a temperature); of a choice the word itself.

    `key`: its name in the record, once a procedure.
    """

    key: str
    question: str
    kind: Kind
    choices: tuple[str, ...] = ()


Act: TypeAlias = TurnTo | TurnToAndFro | Wait | Release | Hold
"""What is done to the machine; it is left out where the reading behind it is known."""
Step: TypeAlias = Say | Act | ReadClock | Ask
Answer: TypeAlias = "float | str"
Script: TypeAlias = Generator[Step, "Answer | None", tuple[Finding, ...]]
