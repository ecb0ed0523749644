"""The person at the machine: what they are shown and what they answer, without ever blocking the run."""

from __future__ import annotations

import sys
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import TextIO

from firmware_host.errors import GateError
from firmware_host.system.console import is_hung_up
from firmware_host.system.keyboard import keyboard_at

_NOBODY = (
    "nobody can answer: standard input is closed. Run it in a terminal, or say beforehand how to treat interrupted "
    "passes"
)


@dataclass(frozen=True)
class Choice:
    """One answer to a question: the `line` that says it ("" is Enter alone), and what it `does`, for a button."""

    line: str
    does: str


@dataclass(frozen=True)
class Question:
    """What a person is asked, for whoever shows it with buttons.

    `entry`: what else may be typed, in words; "" where nothing else is understood.
    """

    text: str
    choices: tuple[Choice, ...]
    entry: str = ""


class Operator(ABC):
    """Tells a person something and takes their answers, line by line."""

    @abstractmethod
    def tell(self, text: str) -> None:
        """Show a line."""

    @abstractmethod
    def answer(self) -> str | None:
        """A line typed since the last call, without its end; None if there is none. Never waits.

        Raises `GateError` when nobody can answer any more (standard input is closed).
        """

    def asks(self, question: Question | None) -> None:  # noqa: B027 - a terminal shows what it is told
        """From now on `answer` is an answer to this; None: nothing is asked any more."""

    @property
    def elsewhere(self) -> bool:
        """Whether somebody may answer who is not at the terminal."""
        return False

    @property
    def by_key(self) -> bool:
        """Whether single keys are taken, without Enter behind them."""
        return False

    @abstractmethod
    def forget(self) -> None:
        """Drop what has been typed so far: it was said before it was asked for. Never waits."""


class TerminalOperator(Operator):
    """A person at standard input and standard error (as it is then); works with a pipe as well as with a terminal.

    When the terminal is closed, nobody is there any more. `tell` raises nothing then: a signal says so.
    """

    def __init__(self, source: TextIO | None = None, target: TextIO | None = None) -> None:
        self._keyboard = keyboard_at(source or sys.stdin)
        self._target = target
        self._gone = False

    def tell(self, text: str) -> None:
        target = self._target or sys.stderr
        try:
            target.write(text + "\n")
            target.flush()
        except OSError as error:
            if not is_hung_up(error):
                raise
            self._gone = True

    def answer(self) -> str | None:
        line = self._keyboard.line()
        if line is None and (self._gone or self._keyboard.ended):
            raise GateError("operator", _NOBODY)
        return line

    def forget(self) -> None:
        self._keyboard.forget()
