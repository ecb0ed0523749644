"""What the acceleration from which a part creeps says of its grip: the friction, by the plan's own grip turned round.

`friction_needed` is what the grip check of a plan asks of the rollers at an acceleration; what was needed where the
part began to creep is what there is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from firmware_host.commissioning.estimates.bracket import Bracket, uniform_between
from firmware_host.commissioning.estimates.measured import Measured, of_limits
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, degrees, require_plan, require_setup
from firmware_host.commissioning.procedures.motion.creeping import MOVES, WAY, Creeping, Crept
from firmware_host.mechanics.contact.rollers import Ramp, friction_needed, grip_acceleration
from firmware_host.mechanics.contact.trough import Trough
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.load.drive import friction_along_axis

_SEEN = "between the highest that made it creep no more and the lowest that did, any place alike (JCGM 100:2008, 4.3.7)"
_NEEDED = "F/N at the driven rollers, r*F = J*alpha + idle rollers + rolling friction + m*g*e, at that acceleration"
_LIKE_BRAKING = 1.05
"""A part that slides while braking at less than so many times what it slides at while speeding up shows too little."""
_SURE = 0.9
"""A friction that is known no better than to so much of itself is not written."""
_AS_MADE = 1e-3
"""A board makes an acceleration to three decimals."""
_MORE = "it creeps more from an acceleration of the part of"


@dataclass(frozen=True)
class Grips:
    """The grip of a part on its rollers as the plan computes it, and turned round."""

    load: LoadCase
    trough: Trough
    along: float
    lever: float
    """How far off the lever arm of rolling friction may be, a part of it, where the files say that."""

    def needed(self, acceleration: float, imbalance: float = 1.0, lever: float = 1.0, speed: float = 0.0) -> float:
        """The coefficient of friction that speeding up (part rad/s^2) takes, the worse of both ways.

        With that share of the stated imbalance, so many times the lever arm of rolling friction, and up to `speed`
        (part rad/s), where an imbalance lifts the part.
        """
        trough = replace(self.trough, lever_arm=self.trough.lever_arm * lever).turning(speed)
        needed = float(friction_needed(trough, acceleration, self.load.imbalance_torque * imbalance, braking=0.0))
        return math.hypot(needed, self.along)

    def acceleration(self, friction: float, ramp: Ramp = Ramp.UP) -> float:
        """The acceleration (part rad/s^2) at which that friction is used up, the worse of both ways; inf: never."""
        left = math.sqrt(max(friction**2 - self.along**2, 1e-12))
        return grip_acceleration(self.trough, left, self.load.imbalance_torque, ramp=ramp)

    @property
    def stated(self) -> float:
        """The friction that the plan counts on."""
        return math.hypot(self.load.friction or 0.0, self.along)


def grips(bench: Bench) -> Grips | None:
    """None where the part lies on no rollers, or what it slides by while speeding up it makes good while braking."""
    setup = require_setup(bench)
    load = load_case(setup.machine, setup.job)
    if load.trough is None or load.friction is None:
        return None
    known = setup.machine.tolerances.given() | setup.job.tolerances.given()
    off = known.get("rolling_resistance", 0.0)
    here = Grips(load, load.trough, friction_along_axis(setup.machine.drive.cradle, load.trough), off)
    quickest = require_plan(bench).quickest(WAY).acceleration
    needed = here.needed(quickest)
    return here if here.acceleration(needed, Ramp.DOWN) > _LIKE_BRAKING * quickest else None


def grip_findings(here: Creeping, of: Grips, crept: Crept) -> tuple[Finding, ...]:
    """What the trials say: of the acceleration, and of the friction."""
    bracket = crept.bracket
    if crept.steps_lost is not None:
        at = math.degrees(crept.steps_lost)
        tried = Measured(at, of_limits(_AS_MADE * at))
        return (_told("steps are lost at an acceleration of the part of", tried, "as tried", _LOST),)
    if bracket.works == 0:
        begins = uniform_between(0.0, math.degrees(bracket.fails))
        sentence = _ANYWHERE.format(degrees(bracket.fails))
        return (_told(_MORE, begins, "anywhere from nothing up to what was tried (JCGM 100:2008, 4.3.7)", sentence),)
    if bracket.fails == math.inf:
        return (_none_seen(here, of, bracket),)
    return _found(here, of, bracket)


_LOST = (
    "There the line on the driven roller was off, too: that is the motor and not the grip. Measure ramp first, and "
    "grip again behind it."
)
_ANYWHERE = (
    "It creeps even at {}/s^2: look for oil or soap on part and rollers, a roller that does not turn freely, a part "
    "that rubs somewhere, or another part than the job's."
)


def _told(name: str, measured: Measured, formula: str, sentence: str) -> Finding:
    return Finding(
        key="creep-acceleration",
        name=name,
        measured=measured,
        unit="deg/s^2",
        formula=formula,
        verdict="change",
        sentence=sentence,
    )


def _least_friction(here: Creeping, of: Grips, works: float) -> float:
    """What is there at least where it was not seen to creep more at `works` (part rad/s^2).

    The imbalance may be none: then nothing but the acceleration asked for it.
    """
    return of.needed(works / (1 + here.unseen(works)), 0.0)


def _begins_at_least(here: Creeping, of: Grips, works: float) -> float:
    """From where (part rad/s^2) it may creep more, in its worst place, though it was not seen to at `works`.

    Gravity on an imbalance held one of the moves back by so much of its most, as a mean over the ramp: its middle lies
    no more than half of the way between two beginnings beside the worst place.
    """
    ramp = here.reached(works) ** 2 / (2 * works)
    taken = math.cos(math.pi / MOVES) * math.sin(ramp / 2) / (ramp / 2)
    return min(of.acceleration(of.needed(works / (1 + here.unseen(works)), taken)), works)


def _none_seen(here: Creeping, of: Grips, bracket: Bracket) -> Finding:
    quickest, least = bracket.works, _least_friction(here, of, bracket.works)
    return Finding(
        key="creep-acceleration",
        name="it creeps no more than steadily up to an acceleration of the part of",
        measured=Measured(
            math.degrees(quickest),
            math.degrees(of_limits(quickest * here.unseen(quickest))),
            ends=(math.degrees(quickest / (1 + here.unseen(quickest))), math.degrees(quickest)),
        ),
        unit="deg/s^2",
        formula="as tried, up to what limits allows with its reserve",
        verdict="as stated",
        sentence=f"That is the most that limits allow, and takes a friction of {least:.2g}: no less is there. The plan "
        f"counts on {of.stated:.2g}, by which it would slip from {_computed(of)} on. These limits stay.",
        planned=_planned(of),
    )


def _planned(of: Grips) -> tuple[float, float] | None:
    """The same as the plan reckons with it (deg/s^2); None where the part never slips by that."""
    slips = math.degrees(of.acceleration(of.stated))
    return (slips, slips) if math.isfinite(slips) else None


def _computed(of: Grips) -> str:
    """Where the grip check has it slip, in words."""
    return f"{degrees(of.acceleration(of.stated))}/s^2"


def _no_narrower(found: Measured, low: float, high: float) -> Measured:
    """With an interval that holds all from `low` to `high`: an imbalance that is none is the one end, and no chance."""
    return replace(found, ends=(min(found.lowest, low), max(found.highest, high)))


def _found(here: Creeping, of: Grips, bracket: Bracket) -> tuple[Finding, Finding]:
    low = _least_friction(here, of, bracket.works)
    high = of.needed(bracket.fails, speed=here.reached(bracket.fails))
    middle = math.sqrt(bracket.works * bracket.fails)
    half = max(abs(of.needed(middle, 1.0, 1 + off) - of.needed(middle)) for off in (of.lever, -of.lever))
    begins = uniform_between(_begins_at_least(here, of, bracket.works), bracket.fails).scaled(180 / math.pi)
    friction = _no_narrower(uniform_between(low, high, of_limits(half)), low, high)
    fits = friction.lowest <= of.stated <= friction.highest
    acceleration = Finding(
        key="creep-acceleration",
        name=_MORE,
        measured=begins,
        unit="deg/s^2",
        formula=_SEEN,
        verdict="told" if fits else "change",
        sentence=f"By the friction that it counts on, {of.stated:.2g}, the plan has it slip from {_computed(of)} on; "
        f"this shows {friction.value:.2g}.",
        planned=_planned(of),
    )
    part = friction.within / friction.value
    found = Finding(
        key="grip-friction",
        name="coefficient of friction, part on rollers",
        measured=friction,
        unit="",
        formula=_NEEDED,
        verdict="as stated" if fits else "change",
        sentence="That is with their rolling resistance as the file has it. Clean and dry part and rollers, and "
        "measure again; or write it, and every plan keeps below it, with its reserve.",
        planned=(of.stated, of.stated),
    )
    if fits or part >= _SURE:
        return acceleration, found
    return acceleration, replace(
        found,
        change=Change("drive.friction", float(f"{friction.value:.3g}")),
        also=(Change("tolerances.friction", float(f"{max(part, 1e-3):.2g}")),),
    )
