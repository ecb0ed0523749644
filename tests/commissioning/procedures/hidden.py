"""A machine that is not as its file says, behind a hand of the bench, and a person who reads what it really did."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.record import Record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import Person, carry_out
from firmware_host.model import load_job
from firmware_host.planning.by_hand import HandPlan, hand_on_job
from firmware_host.station.hand.hand import Hand, Where
from tests.support.hand_bench import hand_on
from tests.support.station_bench import StationBench

READ_ANGLE = math.radians(0.2)
READ_LENGTH = 0.01e-3


@dataclass
class Hidden:
    """What is not as the file says: shares of a turn, rad, m. `part`: where the part really stands, rad."""

    ratio: float = 0.0
    lost_motion: float = 0.0
    slip: float = 0.0
    run_out: float = 0.0
    run_out_at: float = 0.0
    oval: float = 0.0
    scatter: float = 0.0
    part: float = 0.0
    roller: float = 0.0
    _slipped: float = 0.0
    _shaft: float = 0.0

    def turned_to(self, turns: float, rng: random.Random) -> None:
        """The shaft goes to `turns` of the part, as commanded; the part follows behind its play."""
        shaft = 2 * math.pi * turns * (1 + self.ratio)
        moved = shaft - self._shaft
        self._shaft = self.roller = shaft
        self._slipped += self.slip * moved + rng.gauss(0, self.scatter)
        pulled = shaft - self._slipped
        half = self.lost_motion / 2
        self.part = min(max(self.part, pulled - half), pulled + half)


@dataclass
class Reader(Person):
    """Reads what the hidden machine did, to the instrument's limits; `stops_after` readings it goes home."""

    hidden: Hidden
    hand: Hand
    rng: random.Random
    way: str = "clockwise"
    stops_after: int = 10_000
    asked: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def answer(self, ask: Ask) -> Answer:
        if len(self.asked) >= self.stops_after:
            raise KeyboardInterrupt
        self.asked.append(ask.key)
        where = self.hand.where
        assert where.still, "a reading is taken while it stands"
        asked_turns = float(Fraction(where.microsteps) / self.hand.plan.per_turn)
        if ask.kind == "choice":
            return self.way
        if ask.kind == "length":
            hidden = self.hidden
            height = hidden.run_out * math.cos(hidden.part - hidden.run_out_at) + hidden.oval * math.cos(
                2 * hidden.part
            )
            return height + self.rng.uniform(-READ_LENGTH, READ_LENGTH)
        off = self.rng.uniform(-READ_ANGLE, READ_ANGLE)
        if ask.key.startswith("roller"):
            per_turn = float(self.hand.plan.per_turn / self.hand.plan.machine.microsteps_per_shaft_turn)
            return (self.hidden.roller - 2 * math.pi * asked_turns) * per_turn + off
        return self.hidden.part - 2 * math.pi * asked_turns + off


@contextmanager
def hidden_hand(bench: StationBench, plan: HandPlan, hidden: Hidden, rng: random.Random) -> Iterator[Hand]:
    """A hand whose every move the hidden machine follows."""
    with hand_on(bench, plan) as hand:
        turn_to = hand.turn_to

        def followed(to: str | Fraction, **how: Any) -> Any:
            where = turn_to(to, **how)
            hidden.turned_to(float(Fraction(where.microsteps) / hand.plan.per_turn), rng)
            return where

        hand.turn_to = followed  # type: ignore[method-assign, assignment]
        yield hand


class QuickHand:
    """What a procedure asks of a hand, without a board behind it: for the draws of many machines."""

    def __init__(self, plan: HandPlan, hidden: Hidden, rng: random.Random) -> None:
        self.plan, self.zero_place = plan, ""
        self._hidden, self._rng, self._at, self.now_s = hidden, rng, 0, 0.0

    @property
    def where(self) -> Where:
        return Where(self._at, 0.0, 0.0, "deg", "set", still=True, energised=True)

    def set_zero(self, at: str, *, place: str = "") -> None:
        assert at == "0 deg"
        self.zero_place, self._at = place, 0

    def turn_to(self, turns: Fraction) -> None:
        self._at = round(turns * self.plan.per_turn)
        self._hidden.turned_to(float(Fraction(self._at) / self.plan.per_turn), self._rng)


def measure_quickly(folder: Path, procedure: str, hidden: Hidden, plan: HandPlan, seed: int) -> tuple[Finding, ...]:
    """As `measure`, without a board."""
    rng = random.Random(seed)
    hand = cast("Hand", QuickHand(plan, hidden, rng))
    with Record(folder / f"{procedure}-{seed}.jsonl", "m", VirtualClock()) as record:
        person = Reader(hidden, hand, rng)
        return carry_out(procedure_named(procedure), bench_of(hand, procedure), hand, person, record)


def bench_of(hand: Hand, procedure: str, **wish: Any) -> Bench:
    """The bench as a person who has no wishes sees it."""
    wanted, plan = procedure_named(procedure), hand.plan
    return Bench(
        machine=plan.machine,
        setup=plan.setup,
        per_turn=plan.per_turn,
        diameter=plan.diameter,
        turns=wish.get("turns", wanted.turns),
        repeats=wish.get("repeats", wanted.repeats),
        within_length=READ_LENGTH,
        within_angle=READ_ANGLE,
        plan=plan,
    )


def measure(
    tmp_path: Path,
    procedure: str,
    hidden: Hidden,
    *,
    job: str = "shaft-scale",
    seed: int = 1,
    plan: HandPlan | None = None,
    way: str = "clockwise",
    **wish: Any,
) -> tuple[tuple[Finding, ...], Reader]:
    """Carry a procedure out on a hidden machine; what it found, and the person who read."""
    setup, rng = load_job(job), random.Random(seed)
    bench = StationBench(tmp_path, setup)
    made = plan or hand_on_job(setup)
    with hidden_hand(bench, made, hidden, rng) as hand, Record(tmp_path / "kept.jsonl", "m", bench.clock) as record:
        person = Reader(hidden, hand, rng, way=way)
        found = carry_out(procedure_named(procedure), bench_of(hand, procedure, **wish), hand, person, record)
        return found, person
