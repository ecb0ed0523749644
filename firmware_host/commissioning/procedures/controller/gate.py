"""`gate`: each line of the job's gate, and how long the marking side takes to answer; the axis stands still."""

from __future__ import annotations

import math
from collections.abc import Generator, Sequence
from typing import Any, TypeAlias

from firmware_host.commissioning.estimates.measured import Measured, mean_of
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure, number
from firmware_host.commissioning.script import Answer, Ask, Confirm, Look, Say, Script, Step
from firmware_host.errors import InputError
from firmware_host.station.gates.gate import GateLine, PassRequest, gate_kind
from firmware_host.station.hand.hand import Hand

CAUTION = (
    "CAUTION: the gate is opened now, and the marking side may do as if it marked. Switch the laser itself off, by its "
    "key or at its supply: software is no safety function (IEC 60825-1)."
)
LASER_OFF = Confirm(
    "Is the laser off, so that nothing can come out whatever the marking side does?",
    ("off", "on"),
    "off",
    "the laser is not off: the gate stays closed",
)
_MARGIN = 2.0
"""So many times the slowest answer a timeout should leave: common practice, no source."""
_LEAST_S = 1.0
_YES_NO = ("yes", "no")
_Steps: TypeAlias = "Generator[Step, Answer | None, Finding]"


class GateProcedure(Procedure):
    """Toggle each line alone and look at the other end; then open the gate as in a run, and time the answer."""

    key = "gate"
    title = "the gate and the marking side's answer"
    purpose = "Shows that each line comes through, and how long the marking side takes, before anything is marked."
    needs = ("the laser switched off", "somebody who sees the marking side", "the job whose gate it is")
    repeats, fewest = 5, 2
    resumed, opens_gate, stands_still = "anywhere", True, True

    def moves(self, bench: Bench) -> str:
        return "Nothing turns. The gate is opened and closed, with the laser off."

    def script(self, bench: Bench) -> Script:
        if bench.setup is None:
            raise InputError("the gate belongs to a job", "Name a job instead of the machine", key="gate")
        options = bench.setup.job.gate
        kind = gate_kind(options)
        yield Say(CAUTION)
        yield LASER_OFF
        found = []
        for line in kind.lines(options):
            found.append((yield from _out(line, bench) if line.out else _closed(line, options)))
        found.append((yield from _answers(bench, options)))
        return tuple(found)


def request(bench: Bench, number: int) -> PassRequest:
    """A pass of the procedure: `number` of its repeats, where the part stands."""
    return PassRequest(1, 1, number, bench.repeats, 0.0)


def _out(line: GateLine, bench: Bench) -> _Steps:
    """A line to the marking side: on while the gate is open, off when it is closed, as seen at the other end."""
    opened = yield Ask(f"open-{line.name}", f"{line.name} says mark now: does the marking side see it?", "choice",
                       _YES_NO, request(bench, 1))  # fmt: skip
    closed = yield Ask(f"closed-{line.name}", f"{line.name} is taken back: is it off there again?", "choice", _YES_NO)
    if opened == closed == "yes":
        return _line(line, 1.0, "It comes on and goes off at the marking side.")
    what = "is not seen there" if opened == "no" else "does not go off there"
    return _line(line, 0.0, f"{line.name} {what}: look at its wire, its common and the level it is meant to have.")


def _closed(line: GateLine, options: Any) -> _Steps:
    """A line from the marking side: what it says while nothing is marked, and that it can be switched."""
    name = line.name
    first = yield Look(f"idle-{name}", f"Reading {name} with the gate closed", lambda hand: _level(hand, line))
    yield Say(f"{name} is {first} while nothing is marked.")
    switched = yield Ask(f"switch-{name}", f"Switch {name} over at the marking side and keep it so: done?", "choice",
                         _YES_NO)  # fmt: skip
    if switched == "no":
        return _line(line, 0.0, f"{name} was {first}, and was not tried: nobody could switch it.")
    second = yield Look(f"switched-{name}", f"Reading {name}", lambda hand: _level(hand, line))
    yield Ask(f"back-{name}", "And back again: done?", "choice", _YES_NO)
    third = yield Look(f"back-read-{name}", f"Reading {name}", lambda hand: _level(hand, line))
    if first == third != second:
        return _line(line, 1.0, f"{name} is {first} while nothing is marked, and comes through.")
    read = f"{first}, {second} when it was switched, {third} when it was switched back"
    return _line(line, 0.0, f"{name} does not come through ({read}): look at its wire and its common.")


