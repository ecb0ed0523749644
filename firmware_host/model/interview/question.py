"""A question about a machine, a motor or a job, and what was answered to it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

FileKind = Literal["machine", "motor", "job"]

How = Literal["answered", "usual", "assumed", "found", "not known"]
"""Where a value is from: said; offered, as it usually is; offered as a guess; asked of a controller; none."""

Values: TypeAlias = "Mapping[str, Any]"
"""Keys of the file, dotted, with what a file holds there."""


@dataclass(frozen=True)
class Given:
    """What was answered: as typed, where it is from, and the keys that it fills in."""

    text: str
    how: How
    values: Values


Answers: TypeAlias = "Mapping[str, Given]"
"""What was answered so far, by the question's key."""


def always(_: Answers) -> bool:
    """Whether a question is asked that everybody is asked."""
    return True


def nothing(_: Answers) -> str:
    """The usual answer to a question that has none."""
    return ""


@dataclass(frozen=True)
class Question:
    """One question. `key`: its name, and the key of the file that it fills in, unless `reads` fills in others.

    `asks` it in the trade's words, `explains` it in a line, `more` says more to whoever wants it. `usual`: the answer
    that is offered; `guess`: it is one, and the file says so. `needed`: without an answer there is no file. `filler`:
    an answer that goes with all others, until there is one. `choices`: the only answers there are. `when`: whether it
    is asked. `reads`: what a text fills in (the value of `key`, by its type, without).
    """

    key: str
    asks: str
    explains: str = ""
    more: str = ""
    usual: Callable[[Answers], str] = nothing
    guess: bool = False
    needed: bool = False
    filler: str = ""
    choices: tuple[str, ...] = ()
    when: Callable[[Answers], bool] = always
    reads: Callable[[str], dict[str, Any]] | None = None
    fills: tuple[str, ...] = field(default=())
    """Keys that `reads` fills in, where they are not the question's own."""

    def offered(self, answers: Answers) -> str:
        """What Enter takes; empty where there is nothing usual."""
        return self.usual(answers)

    @property
    def how_offered(self) -> How:
        """What a usual answer is told as in the file."""
        return "assumed" if self.guess else "usual"


def said(text: str) -> Callable[[Answers], str]:
    """A usual answer that is the same whatever was answered."""
    return lambda _: text


def text_of(answers: Answers, key: str) -> str:
    """What was typed to a question; empty where it was not answered."""
    given = answers.get(key)
    return given.text if given is not None else ""


def is_kind(key: str, *kinds: str) -> Callable[[Answers], bool]:
    """Whether the question `key` was answered by one of `kinds`."""
    return lambda answers: (answers[key].values.get(key) if key in answers else None) in kinds
