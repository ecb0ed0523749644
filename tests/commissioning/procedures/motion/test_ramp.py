"""`ramp` on motors whose limit is hidden: a plain threshold, and rotors integrated on their torque curve."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path
from typing import cast

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.motion.search import usual_trials
from firmware_host.commissioning.procedures.motion.trials import WAY, trying
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.record import Record, read_record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import Person, carry_out
from firmware_host.commissioning.write_back import write_back
from firmware_host.errors import InputError
from firmware_host.folders import shipped_folder
from firmware_host.model import load_job
from firmware_host.model.files.loading import load_machine
from firmware_host.planning.by_hand import HandPlan, Pace, hand_on_job
from firmware_host.planning.plan import plan_job
from firmware_host.reporting.measuring.record import record_document
from firmware_host.station.hand.hand import Hand
from tests.commissioning.hidden.hands import QuickHand, bench_of, carried_out
from tests.commissioning.hidden.machines import Hidden
from tests.commissioning.hidden.person import Reader
from tests.commissioning.procedures.motion.swinging_bench import StillHand
from tests.support.hand_bench import hand_on
from tests.support.station_bench import StationBench

SHAFT = hand_on_job(load_job("shaft-scale"))
SLIP = 2 * math.pi * 4 / (200 * 3)
TRYING = trying(bench_of(cast("Hand", StillHand(SHAFT)), "ramp"))
QUICKEST, SWING_S = TRYING.quickest, TRYING.swing_s
NOW = datetime(2026, 5, 4, tzinfo=UTC)


class LosingHand(StillHand):
    """Loses four full steps, or eight, in a quarter turn quicker than the hidden `limit` (a share of the quickest)."""

    def __init__(self, plan: HandPlan, limit: float, rng: random.Random, scatter: float = 0.0) -> None:
        super().__init__(plan)
        self.limit, self.scatter, self.rng, self.lost = limit, scatter, rng, 0.0
        self.paces: list[Pace] = []

    def turn_to(self, turns: Fraction, *, pace: Pace | None = None, **_: object) -> None:
        assert pace is not None, "every move of it has a pace"
        before = self._at
        super().turn_to(turns)
        self.plan.require_pace(self._at - before, pace)
        self.paces.append(pace)
        quick = abs(self._at - before) == round(WAY * self.plan.per_turn)
        if quick and pace.acceleration > self.limit * QUICKEST.acceleration * (1 + self.rng.gauss(0, self.scatter)):
            self.lost += math.copysign(self.rng.choice((1, 2)) * SLIP, before - self._at)


@dataclass
class Reading(Person):
    """Reads the line to a fifth of a degree; `odd`: what slips besides, each time steps are lost (rad)."""

    hand: LosingHand
    rng: random.Random
    odd: float = 0.0
    stops_after: int = 10_000
    asked: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def answer(self, ask: Ask) -> Answer:
        if len(self.asked) >= self.stops_after:
            raise KeyboardInterrupt
        self.asked.append(ask.key)
        if ask.choices:
            return ask.choices[0]
        return self.hand.lost * (1 + self.odd) + self.rng.uniform(-1, 1) * math.radians(0.2)


def tried(
    folder: Path,
    limit: float,
    seed: int = 1,
    *,
    scatter: float = 0.0,
    odd: float = 0.0,
    plan: HandPlan = SHAFT,
    hand_of: type[LosingHand] | None = None,
) -> tuple[tuple[Finding, ...], LosingHand, Reading]:
    rng = random.Random(seed)
    hand = (hand_of or LosingHand)(plan, limit, rng, scatter)
    person = Reading(hand, rng, odd)
    with Record(folder / f"ramp-{seed}.jsonl", "m", VirtualClock()) as record:
        bench = bench_of(cast("Hand", hand), "ramp")
        return carry_out(procedure_named("ramp"), bench, cast("Hand", hand), person, record), hand, person


def share_of(finding: Finding) -> tuple[float, float]:
    """Its interval, as shares of the quickest."""
    whole = math.degrees(QUICKEST.acceleration)
    assert finding.planned == pytest.approx((whole, whole), rel=1e-6)
    return finding.measured.lowest / whole, finding.measured.highest / whole


@pytest.mark.some(3)
@pytest.mark.parametrize("limit", [0.95, 0.61, 0.43, 0.2, 0.08])
def test_it_finds_from_where_steps_are_lost_and_stores_less(tmp_path: Path, limit: float) -> None:
    (found, speed), hand, person = tried(tmp_path, limit)
    lowest, highest = share_of(found)
    assert lowest - 0.005 <= limit <= highest + 0.005
    assert found.change is not None
    stored = math.radians(float(str(found.change.value).split()[0])) / QUICKEST.acceleration
    assert 0.7 * limit <= stored <= 0.8 * limit
    assert [each.key for each in found.also] == ["ramp.speed", "ramp.load_inertia"]
    assert speed.measured.value / found.measured.value == pytest.approx(QUICKEST.speed / QUICKEST.acceleration)
    assert len(person.asked) <= usual_trials(10) + 6
    assert max(pace.acceleration for pace in hand.paces) <= QUICKEST.acceleration
    assert "none of 10 was lost, which proves that fewer than 26 % are (95 %, the rule of three)" in found.sentence
    assert any(line.startswith("It lost ") for line in person.told)


class TwiceSwingingHand(LosingHand):
    """Loses steps only where its two swings add up: in moves that slow down a swing after their beginning."""

    def turn_to(self, turns: Fraction, *, pace: Pace | None = None, **_: object) -> None:
        assert pace is not None, "every move of it has a pace"
        before = self._at
        StillHand.turn_to(self, turns)
        self.plan.require_pace(self._at - before, pace)
        way = 2 * math.pi * abs(self._at - before) / float(self.plan.per_turn)
        after = max(math.sqrt(way / pace.acceleration), way / pace.speed)
        if 0.9 < after / SWING_S < 1.2 and pace.acceleration > self.limit * QUICKEST.acceleration:
            self.lost += SLIP


def test_a_pace_that_only_shorter_moves_lose_steps_at_is_found(tmp_path: Path) -> None:
    (found, _), _, _ = tried(tmp_path, 0.3, hand_of=TwiceSwingingHand)
    lowest, highest = share_of(found)
    assert lowest - 0.005 <= 0.3 <= highest + 0.005


def test_a_lost_motion_that_nobody_knows_is_no_lost_step(tmp_path: Path) -> None:
    """More of it than four full steps: the line is scribed where the mark is come to as for each reading."""
    rng, hidden = random.Random(1), Hidden(lost_motion=1.5 * SLIP)
    quick = QuickHand(SHAFT, hidden.axis(SHAFT.setup, rng))
    hand = cast("Hand", quick)
    person = Reader(quick.axis, hand, rng, stops_after=3)
    with (
        Record(tmp_path / "kept.jsonl", "m", VirtualClock()) as record,
        pytest.raises(KeyboardInterrupt),
    ):
        carry_out(procedure_named("ramp"), bench_of(hand, "ramp"), hand, person, record)
    assert person.asked == ["scribed", "line-1", "line-2"]
    assert not any(line.startswith("It lost") for line in person.told)


def test_a_motor_that_loses_none_up_to_what_limits_allow_is_left_as_it_is(tmp_path: Path) -> None:
    (found,), hand, person = tried(tmp_path, 1.5)
    assert (found.verdict, found.change) == ("as stated", None)
    assert found.measured.value == pytest.approx(math.degrees(QUICKEST.acceleration))
    assert "It loses none up to what limits allow" in found.sentence
    assert len(person.asked) == 1 + 11
    assert max(pace.speed for pace in hand.paces) == QUICKEST.speed


def test_a_motor_without_torque_is_told_so_and_nothing_is_written(tmp_path: Path) -> None:
    (found,), _, person = tried(tmp_path, 0.0001)
    assert found.change is None
    assert "Steps are lost even at" in found.sentence
    assert len(person.asked) < 6


def test_what_slips_besides_is_no_lost_step_and_nothing_is_written(tmp_path: Path) -> None:
    (found, _), _, _ = tried(tmp_path, 0.4, odd=0.45)
    assert found.sentence.startswith("Not all of it comes in fours of full steps: something slips besides")
    assert found.change is None


def test_each_quick_move_turns_back_from_where_the_mark_was_crept_to_and_all_else_is_calm(tmp_path: Path) -> None:
    _, hand, _ = tried(tmp_path, 0.4)
    quarter = round(WAY * SHAFT.per_turn)
    here = trying(bench_of(cast("Hand", hand), "ramp"))
    for number, (place, pace) in enumerate(zip(hand.moved, hand.paces, strict=True)):
        if abs(place) == quarter:
            assert hand.moved[number - 1] == 0
            assert (hand.moved[number - 2] > 0) == (place > 0)
            assert hand.paces[number - 1] == here.creeping
            side, trial = place, pace
        elif pace not in (here.calm, here.creeping):
            assert pace == trial
            assert 0 <= place / side <= 1
    assert here.creeping.speed < here.calm.speed < 0.5 * QUICKEST.speed


def test_it_says_beforehand_how_many_trials_and_minutes_it_takes() -> None:
    bench = bench_of(cast("Hand", StillHand(SHAFT)), "ramp")
    told = procedure_named("ramp").moves(bench)
    assert told.startswith("CAUTION: the part turns 90 deg to either side, quicker each time, up to 24600 deg/s^2")
    assert "About 14 trials, 7 minutes; 60 at the most." in told


def test_where_four_full_steps_can_not_be_read_it_is_refused_before_anything_moves() -> None:
    bench = bench_of(cast("Hand", StillHand(SHAFT)), "ramp")
    with pytest.raises(InputError, match=r"four full steps turn the part by 2\.4 deg, and that is not seen"):
        procedure_named("ramp").moves(replace(bench, within_angle=math.radians(1)))


def test_what_is_written_is_what_the_plan_then_keeps_to(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes((shipped_folder() / "machines" / "belt-chuck.toml").read_bytes())
    (found, _), _, _ = tried(tmp_path, 0.1)
    write_back(path, found, NOW)
    assert found.change is not None
    setup = replace(SHAFT.setup, machine=load_machine(str(path)))
    before, plan = plan_job(SHAFT.setup).program, plan_job(setup).program
    stored = math.radians(float(str(found.change.value).split()[0]))
    assert plan.acceleration <= stored * (1 + 1e-4) < before.acceleration
    again = hand_on_job(setup)
    assert again.quickest(WAY) == SHAFT.quickest(WAY)
    (same, _), _, _ = tried(tmp_path, 0.1, 2, plan=again)
    assert (same.verdict, same.change) == ("as stated", None)
    (mended,), _, _ = tried(tmp_path, 1.5, 3, plan=again)
    assert mended.change is not None
    assert math.radians(float(str(mended.change.value).split()[0])) == pytest.approx(QUICKEST.acceleration, rel=1e-3)


def test_it_is_resumed_at_the_trial_that_is_missing(tmp_path: Path) -> None:
    rng = random.Random(1)
    hand = LosingHand(SHAFT, 0.43, rng)
    bench, wanted = bench_of(cast("Hand", hand), "ramp"), procedure_named("ramp")
    with Record(tmp_path / "kept.jsonl", "m", VirtualClock()) as record:
        first = Reading(hand, rng, stops_after=7)
        with pytest.raises(KeyboardInterrupt):
            carry_out(wanted, bench, cast("Hand", hand), first, record)
        second = Reading(hand, rng)
        found, _ = carry_out(wanted, bench, cast("Hand", hand), second, record)
    assert first.asked[-1] == "line-6"
    assert second.asked[0] == "line-7"
    lowest, highest = share_of(found)
    assert lowest - 0.005 <= 0.43 <= highest + 0.005
    shown = str(record_document(read_record(tmp_path / "kept.jsonl")))
    assert f"{found.measured.within:.6g}"[:5] in shown


def test_on_a_board_with_a_weak_motor_each_pace_is_written_and_put_back(tmp_path: Path) -> None:
    """The rotor is integrated on its torque curve; it loses steps where no threshold was given."""
    bench, rng = StationBench(tmp_path, load_job("shaft-scale")), random.Random(1)
    axis = Hidden(torque=0.2).axis(bench.setup, rng)
    bench.device.followed_by(bench.axis, axis)
    with (
        hand_on(bench, SHAFT, backup=tmp_path / "before.json") as hand,
        Record(tmp_path / "kept.jsonl", "m", bench.clock) as record,
    ):
        before = dict(hand._tools.controller.settings.raw)
        found, _ = carry_out(
            procedure_named("ramp"), bench_of(hand, "ramp", repeats=3), hand, Reader(axis, hand, rng), record
        )
        assert hand._tools.controller.settings.raw == before
    assert 0.35 < share_of(found)[0] < share_of(found)[1] < 0.55
    assert found.change is not None


@pytest.mark.parametrize("cases", [pytest.param(6, id="6"), pytest.param(500, id="500", marks=pytest.mark.slow)])
def test_the_interval_holds_the_hidden_limit_in_nineteen_motors_of_twenty(tmp_path: Path, cases: int) -> None:
    rng, held = random.Random(3), 0
    for number in range(cases):
        limit = math.exp(rng.uniform(math.log(0.1), math.log(0.99)))
        found = tried(tmp_path, limit, number, scatter=0.005)[0][0]
        lowest, highest = share_of(found)
        held += lowest <= limit <= highest if found.change is not None else limit > 0.97
    assert 0.9 * cases <= held <= (0.99 if cases >= 500 else 1.0) * cases


@pytest.mark.parametrize("cases", [pytest.param(1, id="1"), pytest.param(60, id="60", marks=pytest.mark.slow)])
def test_an_integrated_rotor_follows_what_is_stored_again_and_again(tmp_path: Path, cases: int) -> None:
    rng = random.Random(5)
    for number in range(cases):
        hidden = Hidden(torque=rng.uniform(0.1, 0.4), inertia=rng.uniform(0.8, 1.25), damping=rng.uniform(0.04, 0.15))
        quick = QuickHand(SHAFT, hidden.axis(SHAFT.setup, rng))
        (found, _), _ = carried_out(tmp_path, "ramp", quick, rng, number)
        assert found.change is not None
        share = math.radians(float(str(found.change.value).split()[0])) / QUICKEST.acceleration
        here = QuickHand(SHAFT, hidden.axis(SHAFT.setup, rng))
        for turn in range(20):
            here.turn_to(WAY * (turn % 2), pace=Pace(share * QUICKEST.acceleration, share * QUICKEST.speed))
        assert here.axis.lost_steps == 0
