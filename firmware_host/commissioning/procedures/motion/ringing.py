"""`ringing`: at which frequency the axis swings after a stop, and how soon that dies away."""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import replace
from fractions import Fraction

from firmware_host.commissioning.estimates.measured import Measured, combined, of_limits
from firmware_host.commissioning.estimates.swings import (
    Counted,
    damped_frequency,
    damping_ratio,
    decay_rate,
    natural_frequency,
)
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure, from_below, read
from firmware_host.commissioning.procedures.motion.swinging import (
    PUSHED,
    Swinging,
    damping_finding,
    frequency_finding,
    swinging,
)
from firmware_host.commissioning.script import Answer, Ask, Say, Script, Step, TurnTo, Wait
from firmware_host.errors import InputError

_WAYS = ("film", "pushed", "timed", "marks")
_POINTER = 0.2
"""Length of the pointer that is spoken of (m)."""
_PAUSE = 2.0
"""So long it stands after each move, to swing out (s)."""
_SWINGS = 3
"""So many swings are usually seen (from memory)."""
_FIRST_SWEEP = 0.75
"""How wide to one side the first sweep is of a part that was pushed aside, over how far it was pushed, from memory."""
_FEW_FRAMES = 4.0
"""With fewer frames of each swing they are easily miscounted (common practice, no source)."""


class Ringing(Procedure):
    """Film or time the swings after small moves, or read what they leave in marks begun at different settle times.

    Where moves are too gentle to swing it beyond its friction, the part is pushed aside by hand and let go.
    """

    key = "ringing"
    title = "how the axis swings after a stop"
    purpose = "Shows at which frequency the axis swings and how soon that dies away: how long each index has to settle."
    needs = ("a camera with many frames a second and a long light pointer on the part, or marks at three settle times",)
    repeats, fewest = 5, 2

    def moves(self, bench: Bench) -> str:
        here = swinging(bench)
        turns = math.degrees(here.step_angle)
        return (
            f"The part turns {turns:.3g} deg at a time, {bench.repeats} times, one way; pushed by hand, or for marks, "
            "nothing turns."
        )

    def script(self, bench: Bench) -> Script:
        here = swinging(bench)
        yield Say(
            f"It should swing {here.natural / (2 * math.pi):.3g} times a second, by {math.degrees(here.swing):.2g} deg "
            f"at first: {here.swing * _POINTER * 1e3:.2g} mm at the end of a pointer {_POINTER * 1e3:.0f} mm long."
        )
        yield Say("pushed: the part is pushed aside by hand and filmed as it is let go, where moves hardly swing it.")
        how = str((yield Ask("how", "How will the swings be read?", "choice", _WAYS)))
        if how == "marks":
            return (yield from _by_marks(bench, here))
        within = yield from _clock(how, bench, here)
        yield Say(
            "Look at the sweeps from one turning point to the next, as many as are seen well: count from the middle of "
            "the first one (half-way between its turning points) to the middle of the last. Each sweep is half a swing."
        )
        yield Ask("ready", "Start the camera or the recording. Is it running?", "choice", ("ready",))
        if how == "pushed":
            here = yield from _pushes(bench, here)
        else:
            yield from _moves(bench, here)
        counted = []
        for number in range(1, bench.repeats + 1):
            one = yield from _counted(f"{'Push' if how == 'pushed' else 'Move'} {number}", number, how, within)
            if one is not None:
                counted.append(one)
        if len(counted) < self.fewest:
            problem = f"{len(counted)} of {bench.repeats} showed a swing"
            remedy = "Push it farther, or count closer; a part that friction stops at once has no swing to wait for"
            raise InputError(problem, remedy, key="ringing")
        return _findings(bench, here, counted, within)


def _clock(how: str, bench: Bench, here: Swinging) -> Generator[Step, Answer | None, float]:
    """How closely an instant is seen (s, plus-minus)."""
    if how == "timed":
        within = yield from read("within", "How closely does the recording tell a time (± so much)?", "time")
        return _above_nothing(within, "how closely times are told")
    rate = yield from read("frames-a-second", "How many frames a second does the camera take?", "number")
    each = _above_nothing(rate, "frames a second") / (here.natural / (2 * math.pi))
    shows = math.sqrt(2 / bench.repeats) * of_limits(0.5 / rate) / (_SWINGS * 2 * math.pi / here.natural)
    few = ": few, and easily miscounted; a quicker camera or a heavier part shows more" if each < _FEW_FRAMES else ""
    yield Say(f"It takes {each:.2g} frames of each swing{few}.")
    yield Say(f"{bench.repeats} moves with {_SWINGS} swings each show the frequency to about {200 * shows:.1f} %.")
    return 0.5 / rate


def _moves(bench: Bench, here: Swinging) -> Generator[Step, Answer | None, None]:
    """Small moves, all from one side, each with a pause to swing out."""
    step = Fraction(here.microsteps) / bench.per_turn
    yield from from_below(0, "the beginning")
    for number in range(1, bench.repeats + 1):
        yield Wait(_PAUSE, "until it stands quite still")
        yield TurnTo(number * step, f"move {number}: watch how it swings")
    yield Wait(_PAUSE, "until it has swung out")