def _level(hand: Hand, line: GateLine) -> str:
    return "on" if hand.marking.level(line) else "off"


def _line(line: GateLine, works: float, sentence: str) -> Finding:
    return Finding(
        key=f"gate-line-{line.name.lower().replace(' ', '-')}",
        name=f"{line.name} comes through",
        measured=Measured(works, 0.0),
        unit="",
        formula="as seen at the other end" if line.out else "as read",
        verdict="as stated" if works else "change",
        sentence=sentence,
        seen="yes" if works else "no",
    )


def _answers(bench: Bench, options: Any) -> _Steps:
    times: list[float] = []
    within = 0.0
    for each in range(1, bench.repeats + 1):
        answer = yield _pass(bench, each)
        if isinstance(answer, str):
            return _silent(options, times, answer)
        seen = yield Look(f"answer-{each}-to", "", lambda hand: hand.marking.seen_to)
        times.append(number(answer))
        within = max(within, number(seen))
    return _answered(options, times, within)


def _pass(bench: Bench, number: int) -> Look:
    words = f"Opening the gate, {number} of {bench.repeats}"
    return Look(f"answer-{number}", words, lambda hand: hand.marking.tried(request(bench, number)))


def _silent(options: Any, times: Sequence[float], why: str) -> Finding:
    before = f" {len(times)} passes before it were answered." if times else ""
    return Finding(
        key="gate-answer",
        name="the marking side answers",
        measured=Measured(0.0, 0.0),
        unit="",
        formula="as tried",
        verdict="change",
        seen="no",
        sentence=f"No answer: {why}.{before} The gate ({options.kind}) is closed.",
    )


def _answered(options: Any, times: Sequence[float], within: float) -> Finding:
    mean, slowest = mean_of(times, within), max(times)
    told = f"{_spread(times, within)} The slowest of {len(times)} took {slowest:.3g} s."
    wanted = _rounded_up(max(_MARGIN * slowest, _LEAST_S))
    stated = getattr(options, "timeout", None)
    short = stated is not None and stated.si < _MARGIN * slowest
    if "timeout" not in type(options).model_fields:
        told += " Nobody is waited for at this gate: see that a pass takes less than it gives."
    elif stated is None:
        told += f" The job has no timeout; {wanted:g} s would leave twice the slowest answer."
    elif short:
        told += f" The job's timeout, {stated}, leaves less than twice that."
    else:
        told += f" The job's timeout, {stated}, leaves room."
    return Finding(
        key="gate-answer",
        name="from the opening to the marking side's answer",
        measured=mean,
        unit="s",
        formula="mean of the times (JCGM 100:2008, 4.2), each known to half of what lies between two looks (4.3.7)",
        verdict="change" if short else "as stated",
        sentence=told,
        change=Change("gate.timeout", f"{wanted:g} s", "job") if short else None,
    )


def _spread(times: Sequence[float], within: float) -> str:
    """How far the times scatter (s), as far as two looks at the gate can tell."""
    mean = math.fsum(times) / len(times)
    spread = math.sqrt(math.fsum((each - mean) ** 2 for each in times) / (len(times) - 1))
    if spread < within:
        return f"They scatter by less than can be told ({within * 1e3:.2g} ms)."
    return f"They scatter by {spread * 1e3:.2g} ms (standard deviation)."


def _rounded_up(seconds: float) -> float:
    """To two digits, never down."""
    unit = 10.0 ** (math.floor(math.log10(seconds)) - 1)
    return math.ceil(seconds / unit - 1e-9) * unit
