"""`focus`: the marking window as this material shows it, by ladders of lines at known depths below the crown."""

from __future__ import annotations

import math
from collections.abc import Generator, Sequence
from fractions import Fraction

from firmware_host.commissioning.estimates.measured import NORMAL_95, Measured, of_limits
from firmware_host.commissioning.estimates.window import Seen, window_of
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.marks.ladder import Rung, focus_depth, rungs, usual_step
from firmware_host.commissioning.procedures.base import Bench, Procedure, require_diameter
from firmware_host.commissioning.script import Answer, Ask, Confirm, Look, Say, Script, Step, TurnTo
from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.station.gates.gate import PassRequest
from firmware_host.station.hand.hand import Hand

_SAFE = Confirm(
    "The laser will mark now: is the enclosure closed, the extraction on, and nobody exposed?",
    ("ready", "not ready"),
    "ready",
    "it is not ready: the gate stays closed",
)
_UNKNOWN = "not known"
_SIDES = {"right": 1, "left": -1}


class Focus(Procedure):
    """Mark the ladder at places around the part, each at a standstill, and read which rungs came out well."""

    key = "focus"
    title = "the marking window on this material"
    purpose = "Shows how deep the window really is, which decides how wide a segment may be, and where the focus lies."
    needs = ("the strip of the window ladder for this job", "a magnifier", "the laser, and a part that may be marked")
    repeats = 3
    opens_gate = True

    def moves(self, bench: Bench) -> str:
        if bench.repeats == 1:
            return "The part stands still, and is marked where it stands."
        apart = 360 / bench.repeats
        return f"The part turns to {bench.repeats} places {apart:.4g} deg apart, and stands still while it is marked."

    def script(self, bench: Bench) -> Script:
        setup = bench.setup
        if setup is None:
            raise InputError("the window belongs to a job", "Name a job instead of the machine", key="procedure")
        radius = require_diameter(bench) / 2
        step = usual_step(setup.job.window, radius)
        ladder = rungs(radius, step)
        yield Say(
            f"The strip has {ladder[-1].number} rungs to each side, {step * 1e3:.3g} mm apart in depth. Set the focus "
            f"{focus_depth(step) * 1e3:.3g} mm below the crown, and mark the strip in one pass, as artwork is marked."
        )
        yield Say("CAUTION: laser radiation (IEC 60825-1, ISO 11553-1): the gate will let the marking side fire.")
        yield _SAFE
        for place in range(1, bench.repeats + 1):
            yield from _mark(place, bench.repeats)
        yield Say("A rung is good where it is as dark and as fine as the best one. Number 0 is the crown.")
        read = []
        for place in range(1, bench.repeats + 1):
            for side in _SIDES:
                read.append((yield from _rungs(place, side, ladder)))
        return _findings(setup, radius, ladder, read)


def _mark(place: int, of: int) -> Generator[Step, Answer | None, None]:
    """One ladder, at its place. Where an earlier go was broken off while it was marked, the person says what stands."""
    turn = TurnTo(Fraction(place - 1, of), f"to place {place} of {of}")
    request = PassRequest(place, of, 1, 1, 360 * (place - 1) / of)
    begun: list[int] = []

    def begin(hand: Hand) -> str:
        begun.append(place)
        return "begun"

    def passed(hand: Hand) -> Answer:
        return hand.marking.passed(request) if begun else _UNKNOWN

    yield turn
    yield Look(f"begun-{place}", "", begin)
    yield turn
    answer = yield Look(f"marked-{place}", f"Opening the gate: mark the ladder, {place} of {of}", passed)
    if answer == _UNKNOWN:
        question = f"Ladder {place} was being marked when this was broken off: does it stand there whole?"
        whole = yield Ask(f"whole-{place}", question, "choice", ("yes", "no"))
        if whole == "no":
            words = f"Opening the gate: mark the ladder once more, {place} of {of}"
            yield Look(f"marked-again-{place}", words, lambda hand: hand.marking.passed(request))


def _rungs(place: int, side: str, ladder: Sequence[Rung]) -> Generator[Step, Answer | None, Seen]:
    numbers = tuple(str(rung.number) for rung in ladder)
    ends = []
    for which in ("first", "last"):
        question = f"Ladder {place}, to the {side}: the {which} rung that is good, from the crown?"
        ends.append(int(str((yield Ask(f"{which}-{side}-{place}", question, "choice", numbers)))))
    return Seen(_SIDES[side], min(ends), max(ends))


