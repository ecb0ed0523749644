"""Places of a job's part that a person can see, and turn under the laser: each says where the job's zero is."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.model.files.problems import nearest_of
from firmware_host.planning.plan import JobPlan
from firmware_host.station.hand.steps import angle


@dataclass(frozen=True)
class Place:
    """A place by `name`, in words, and its angle from the job's zero in turns."""

    name: str
    words: str
    turns: Fraction


def places_of(setup: Setup, plan: JobPlan) -> tuple[Place, ...]:
    """The job's zero first, then the middle of each keep-out arc, where the mark begins, and its first segment.

    A place at the angle of one before it is left out.
    """
    arcs = setup.job.part.keep_out
    number = [f"-{count}" for count in range(1, len(arcs) + 1)] if len(arcs) > 1 else [""]
    found = [Place("start-mark", "the start mark, at the job's zero", Fraction(0))]
    for arc, which in zip(arcs, number, strict=False):
        middle = Fraction(arc.start.exact) + arc.length / 2
        words = f"the middle of the keep-out arc (handle) {arc.start} to {arc.end}"
        found.append(Place(f"handle{which}", words, middle))
    segments = plan.segments
    found.append(Place("first-segment", "the middle of the first segment", segments.blocks[0].first))
    found.append(Place("mark-begin", "where the mark begins", segments.start))
    once = {place.turns: place for place in reversed(found)}
    return tuple(place for place in found if once[place.turns] is place)


def place_named(text: str, places: tuple[Place, ...], *, key: str) -> Place:
    """The place of that name, or an angle from the job's zero ("30 deg"). Raises `InputError`."""
    named = {place.name: place for place in places}
    if text in named:
        return named[text]
    try:
        return Place(text, f"the place at {text}", angle(text, key=key))
    except InputError as error:
        known = f'{nearest_of(text, sorted(named))} Or give an angle from the job\'s zero: "30 deg"'
        raise InputError(f"{text!r} is no place of this job", known, key=key) from error
