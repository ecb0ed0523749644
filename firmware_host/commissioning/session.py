"""A procedure carried out: the axis turned by the hand, the person asked, every reading noted before it is used."""

from __future__ import annotations

from abc import ABC, abstractmethod
from fractions import Fraction
from typing import cast

from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure
from firmware_host.commissioning.record import Answered, Ended, Going, Record, Started
from firmware_host.commissioning.script import (
    Act,
    Answer,
    Ask,
    Confirm,
    Hold,
    Look,
    ReadClock,
    Reading,
    Release,
    Say,
    SeekHome,
    TurnTo,
    TurnToAndFro,
    Wait,
)
from firmware_host.errors import InputError
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.line import ControllerLine

PLACE = "where commissioning began"
_LOOK_S = 1.0
"""How often an axis is looked at that stands while time passes (s)."""


class Person(ABC):
    """Whoever measures: is told what to do, and what happens; says what was read."""

    @abstractmethod
    def tell(self, text: str) -> None:
        """Show a line."""

    @abstractmethod
    def answer(self, ask: Ask) -> Answer:
        """What was read, in SI; one of the choices. Raises `InputError` where nobody can answer."""


def carry_out(
    procedure: Procedure, bench: Bench, axis: Hand | ControllerLine, person: Person, record: Record
) -> tuple[Finding, ...]:
    """Carry `procedure` out from where the part stands, or resume it where it was interrupted.

    `axis`: a hand, or a controller that is only asked for a procedure that does no more (`asks_only`).

    It is resumed where the procedure can be (`resumed`) and it is asked for in the same way. The axis turns by the
    hand alone: within the limits, each move with the gate closed and proved to have ended. Raises as `Hand`.
    """
    if bench.repeats < procedure.fewest:
        raise InputError(f"{bench.repeats} tell nothing", f"Take {procedure.fewest} or more", key="repeats")
    hand = cast("Hand", axis)  # a line is never turned: its procedures have no such step
    answers = _answers(procedure, bench, hand, record)
    script = procedure.script(bench)
    reply: Answer | None = None
    queue: list[Act | Confirm] = []
    began_s = hand.now_s
    try:
        while True:
            step = script.send(reply)
            reply = None
            match step:
                case Say():
                    person.tell(step.text)
                case Ask() | ReadClock() | Look() if step.key in answers:
                    queue = [each for each in queue if isinstance(each, Confirm)]
                    reply = answers[step.key]
                case Ask() | ReadClock() | Look():
                    _done(hand, person, queue)
                    reply = _read(step, hand, person, began_s)
                    record.note(Answered(question=step.key, answer=reply))
                case _:
                    queue.append(step)
    except StopIteration as stopped:
        _done(hand, person, queue)
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
    place = procedure.resumed == "anywhere" or (procedure.resumed == "at its place" and hand.zero_place == PLACE)
    if open_one is not None and _same(open_one, started) and place:
        return open_one.answers
    if not procedure.stands_still:
        hand.set_zero("0 deg", place=PLACE)
    record.note(started)
    return {}


def _same(open_one: Going, started: Started) -> bool:
    wished = ("turns", "repeats", "within_length", "within_angle")
    return all(getattr(open_one.started, name) == getattr(started, name) for name in wished)


def _read(step: Reading, hand: Hand, person: Person, began_s: float) -> Answer:
    """One reading, by the person or by the program; the gate is open meanwhile where the step says so."""
    match step:
        case ReadClock():
            return hand.now_s - began_s
        case Look():
            if step.words:
                person.tell(f"{step.words}.")
            return step.read(hand)
        case Ask():
            if step.pass_open is None:
                return person.answer(step)
            with hand.marking.open(step.pass_open):
                return person.answer(step)


def _confirmed(person: Person, step: Confirm) -> None:
    """See that it is as it has to be. Raises `InputError` where it isn't."""
    if person.answer(Ask("", step.question, "choice", step.choices)) != step.right:
        raise InputError(step.problem, "Nothing was done. Begin again once it is", key="procedure")


def _done(hand: Hand, person: Person, queue: list[Act | Confirm]) -> None:
    """Do what is due, each told beforehand."""
    for step in queue:
        match step:
            case TurnTo():
                if step.words:
                    person.tell(f"Turning: {step.words}.")
                hand.turn_to(step.turns, straight=step.straight, pace=step.pace)
            case TurnToAndFro():
                person.tell(f"Turning to and fro: {step.words}.")
                _to_and_fro(hand, step)
            case Wait():
                person.tell(f"Waiting: {step.words}.")
                _stand(hand, step.seconds)
            case Release():
                person.tell(f"Releasing the motor: {step.words}.")
                hand.release()
            case Hold():
                person.tell(f"The motor holds again: {step.words}.")
                hand.hold()
                hand.set_zero(step.turns, place=PLACE)
            case SeekHome():
                person.tell(f"Seeking the home switch: {step.words}.")
                hand.seek_home()
                hand.set_zero("0 deg", place=PLACE)
            case Confirm():
                _confirmed(person, step)
    queue.clear()


def _to_and_fro(hand: Hand, step: TurnToAndFro) -> None:
    here, end_s = Fraction(hand.where.microsteps) / hand.plan.per_turn, hand.now_s + step.seconds
    while hand.now_s < end_s:
        for turns in (here + step.by, here):
            hand.turn_to(turns)
            _stand(hand, step.pause)


def _stand(hand: Hand, seconds: float) -> None:
    """Let time pass, and see that the axis stands still meanwhile."""
    end_s = hand.now_s + seconds
    while (left_s := end_s - hand.now_s) > 0:
        hand.wait(min(left_s, _LOOK_S))
