"""A procedure carried out: the axis turned by the hand, the person asked, every reading noted before it is used."""

from __future__ import annotations

from abc import ABC, abstractmethod

from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure
from firmware_host.commissioning.record import Answered, Ended, Going, Record, Started
from firmware_host.commissioning.script import Answer, Ask, Say, TurnTo
from firmware_host.errors import InputError
from firmware_host.station.hand.hand import Hand

PLACE = "where commissioning began"


class Person(ABC):
    """Whoever measures: is told what to do, and what happens; says what was read."""

    @abstractmethod
    def tell(self, text: str) -> None:
        """Show a line."""

    @abstractmethod
    def answer(self, ask: Ask) -> Answer:
        """What was read, in SI; one of the choices. Raises `InputError` where nobody can answer."""


def carry_out(procedure: Procedure, bench: Bench, hand: Hand, person: Person, record: Record) -> tuple[Finding, ...]:
    """Carry `procedure` out from where the part stands, or resume it where it was interrupted.

    It is resumed where the zero that it set can still be proved and it is asked for in the same way. The axis
    turns by the hand alone: within the limits, with the gate closed, each move proved to have ended. Raises as `Hand`.
    """
    if bench.repeats < procedure.fewest:
        raise InputError(f"{bench.repeats} tell nothing", f"Take {procedure.fewest} or more", key="repeats")
    answers = _answers(procedure, bench, hand, record)
    script = procedure.script(bench)
    reply: Answer | None = None
    queue: list[TurnTo] = []
    try:
        while True:
            step = script.send(reply)
            reply = None
            match step:
                case Say():
                    person.tell(step.text)
                case TurnTo():
                    queue.append(step)
                case Ask() if step.key in answers:
                    queue.clear()
                    reply = answers[step.key]
                case Ask():
                    _turn(hand, person, queue)
                    reply = person.answer(step)
                    record.note(Answered(question=step.key, answer=reply))
    except StopIteration as stopped:
        _turn(hand, person, queue)
        findings: tuple[Finding, ...] = stopped.value
    for finding in findings:
        record.found(procedure.key, finding)
    record.note(Ended(procedure=procedure.key))
    return findings


def _answers(procedure: Procedure, bench: Bench, hand: Hand, record: Record) -> dict[str, Answer]:
    """What was answered before; none where it has to begin anew, and that is noted."""
    open_one = record.going(procedure.key)
    started = Started(
        procedure=procedure.key,
        turns=bench.turns,
        repeats=bench.repeats,
        within_length=bench.within_length,
        within_angle=bench.within_angle,
    )
    if open_one is not None and _same(open_one, started) and hand.zero_place == PLACE:
        return open_one.answers
    hand.set_zero("0 deg", place=PLACE)
    record.note(started)
    return {}


def _same(open_one: Going, started: Started) -> bool:
    wished = ("turns", "repeats", "within_length", "within_angle")
    return all(getattr(open_one.started, name) == getattr(started, name) for name in wished)


def _turn(hand: Hand, person: Person, queue: list[TurnTo]) -> None:
    """Make the moves that are due, each told beforehand."""
    for step in queue:
        person.tell(f"Turning: {step.words}.")
        hand.turn_to(step.turns)
    queue.clear()
