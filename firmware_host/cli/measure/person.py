"""Whoever reads the instruments: a person at the terminal, or readings that were said beforehand."""

from __future__ import annotations

from collections.abc import Sequence

from firmware_host.cli.input.quantities import number_value, signed_value
from firmware_host.cli.screen import output
from firmware_host.commissioning.procedures.base import Bench, require_diameter
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import Person, TakenBackError
from firmware_host.errors import GateError, InputError, QuantityError, StoppedError
from firmware_host.reporting.render.plain import WIDTH, wrapped
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.line import ControllerLine
from firmware_host.station.operator import TerminalOperator

_LOOK_S = 0.05
_MANY = 6


BACK = "back"
NOBODY = "nobody answers: standard input is closed"


class SaidBeforehand(Person):
    """Readings in the order in which they will be asked for."""

    def __init__(self, readings: Sequence[str], bench: Bench) -> None:
        self._readings = list(readings)
        self._bench = bench
        self._taken = 0

    def tell(self, text: str) -> None:
        for line in wrapped(text, WIDTH):
            output.remark(line)

    def answer(self, ask: Ask) -> Answer:
        if self._taken >= len(self._readings):
            remedy = f"Say it, too: {ask.question}"
            raise InputError(f"{self._taken} readings are too few", remedy, key="--reading")
        text = self._readings[self._taken]
        self._taken += 1
        self.tell(f"{ask.question} {text}")
        return understood(text, ask, self._bench)


class AtTheTerminal(Person):
    """A person who is asked; while they read, the axis is watched to stand still.

    `back` takes the answer before back, where the question has a name in the record.
    """

    def __init__(self, hand: Hand | ControllerLine, bench: Bench) -> None:
        self._hand = hand
        self._bench = bench
        self._operator = TerminalOperator()

    def tell(self, text: str) -> None:
        self._operator.tell("\n".join(wrapped(text, WIDTH)))

    def answer(self, ask: Ask) -> Answer:
        choices = f" ({_choices(ask.choices)})" if ask.choices else ""
        while True:
            self._operator.forget()
            self.tell(f"{ask.question}{choices}")
            try:
                line = self._line()
                if ask.key and line.lower() == BACK:
                    raise TakenBackError
                return understood(line, ask, self._bench)
            except QuantityError as error:
                self.tell(str(error))

    def _line(self) -> str:
        while True:
            try:
                line = self._operator.answer()
            except GateError as error:
                raise StoppedError(NOBODY, "measuring", "") from error
            if line is not None and line.strip():
                return line.strip()
            self._hand.wait(_LOOK_S)


def _choices(choices: Sequence[str]) -> str:
    """The words, or where they are many numbers the first and the last."""
    many = len(choices) > _MANY and all(each.isdecimal() for each in choices)
    return f"{choices[0]} to {choices[-1]}" if many else ", ".join(choices)


def understood(text: str, ask: Ask, bench: Bench) -> Answer:
    """A reading in SI. Raises `QuantityError` for a text that is none, `InputError` where the diameter is not known."""
    if ask.kind == "choice":
        said = text.strip().lower()
        found = [said] if said in ask.choices else [each for each in ask.choices if each.startswith(said)]
        if len(found) != 1:
            raise QuantityError(f"{text!r} is none of the answers", f"One of {', '.join(ask.choices)}", key="--reading")
        return found[0]
    if ask.kind != "part-angle":
        return _si(text, ask.kind)
    try:
        return _si(text, "angle")
    except QuantityError as error:
        try:
            length = _si(text, "length")
        except QuantityError:
            raise error from None
        return 2 * length / require_diameter(bench)


def _si(text: str, kind: str) -> float:
    if kind == "number":
        return number_value(text, "--reading")
    value = signed_value(text, kind, "--reading")
    if value is None:
        raise QuantityError("nothing was read", 'Write it with its unit, like "0.2 mm"', key="--reading")
    return value