def _findings(setup: Setup, radius: float, ladder: Sequence[Rung], read: Sequence[Seen]) -> tuple[Finding, ...]:
    step, deepest = ladder[1].depth, ladder[-1].number
    if any(one.first == 0 or one.last == deepest for one in read):
        return (_open_end(step, read, deepest),)
    found = window_of(read, radius, step)
    half, middle = (_by_diameter(setup, each) for each in (found.half, found.middle))
    return (_half_depth(setup, half), _middle(step, middle), _sideways(found.beside))


def _by_diameter(setup: Setup, depth: Measured) -> Measured:
    """The same with what is not known of the part's diameter: depths at the same drawn places go with 1/diameter."""
    within = setup.job.segments.diameter_uncertainty
    if within is None:
        return depth
    share = depth.value * of_limits(within.si) / setup.job.part.diameter.si
    below, above = (math.hypot(end - depth.value, NORMAL_95 * share) for end in (depth.lowest, depth.highest))
    return Measured(depth.value, math.hypot(depth.deviation, share), ends=(depth.value - below, depth.value + above))


def _half_depth(setup: Setup, half: Measured) -> Finding:
    stated = setup.job.window.half_depth
    fits = stated is not None and half.lowest <= stated.si <= half.highest
    safe = math.floor(half.lowest * 1e6) / 1e3
    if stated is None:
        told = "The job describes its beam instead: with window.half_depth in place of window.beam this counts."
    elif fits:
        told = f"The job has {stated}."
    else:
        told = f"The job has {stated}. The lower end of the interval, {safe:g} mm, is the safe one to plan with."
    writes = stated is not None and not fits and safe > 0
    return Finding(
        key="half-depth",
        name="half the depth of the marking window",
        measured=half.scaled(1e3),
        unit="mm",
        formula="mean of all windows that the rungs allow: each end anywhere between a good rung and a bad one (JCGM "
        "101:2008, 6.4.2), at depths r (1 - cos a)",
        verdict="as stated" if fits else "change",
        sentence=told,
        change=Change("window.half_depth", f"{safe:g} mm", "job") if writes else None,
    )


def _middle(step: float, middle: Measured) -> Finding:
    asked = focus_depth(step)
    off = middle.value - asked
    fits = middle.lowest <= asked <= middle.highest
    way = "deeper" if off > 0 else "higher"
    return Finding(
        key="focus-depth",
        name="the focus lies below the crown by",
        measured=middle.scaled(1e3),
        unit="mm",
        formula="mean of the middles of all windows that the rungs allow",
        verdict="as stated" if fits else "told",
        sentence="It lies where it was set, as far as the rungs tell."
        if fits
        else f"That is {abs(off) * 1e3:.2g} mm {way} than it was set: set the head by that much the other way, always.",
    )


def _sideways(found: Measured) -> Finding:
    """Where the crown stands from the middle of the field: the same depths lie unlike to the right and to the left."""
    fits = found.lowest <= 0 <= found.highest
    return Finding(
        key="focus-sideways",
        name="the crown stands beside the middle of the field by",
        measured=found.scaled(1e3),
        unit="mm",
        formula="mean of all places at which both sides show the same window (JCGM 101:2008, 6.4.2)",
        verdict="as stated" if fits else "told",
        sentence="The window lies alike to both sides."
        if fits
        else "The window lies unlike to the two sides: + is to the right. Move the head, or the field's offset, by it.",
    )


def _open_end(step: float, each: Sequence[Seen], deepest: int) -> Finding:
    top, bottom = any(one.first == 0 for one in each), any(one.last == deepest for one in each)
    least = min(one.last - one.first for one in each) / 2 * step
    where = (
        "The crown itself is good: set the focus deeper" if top else "The deepest rung is good: set the focus higher"
    )
    if top and bottom:
        where = "Every rung is good: the window is deeper than the ladder"
    return Finding(
        key="half-depth-least",
        name="half the depth of the marking window, at least",
        measured=Measured(least * 1e3, 0.0),
        unit="mm",
        formula="half of what lies between the first and the last good rung",
        verdict="told",
        sentence=f"Half the depth of the window is {least * 1e3:.3g} mm or more. {where}, and measure again.",
    )
