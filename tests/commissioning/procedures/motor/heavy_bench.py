"""A hand without a board that keeps time and may be let go of, and a person who reads by a table of answers."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, cast

from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.record import CommissionEvent, Record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import Person, carry_out
from firmware_host.model import load_job
from firmware_host.planning.by_hand import HandPlan, hand_on_job
from firmware_host.station.hand.hand import Hand, Where

SHAFT = hand_on_job(load_job("shaft-scale"))
_MOVE_S = 0.5


class LooseHand:
    """What these procedures ask of a hand: turning, waiting, letting go; `acts` tells what was done."""

    def __init__(self, plan: HandPlan = SHAFT) -> None:
        self.plan, self.zero_place, self.now_s = plan, "", 100.0
        self.energised, self.at_machine_zero = True, False
        self.at = Fraction(0)
        self.acts: list[str] = []

    @property
    def where(self) -> Where:
        at = round(self.at * self.plan.per_turn)
        return Where(at, float(self.at * 360), 0.0, "deg", "set", still=self.energised, energised=self.energised)

    def set_zero(self, at: str | Fraction, *, place: str = "") -> None:
        self.zero_place, self.at = place, Fraction(0) if isinstance(at, str) else at

    def turn_to(self, turns: Fraction, **how: Any) -> None:
        assert self.energised, "a motor that was let go of turns nothing"
        self.acts.append(f"turn to {float(turns * 360):.6g}")
        self.at, self.now_s = turns, self.now_s + _MOVE_S

    def wait(self, seconds: float) -> None:
        assert seconds > 0
        self.now_s += seconds

    def release(self) -> None:
        self.energised, self.zero_place = False, ""
        self.acts.append("release")

    def hold(self) -> None:
        self.energised, self.at = True, Fraction(0)
        self.acts.append("hold")


Reads = Callable[[Ask, LooseHand], Answer]


@dataclass
class Teller(Person):
    """Answers by `reads`; keeps what was asked and told."""

    hand: LooseHand
    reads: Reads
    asked: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def answer(self, ask: Ask) -> Answer:
        self.asked.append(ask.key)
        return self.reads(ask, self.hand)


def bench_with(procedure: str, plan: HandPlan = SHAFT, **wish: Any) -> Bench:
    """The bench as a person who has no wishes sees it; `setup=None`: no job."""
    wanted = procedure_named(procedure)
    return Bench(
        machine=wish.get("machine", plan.machine),
        setup=wish.get("setup", plan.setup),
        per_turn=plan.per_turn,
        diameter=plan.diameter,
        turns=wish.get("turns", wanted.turns),
        repeats=wish.get("repeats", wanted.repeats),
        within_length=wish.get("within_length", 0.1e-3),
        within_angle=wish.get("within_angle", 0.0087),
    )


class Forgets:
    """A record that keeps nothing on the disk: hundreds of machines are measured in a test."""

    def note(self, event: CommissionEvent) -> None:
        pass

    def found(self, procedure: str, finding: Finding) -> None:
        pass

    def going(self, procedure: str) -> None:
        return None


def measured(
    procedure: str, reads: Reads, *, plan: HandPlan = SHAFT, **wish: Any
) -> tuple[tuple[Finding, ...], Teller]:
    """Carry a procedure out; what it found, and who was asked."""
    hand = LooseHand(plan)
    person = Teller(hand, reads)
    bench, record = bench_with(procedure, plan, **wish), cast("Record", Forgets())
    return carry_out(procedure_named(procedure), bench, cast("Hand", hand), person, record), person


def by_key(findings: tuple[Finding, ...]) -> dict[str, Finding]:
    """The findings by their keys."""
    return {each.key: each for each in findings}


def near(rng: random.Random, value: float, share: float) -> float:
    """`value`, known to plus-minus a `share` of itself, any place alike."""
    return value * (1 + rng.uniform(-share, share))


def assert_as_stated(held: dict[str, int], cases: int) -> None:
    """That intervals for 95 % hold in 90 to 99 of 100; of a few cases what lies within 3 sigma of 95 % is enough."""
    slack = 3 * math.sqrt(0.95 * 0.05 * cases)
    fewest, most = (0.9 * cases, 0.99 * cases) if cases >= 500 else (0.95 * cases - slack, float(cases))
    assert all(fewest <= count <= most for count in held.values()), held
