"""A hand without a board, and a person who films an axis that swings as its hidden spring has it."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import cast

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.record import Record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import Person, carry_out
from firmware_host.planning.by_hand import HandPlan
from firmware_host.station.hand.hand import Hand, Where
from tests.commissioning.hidden.hands import bench_of


class StillHand:
    """What a procedure asks of a hand: moves that end where they should, and time that passes."""

    def __init__(self, plan: HandPlan) -> None:
        self.plan, self.zero_place, self.now_s, self._at, self.at_machine_zero = plan, "", 0.0, 0, False
        self.moved: list[int] = []
        self.at_machine_zero = False

    @property
    def where(self) -> Where:
        return Where(self._at, 0.0, 0.0, "deg", "set", still=True, energised=True)

    def set_zero(self, at: str, *, place: str = "") -> None:
        assert at == "0 deg"
        self.zero_place, self._at = place, 0

    def turn_to(self, turns: Fraction, **_: object) -> None:
        self._at = round(turns * self.plan.per_turn)
        self.moved.append(self._at)

    def wait(self, duration_s: float) -> None:
        self.now_s += duration_s


@dataclass
class Filming(Person):
    """Films an axis of `natural` Hz and damping `zeta`, and reads the film, or the marks."""

    natural: float
    zeta: float
    rng: random.Random
    rate: float = 480.0
    swings: int = 3
    none_at: tuple[int, ...] = ()
    how: str = "film"
    sizes: bool = True
    stops_after: int = 10_000
    asked: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def answer(self, ask: Ask) -> Answer:
        if len(self.asked) >= self.stops_after:
            raise KeyboardInterrupt
        self.asked.append(ask.key)
        name, _, number = ask.key.rpartition("-")
        period = 1 / (self.natural * math.sqrt(1 - self.zeta**2))
        took = self.swings * period
        match name or ask.key:
            case "how":
                return self.how
            case "ready":
                return "ready"
            case "frames-a":
                return float(self.rate)
            case "within":
                return 0.5 / self.rate
            case "swings":
                return 0.0 if int(number) in self.none_at else float(self.swings)
            case "frames":
                began = self.rng.random()
                return float(round((began + took) * self.rate) - round(began * self.rate))
            case "time":
                return took + self.rng.uniform(-0.5, 0.5) / self.rate
            case "first":
                return 20.0 * (1 + self.rng.uniform(-0.05, 0.05)) if self.sizes else 0.0
            case "last":
                left = math.exp(-2 * math.pi * self.zeta * self.natural * took) + self.rng.uniform(-0.05, 0.05)
                return max(20.0 * left, 0.0) if self.sizes else 0.0
            case "settle":
                return 0.3 * (float(number) - 1) / (2 * math.pi * self.natural * self.zeta)
            case "waves" if ask.kind == "length":
                return 0.4e-3 * math.exp(-0.3 * (float(number) - 1)) + self.rng.uniform(-0.01e-3, 0.01e-3)
            case _:
                return {"waves-counted": 4.0, "waves-took": 4 * period}[ask.key]


def film(
    folder: Path, plan: HandPlan, person: Filming, seed: int = 0, **wish: int
) -> tuple[tuple[Finding, ...], StillHand]:
    """Carry `ringing` out; what it found, and what was turned."""
    still = StillHand(plan)
    hand = cast("Hand", still)
    with Record(folder / f"ringing-{seed}.jsonl", "m", VirtualClock()) as record:
        return carry_out(procedure_named("ringing"), bench_of(hand, "ringing", **wish), hand, person, record), still
