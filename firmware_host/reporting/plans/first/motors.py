"""Motors compared, at first sight: how many would do, which is quickest, and what stops the others."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from firmware_host.model.machine.motor import Motor
from firmware_host.planning.compare.motors import MotorCandidate
from firmware_host.planning.limits.check import Verdict
from firmware_host.reporting.document import Cell, Column, Node, Notes, Table
from firmware_host.reporting.measures import counted, listed, percent, seconds
from firmware_host.reporting.plans.first.words import caution

_COLUMNS = (
    Column("", "motor"),
    Column("", "verdict"),
    Column("", "index"),
    Column("", "torque"),
    Column("", "because of"),
)
_MOST_ROWS = 12


def first_of_motors(
    candidates: Sequence[MotorCandidate], accept: Mapping[str, str] | None, present: Motor | None
) -> tuple[Node, ...]:
    """The answer and a row for each motor, those that hold first, the quickest of them first."""
    able = [each for each in candidates if not each.verdict.stops]
    quickest = min(able, key=lambda each: (each.verdict.gravity, _index_s(each)), default=None)
    answer = (
        _how_many(candidates, able),
        *_best(quickest, able),
        *_yours(candidates, present),
        *_accepted(accept),
        caution(len({key for each in candidates for key in each.assumed})),
    )
    shown = tuple(map(_row, candidates[:_MOST_ROWS]))
    left = len(candidates) - len(shown)
    rows = (*shown, (f"{left} more", "", "", "", "")) if left > 0 else shown
    return (Notes(answer), Table("", "", _COLUMNS, rows), Notes(_meaning(candidates)))


def _index_s(each: MotorCandidate) -> float:
    return each.timing.index_s if each.timing is not None else float("inf")


def _how_many(candidates: Sequence[MotorCandidate], able: Sequence[MotorCandidate]) -> str:
    counts = Counter(each.verdict for each in candidates)
    told = [f"{counts[verdict]} {_WORDS[verdict]}" for verdict in Verdict if counts[verdict]]
    return f"{len(able) or 'None'} of {counted(len(candidates), 'motor')} can do it: {listed(told)}."


_WORDS = {
    Verdict.HOLDS: "with all limits kept",
    Verdict.NARROW: "narrowly",
    Verdict.ACCEPTED: "with what is accepted",
    Verdict.EXCEEDED: "beyond what is advised",
    Verdict.NOT_KNOWN: "not known",
    Verdict.FAILS: "fail",
}


def _best(best: MotorCandidate | None, able: Sequence[MotorCandidate]) -> Iterator[str]:
    """The quickest of those with the best verdict, and a quicker one with a graver verdict."""
    if best is None:
        return
    yield f"First choice: {_told(best)}."
    quicker = min(able, key=_index_s)
    if _index_s(quicker) < 0.995 * _index_s(best):
        yield f"Quicker, but {quicker.verdict.value}: {_told(quicker)}."


def _told(each: MotorCandidate) -> str:
    margin = "" if each.torque_margin is None else f", torque margin {percent(each.torque_margin)}"
    return f"{each.name} at {each.current_text}, an index in {seconds(_index_s(each))}{margin}"


def _yours(candidates: Sequence[MotorCandidate], present: Motor | None) -> Iterator[str]:
    mine = next((each for each in candidates if each.motor == present), None)
    if mine is not None:
        why = f" ({listed(mine.reasons)})" if mine.reasons else ""
        time = f", an index in {seconds(mine.timing.index_s)}" if mine.timing is not None else ""
        yield f"The machine's own, {mine.name}: {mine.verdict.value}{why}{time}."


def _accepted(accept: Mapping[str, str] | None) -> Iterator[str]:
    if accept:
        yield f"Accepted: {', '.join(f'{name} ({reason})' for name, reason in accept.items())}."


def _row(each: MotorCandidate) -> tuple[str | Cell, ...]:
    index = "-" if each.timing is None else seconds(each.timing.index_s)
    margin = "-" if each.torque_margin is None else percent(each.torque_margin)
    star = " *" if each.best else ""
    known = " (?)" if each.on_what_is_known else ""
    return (
        f"{each.name}{star}",
        Cell(each.verdict, f"{each.verdict.value}{known}"),
        index,
        margin,
        _reasons(each.reasons),
    )


def _reasons(reasons: Sequence[str]) -> str:
    more = f" +{len(reasons) - 1}" if len(reasons) > 1 else ""
    return f"{reasons[0]}{more}" if reasons else "-"


def _meaning(candidates: Sequence[MotorCandidate]) -> tuple[str, ...]:
    lines = ["torque: the margin of the tightest torque check."]
    if any(each.best for each in candidates):
        lines.append("*: no other that can do it is both quicker and further from its torque limit.")
    if any(each.on_what_is_known for each in candidates):
        lines.append("(?): on what is known; data of this motor are missing, and taken at their worst.")
    return tuple(lines)
