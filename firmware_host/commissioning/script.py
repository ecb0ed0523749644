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

Kind = Literal["length", "angle", "part-angle", "choice"]
"""Of a reading: "part-angle" may be read as an angle, or as a length around the part where its diameter is known."""


@dataclass(frozen=True)
class Say:
    """Something to do by hand, or to know."""

    text: str


@dataclass(frozen=True)
class TurnTo:
    """Turn the part to `turns` from where the procedure began; `words` say it."""

    turns: Fraction
    words: str


@dataclass(frozen=True)
class Ask:
    """A reading, in SI: m or rad; of a choice the word itself. `key`: its name in the record, once a procedure."""

    key: str
    question: str
    kind: Kind
    choices: tuple[str, ...] = ()


Step: TypeAlias = Say | TurnTo | Ask
Answer: TypeAlias = "float | str"
Script: TypeAlias = Generator[Step, "Answer | None", tuple[Finding, ...]]
