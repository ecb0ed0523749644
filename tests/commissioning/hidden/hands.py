"""A hand of the bench whose pulses a hidden machine follows, a quick one without a board, and procedures by them."""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple, cast

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.record import Record
from firmware_host.commissioning.session import carry_out
from firmware_host.model import load_job
from firmware_host.planning.by_hand import HandPlan, hand_on_job
from firmware_host.simulator.true_machine.axis import TrueAxis
from firmware_host.simulator.true_machine.field import ramp
from firmware_host.station.hand.hand import Hand, Where
from tests.commissioning.hidden.machines import Hidden, microsteps_of
from tests.commissioning.hidden.person import READ_ANGLE, READ_LENGTH, Reader
from tests.support.hand_bench import hand_on
from tests.support.station_bench import StationBench

_STANDS_S = 3.0
"""So long a part stands between two moves (s)."""


@contextmanager
def hidden_hand(bench: StationBench, plan: HandPlan, axis: TrueAxis, backup: Path | None = None) -> Iterator[Hand]:
    """A hand whose every pulse the true axis follows; a board that homing locks is unlocked. `backup`: as `hand_on`."""
    bench.device.followed_by(bench.axis, axis)
    with hand_on(bench, plan, unlock=plan.machine.axis.home_switch, backup=backup) as hand:
        yield hand


class Commanded(NamedTuple):
    """A move: microsteps, part rad/s^2 and rad/s."""

    microsteps: int
    acceleration: float
    speed: float


class QuickHand:
    """What a procedure asks of a hand, without a board behind it: for the draws of many machines."""

    def __init__(self, plan: HandPlan, axis: TrueAxis) -> None:
        self.plan, self.axis, self.zero_place, self.now_s = plan, axis, "", 0.0
        self.moves: list[Commanded] = []
        self.at_machine_zero = False
        self._at, self._energised = 0, True

    @property
    def where(self) -> Where:
        return Where(self._at, 0.0, 0.0, "deg", "set", still=True, energised=self._energised)

    def set_zero(self, at: str | Fraction, *, place: str = "") -> None:
        turns = Fraction(0) if isinstance(at, str) else at
        self.zero_place, self._at = place, round(turns * self.plan.per_turn)

    def turn_to(self, turns: Fraction, *, pace: Any = None, straight: bool = False) -> None:
        target = round(turns * self.plan.per_turn)
        if target == self._at:
            return
        acceleration = self.plan.acceleration if pace is None else pace.acceleration
        speed = self.plan.speed(target - self._at) if pace is None else pace.speed
        self.moves.append(Commanded(target - self._at, acceleration, speed))
        pulses = (target - self._at) * self.plan.machine.axis.sign
        rates = [microsteps_of(each, float(self.plan.per_turn)) for each in (acceleration, speed)]
        move = ramp(pulses, *rates, base=self.axis.pulses, start_s=self.now_s + _STANDS_S)
        self.axis.follow(move)
        self.now_s, self._at = move[-1].end_s, target

    def wait(self, duration_s: float) -> None:
        self.now_s += duration_s

    def release(self) -> None:
        self._energised = False
        self.axis.power_off()

    def hold(self) -> None:
        self._energised, self._at = True, 0


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
        within_angle=wish.get("within_angle", READ_ANGLE),
        plan=plan,
        paced=getattr(hand, "may_pace", False),
    )


def measure_quickly(folder: Path, procedure: str, hidden: Hidden, plan: HandPlan, seed: int) -> tuple[Finding, ...]:
    """As `measure`, without a board."""
    rng = random.Random(seed)
    quick = QuickHand(plan, hidden.axis(plan.setup, rng))
    return carried_out(folder, procedure, quick, rng, seed)[0]


def carried_out(
    folder: Path, procedure: str, quick: QuickHand, rng: random.Random, seed: int, within_angle: float = READ_ANGLE
) -> tuple[tuple[Finding, ...], Reader]:
    """What `procedure` finds by a quick hand, and the person who read, angles to `within_angle` (rad)."""
    hand = cast("Hand", quick)
    with Record(folder / f"{procedure}-{seed}.jsonl", "m", VirtualClock()) as record:
        person = Reader(quick.axis, hand, rng, within_angle=within_angle)
        bench = bench_of(hand, procedure, within_angle=within_angle)
        return carry_out(procedure_named(procedure), bench, hand, person, record), person


def measure(
    tmp_path: Path,
    procedure: str,
    hidden: Hidden,
    *,
    job: str = "shaft-scale",
    seed: int = 1,
    plan: HandPlan | None = None,
    **wish: Any,
) -> tuple[tuple[Finding, ...], Reader]:
    """Carry a procedure out on a hidden machine behind a board; what it found, and the person who read."""
    setup, rng = load_job(job), random.Random(seed)
    bench = StationBench(tmp_path, setup)
    axis = hidden.axis(setup, rng)
    with (
        hidden_hand(bench, plan or hand_on_job(setup), axis) as hand,
        Record(tmp_path / "kept.jsonl", "m", bench.clock) as record,
    ):
        person = Reader(axis, hand, rng)
        found = carry_out(procedure_named(procedure), bench_of(hand, procedure, **wish), hand, person, record)
        return found, person
