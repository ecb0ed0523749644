"""A procedure carried out: the axis turned by the hand, the person asked, every reading noted before it is used."""

from __future__ import annotations

from abc import ABC, abstractmethod
from fractions import Fraction
from typing import cast

from firmware_host.commissioning.estimates.sensible import require_readings
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure
from firmware_host.commissioning.record import Answered, Ended, Failed, Going, Record, Resumed, Started, Withdrawn
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
    Script,
    SeekHome,
    TurnTo,
    TurnToAndFro,
    Wait,
)
from firmware_host.errors import InputError, PlanError
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.line import ControllerLine

_LONGEST = 900
"""Signs of a text of the record."""
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


def place_of(procedure: Procedure) -> str:
    """What stands at the zero that a procedure sets where it begins, in words."""
    return f"where {procedure.key} began"


class TakenBackError(Exception):
    """Raised by a `Person` in place of an answer: the reading before is to be asked for again."""


def carry_out(
    procedure: Procedure, bench: Bench, axis: Hand | ControllerLine, person: Person, record: Record
) -> tuple[Finding, ...]:
    """Carry `procedure` out from where the part stands, or resume it where it was interrupted.

    `axis`: a hand, or a controller that is only asked for a procedure that does no more (`asks_only`).

    It is resumed where the procedure can be (`resumed`) and it is asked for in the same way. The axis turns by the
    hand alone: within the limits, each move with the gate closed and proved to have ended. Raises as `Hand`, and
    `InputError` where nothing follows from what was read: it then begins anew.
    """
    if bench.repeats < procedure.fewest:
        raise InputError(f"{bench.repeats} tell nothing", f"Take {procedure.fewest} or more", key="repeats")
    next(procedure.script(bench), None)  # a machine that can't have it says so before anything is noted
    hand = cast("Hand", axis)  # a line is never turned: its procedures have no such step
    go = _Go(procedure, hand, person, record, _answers(procedure, bench, hand, person, record))
    try:
        findings = go.through(bench)
    except _NothingFollowsError as failed:
        error = failed.error
        record.note(Failed(procedure=procedure.key, why=str(error)[:_LONGEST]))
        raise error from None
    for finding in findings:
        record.found(procedure.key, finding)
    record.note(Ended(procedure=procedure.key))
    return findings


class _NothingFollowsError(Exception):
    """The script itself gave up, by `error`."""

    def __init__(self, error: InputError | PlanError) -> None:
        super().__init__(str(error))
        self.error = error


class _Go:
    """One go of a procedure: `answers` are known, by their questions; what is answered is added."""

    def __init__(
        self, procedure: Procedure, hand: Hand, person: Person, record: Record, answers: dict[str, Answer]
    ) -> None:
        self._procedure, self._hand, self._person, self._record = procedure, hand, person, record
        self._answers = answers
        self._began_s = hand.now_s
        self._muted_until = ""
        self._asked: list[str] = []
        """Questions whose answers can be taken back: nothing that the program read itself came behind them."""

    def through(self, bench: Bench) -> tuple[Finding, ...]:
        while True:
            try:
                return self._once(self._procedure.script(bench))
            except TakenBackError:
                key = self._asked[-1]
                del self._answers[key]
                self._record.note(Withdrawn(question=key))
                self._muted_until = key

    def _once(self, script: Script) -> tuple[Finding, ...]:
        self._asked, queue = [], list[Act | Confirm]()
        reply: Answer | None = None
        while True:
            try:
                step = script.send(reply)
            except StopIteration as stopped:
                self._do(queue)
                findings: tuple[Finding, ...] = stopped.value
                return findings
            except (InputError, PlanError) as error:
                raise _NothingFollowsError(error) from error
            reply = None
            match step:
                case Say():
                    if not self._muted_until:
                        self._person.tell(step.text)
                case Ask() | ReadClock() | Look():
                    known = step.key in self._answers
                    queue = _still_due(queue) if known else self._do(queue)
                    reply = self._answers[step.key] if known else self._read(step)
                    self._can_be_taken_back(step)
                case _:
                    queue.append(step)

    def _can_be_taken_back(self, step: Reading) -> None:
        if isinstance(step, Ask):
            self._asked.append(step.key)
        else:
            self._asked = []

    def _do(self, queue: list[Act | Confirm]) -> list[Act | Confirm]:
        """Do what is due; what was read before the motor was let go of can't be read again."""
        if any(isinstance(each, Release) for each in queue):
            self._asked = []
        _done(self._hand, self._person, queue, place_of(self._procedure))
        return []

    def _read(self, step: Reading) -> Answer:
        if step.key == self._muted_until:
            self._muted_until = ""
        while True:
            try:
                reply = _read(step, self._hand, self._person, self._began_s)
                require_readings((reply,) if isinstance(reply, float) else ())
                break
            except TakenBackError:
                if self._asked:
                    raise
                self._person.tell("There is no reading before this one that can be taken again.")
        self._answers[step.key] = reply
        self._record.note(Answered(question=step.key, answer=reply))
        return reply