def _pushes(bench: Bench, here: Swinging) -> Generator[Step, Answer | None, Swinging]:
    """The part pushed aside by hand; the same machine, swinging so far."""
    aside = here.pushed
    how_far = f"{math.degrees(aside):.2g} deg ({aside * _POINTER * 1e3:.2g} mm at the end of the pointer)"
    yield Say(
        f"With the motor holding, push the part aside by {how_far} and let it snap back, {bench.repeats} times. "
        "Not much farther: the motor would let go."
    )
    yield Ask("pushed", "Is that filmed?", "choice", ("yes",))
    return replace(here, swing=aside, widest=_FIRST_SWEEP * PUSHED)


def _counted(name: str, number: int, how: str, within: float) -> Generator[Step, Answer | None, Counted | None]:
    """What is counted of one; None where no swing was seen."""
    question = f"{name}: how many swings were counted (0.5 a sweep, 0 for none)?"
    swings = yield from read(f"swings-{number}", question, "number")
    if swings == 0:
        return None
    _above_nothing(swings, "the swings")
    if how != "timed":
        frames = yield from read(f"frames-{number}", f"{name}: how many frames did these take?", "number")
        time = frames * 2 * within
    else:
        time = yield from read(f"time-{number}", f"{name}: how long did these take?", "time")
    question = f"{name}: how wide was the {{}} of these sweeps, in any unit (0 where it was not seen)?"
    first = yield from read(f"first-{number}", question.format("first"), "number")
    last = yield from read(f"last-{number}", question.format("last"), "number")
    return Counted(swings, _above_nothing(time, "the time of the swings"), first, last)


def _findings(bench: Bench, here: Swinging, counted: list[Counted], within: float) -> tuple[Finding, ...]:
    seen = damping_ratio(counted)
    damping = here.damping if seen is None else _without_friction(seen)
    swings = sum(each.swings for each in counted) / len(counted)
    found = natural_frequency(damped_frequency(counted, within), damping, here.widest, swings)
    frequency = frequency_finding(
        bench,
        here,
        found,
        "(swings/time)/sqrt(1 - zeta^2), mean of the moves (JCGM 100:2008, 4.2), more by how wide they swung",
    )
    formula = "delta/sqrt(4 pi^2 + delta^2), delta = ln(first/last)/swings, mean of the moves"
    return (frequency,) if seen is None else (frequency, damping_finding(here, seen, formula))


def _without_friction(seen: Measured) -> Measured:
    """Of what makes the swings die away, friction may do any part: that does not slow them."""
    return Measured(seen.value / 2, math.hypot(of_limits(seen.value / 2), seen.deviation / 2), seen.freedom)


def _by_marks(bench: Bench, here: Swinging) -> Generator[Step, Answer | None, tuple[Finding, ...]]:
    """From lines that were marked so long after a stop: how wavy each is, and how many waves in which time."""
    yield Say(
        "Mark a straight line along the part right after an index, with a settle time of its own for each line: some "
        "shorter than the plan has it. The waves of the line are the swings; without the laser nothing is read."
    )
    settle, waviness = [], []
    for number in range(1, max(bench.repeats, 3) + 1):
        settle.append((yield from read(f"settle-{number}", f"Line {number}: how long had it settled?", "time")))
        question = f"Line {number}: how far are its first waves from crest to trough?"
        waviness.append((yield from read(f"waves-{number}", question, "length")))
    count = yield from read("waves-counted", "How many waves are counted on one line (0 if none)?", "number")
    findings = []
    natural = here.as_planned
    if count > 0:
        time = yield from read("waves-took", "In which time was that piece of the line marked?", "time")
        counted = [Counted(count, _above_nothing(time, "the time of the waves"))]
        quarter = time / count / 4
        natural = natural_frequency(damped_frequency(counted, quarter), here.damping, 0.0, count)
        formula = "(waves/time)/sqrt(1 - zeta^2), each end to a quarter of a wave"
        findings.append(frequency_finding(bench, here, natural, formula))
    rate = decay_rate(settle, waviness, bench.within_length)
    if rate.value <= 0:
        problem, remedy = "the waves don't get less with the settle time", "Read them anew, or mark with longer ones"
        raise InputError(problem, remedy, key="waves")
    zeta = rate.value / (2 * math.pi * natural.value)
    damping = combined(zeta, [(zeta / rate.value, rate), (zeta / natural.value, natural)])
    formula = "slope of -ln(waviness) against the settle time, over 2 pi f (least squares)"
    return (*findings, damping_finding(here, damping, formula))


def _above_nothing(value: float, what: str) -> float:
    if not 0 < value < math.inf:
        raise InputError(f"{what}: {value:g} tells nothing", "Say a number above 0", key="reading")
    return value