def _still_due(queue: list[Act | Confirm]) -> list[Act | Confirm]:
    """What has to be done though the reading behind it is known: what is confirmed each time, a motor let go of."""
    due: list[Act | Confirm] = [each for each in queue if isinstance(each, Confirm)]
    motor = [each for each in queue if isinstance(each, Release | Hold)]
    return [*due, *(motor[-1:] if motor and isinstance(motor[-1], Release) else [])]


def _answers(procedure: Procedure, bench: Bench, hand: Hand, person: Person, record: Record) -> dict[str, Answer]:
    """What was answered before; none where it has to begin anew, and that is noted."""
    open_one = record.going(procedure.key)
    started = Started(
        procedure=procedure.key,
        turns=bench.turns,
        repeats=bench.repeats,
        within_length=bench.within_length,
        within_angle=bench.within_angle,
    )
    if open_one is not None and open_one.answers:
        told = f"{procedure.key} was broken off (readings so far: {len(open_one.answers)})"
        if why := _why_anew(procedure, open_one, started, hand):
            person.tell(f"{told}. It begins anew: {why}.")
        else:
            person.tell(f"{told}: it is resumed there.")
            record.note(Resumed(procedure=procedure.key))
            return open_one.answers
    if not procedure.stands_still:
        _begin_here(procedure, hand, person)
    record.note(started)
    return {}


def _begin_here(procedure: Procedure, hand: Hand, person: Person) -> None:
    """Set the zero; where it has to be proved later on, off that of the controller, which any reset makes anew."""
    if procedure.resumed == "at its place" and not procedure.seeks_home and hand.at_machine_zero:
        person.tell("Turning: 1 deg on, so that this place can be told from where a controller begins to count.")
        hand.turn_by("1 deg")
    hand.set_zero("0 deg", place=place_of(procedure))


def _why_anew(procedure: Procedure, open_one: Going, started: Started, hand: Hand) -> str:
    """Why what was read before can't be used; "" where it can."""
    if not _same(open_one, started):
        return "turns, repeats, or how closely it is read, are others now"
    if procedure.resumed == "never":
        return "it has to be done in one go"
    if procedure.resumed == "at its place" and hand.zero_place != place_of(procedure):
        return "the place where it began can't be proved any more"
    return ""


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


def _done(hand: Hand, person: Person, queue: list[Act | Confirm], place: str) -> None:
    """Do what is due, each told beforehand; `place` stands at the zero."""
    for step in queue:
        match step:
            case TurnTo():
                if step.words and hand.where.microsteps != round(step.turns * hand.plan.per_turn):
                    person.tell(f"Turning: {step.words}.")
                hand.turn_to(step.turns, straight=step.straight, pace=step.pace)
            case TurnToAndFro():
                person.tell(f"Turning to and fro: {step.words}.")
                _to_and_fro(hand, step)
            case Wait():
                person.tell(f"Waiting: {step.words}.")
                _stand(hand, step.seconds)
            case Release():
                if hand.where.energised:
                    person.tell(f"Releasing the motor: {step.words}.")
                    hand.release()
            case Hold():
                person.tell(f"The motor holds again: {step.words}.")
                hand.hold()
                hand.set_zero(step.turns, place=place)
            case SeekHome():
                person.tell(f"Seeking the home switch: {step.words}.")
                hand.seek_home()
                hand.set_zero("0 deg", place=place)
            case Confirm():
                _confirmed(person, step)


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
