"""Each procedure on machines whose true values are hidden from it: what it finds, and how often its interval holds."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.record import Record, read_record
from firmware_host.commissioning.session import carry_out
from firmware_host.errors import InputError
from firmware_host.model import load_job
from firmware_host.planning.by_hand import hand_on_job
from tests.commissioning.hidden.hands import bench_of, hidden_hand, measure, measure_quickly
from tests.commissioning.hidden.machines import Hidden
from tests.commissioning.hidden.person import Reader
from tests.support.station_bench import StationBench

SHAFT = hand_on_job(load_job("shaft-scale"))
PER_TURN = 200 * 16 * 3


def test_a_right_ratio_is_found_right(tmp_path: Path) -> None:
    (found,), reader = measure(tmp_path, "ratio", Hidden(), plan=SHAFT)
    assert found.verdict == "as stated"
    assert found.measured.value == pytest.approx(PER_TURN, rel=1e-4)
    assert found.change is None
    assert reader.asked == ["after-0", "after-5", "after-10", "after-15", "after-20"]
    assert found.sentence.startswith("The steps per turn are right to 0.0")


@pytest.mark.parametrize(
    ("ratio", "key", "value"),
    [
        pytest.param(60 / 61 - 1, "gearing.0.driven_teeth", 61, id="a wheel of 61 teeth"),
        pytest.param(18 / 20 - 1, "gearing.0.driving_teeth", 18, id="a pulley of 18 teeth"),
        pytest.param(16 / 32 - 1, "driver.microsteps", 32, id="a switch at 32"),
    ],
)
def test_a_wrong_wheel_or_switch_is_named_and_can_be_written(
    tmp_path: Path, ratio: float, key: str, value: int
) -> None:
    (found,), _ = measure(tmp_path, "ratio", Hidden(ratio=ratio), plan=SHAFT)
    assert found.verdict == "change"
    assert f"{key} = {value}" in found.sentence
    if found.change is not None:  # 200 full steps at half the microsteps, and 400 at all of them, turn alike
        assert (found.change.key, found.change.value) == (key, value)
    assert found.measured.lowest <= PER_TURN / (1 + ratio) <= found.measured.highest


def test_a_belt_that_slips_now_and_then_is_no_wrong_wheel(tmp_path: Path) -> None:
    (found,), _ = measure(tmp_path, "ratio", Hidden(scatter=math.radians(8)), plan=SHAFT)
    assert "something slips" in found.sentence
    assert found.change is None


def test_a_belt_that_slips_steadily_is_no_wheel_that_exists(tmp_path: Path) -> None:
    (found,), _ = measure(tmp_path, "ratio", Hidden(ratio=-0.0077), plan=SHAFT)
    assert "does a belt or a coupling slip?" in found.sentence
    assert found.change is None


def test_lost_motion_is_the_play_of_the_machine_and_not_of_its_file(tmp_path: Path) -> None:
    """The file has 0.02 deg; the machine has half a degree."""
    (found,), reader = measure(tmp_path, "lost-motion", Hidden(lost_motion=math.radians(0.5)), plan=SHAFT)
    assert found.verdict == "change"
    assert found.measured.lowest <= 0.5 <= found.measured.highest
    assert found.measured.within < 0.25
    assert found.change is not None
    assert found.change.key == "gearing.0.lost_motion"
    assert float(str(found.change.value).removesuffix(" deg")) == pytest.approx(found.measured.value, rel=1e-3)
    assert len(reader.asked) == 10


def test_run_out_and_out_of_round_are_told_apart(tmp_path: Path) -> None:
    hidden = Hidden(run_out=0.12e-3, run_out_at=math.radians(100), oval=0.03e-3)
    (run_out, round_), _ = measure(tmp_path, "run-out", hidden, plan=SHAFT)
    assert run_out.measured.value == pytest.approx(0.12, abs=0.012)
    assert "highest at " in run_out.sentence
    angle = float(run_out.sentence.split("at ")[1].split(" deg")[0])
    assert angle == pytest.approx(100, abs=6)
    assert round_.measured.value == pytest.approx(0.03, abs=0.015)
    assert "mm are left for the sag" in run_out.sentence


def test_the_way_that_it_turns_is_written_where_the_file_says_none(tmp_path: Path) -> None:
    (found,), _ = measure(tmp_path, "direction", Hidden(way="counter-clockwise"), plan=SHAFT)
    assert found.change is not None
    assert (found.change.key, found.change.value) == ("axis.turns", "counter-clockwise")


def test_creep_on_rollers_is_what_the_part_falls_behind(tmp_path: Path) -> None:
    (found,), _ = measure(tmp_path, "grip", Hidden(slip=0.01), job="tumbler-wrap", turns=2, repeats=3)
    assert found.measured.lowest <= 1.0 <= found.measured.highest
    assert found.change is not None
    assert found.change.key == "drive.slip"


def test_a_chuck_has_no_rollers(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="the machine has no rollers"):
        measure(tmp_path, "grip", Hidden(), plan=SHAFT)


@pytest.mark.parametrize("procedure", ["ratio", "lost-motion", "run-out"])
def test_too_few_repeats_are_refused_before_anything_moves(tmp_path: Path, procedure: str) -> None:
    with pytest.raises(InputError, match="tell nothing"):
        measure(tmp_path, procedure, Hidden(), plan=SHAFT, repeats=1)


def test_a_procedure_that_was_broken_off_goes_on_at_the_first_reading_that_is_missing(tmp_path: Path) -> None:
    """Two goes on one bench, the same zero: five readings, then the other five, and every one of them counts."""
    rng = random.Random(1)
    axis = Hidden(lost_motion=math.radians(0.5)).axis(SHAFT.setup, rng)
    bench = StationBench(tmp_path, load_job("shaft-scale"))
    wanted = procedure_named("lost-motion")
    with hidden_hand(bench, SHAFT, axis) as hand, Record(tmp_path / "kept.jsonl", "m", bench.clock) as record:
        first = Reader(axis, hand, rng, stops_after=5)
        with pytest.raises(KeyboardInterrupt):
            carry_out(wanted, bench_of(hand, "lost-motion"), hand, first, record)
        second = Reader(axis, hand, rng)
        (found,) = carry_out(wanted, bench_of(hand, "lost-motion"), hand, second, record)
    assert first.asked == ["below-1", "above-1", "below-2", "above-2", "below-3"]
    assert second.asked == ["above-3", "below-4", "above-4", "below-5", "above-5"]
    assert found.measured.lowest <= 0.5 <= found.measured.highest
    kinds = [event.kind for event in read_record(tmp_path / "kept.jsonl")]
    assert kinds == ["begin", "started", *["answered"] * 5, "resumed", *["answered"] * 5, "found", "ended"]


@pytest.mark.some(1)
@pytest.mark.parametrize("between", ["another zero", "other wishes", "another procedure"])
def test_it_begins_anew_where_what_was_read_before_can_not_be_used(tmp_path: Path, between: str) -> None:
    rng = random.Random(1)
    axis = Hidden().axis(SHAFT.setup, rng)
    bench = StationBench(tmp_path, load_job("shaft-scale"))
    wanted = procedure_named("lost-motion")
    with hidden_hand(bench, SHAFT, axis) as hand, Record(tmp_path / "kept.jsonl", "m", bench.clock) as record:
        with pytest.raises(KeyboardInterrupt):
            carry_out(wanted, bench_of(hand, "lost-motion"), hand, Reader(axis, hand, rng, stops_after=3), record)
        if between == "another zero":
            hand.set_zero("0 deg", place="the start mark")
        if between == "another procedure":
            carry_out(procedure_named("direction"), bench_of(hand, "direction"), hand, Reader(axis, hand, rng), record)
        again = Reader(axis, hand, rng)
        repeats = 3 if between == "other wishes" else 5
        carry_out(wanted, bench_of(hand, "lost-motion", repeats=repeats), hand, again, record)
    assert len(again.asked) == 2 * repeats


def test_every_move_keeps_the_limits_and_each_reading_is_taken_at_a_standstill(tmp_path: Path) -> None:
    """The hand's own speed for each move is never above that at which the limits hold; `Reader` looks at the rest."""
    bench = StationBench(tmp_path, load_job("shaft-scale"))
    rng = random.Random(1)
    axis = Hidden().axis(SHAFT.setup, rng)
    with hidden_hand(bench, SHAFT, axis) as hand, Record(tmp_path / "kept.jsonl", "m", bench.clock) as record:
        carry_out(procedure_named("ratio"), bench_of(hand, "ratio"), hand, Reader(axis, hand, rng), record)
        speeds = [SHAFT.speed(steps) for steps in (1, 800, 9600 * 5)]
    assert all(0 < speed <= SHAFT.most_speed for speed in speeds)


@pytest.mark.parametrize("cases", [pytest.param(12, id="12"), pytest.param(500, id="500", marks=pytest.mark.slow)])
@pytest.mark.parametrize("key", ["ratio", "lost-motion", "run-out"])
def test_the_interval_holds_the_hidden_value_in_nineteen_machines_of_twenty(
    tmp_path: Path, key: str, cases: int
) -> None:
    rng = random.Random(11)
    held = 0
    for number in range(cases):
        ratio = rng.choice((0.0, rng.uniform(-0.05, 0.05)))
        lost, run_out = math.radians(rng.uniform(0.0, 1.0)), rng.uniform(0.02e-3, 0.4e-3)
        true = {"ratio": PER_TURN / (1 + ratio), "lost-motion": math.degrees(lost), "run-out": run_out * 1e3}[key]
        hidden = Hidden(
            ratio=ratio if key == "ratio" else 0.0,
            lost_motion=lost if key == "lost-motion" else 0.0,
            run_out=run_out,
            run_out_at=rng.uniform(0, 2 * math.pi),
        )
        found = measure_quickly(tmp_path, key, hidden, SHAFT, number)[0]
        held += found.measured.lowest <= true <= found.measured.highest
    assert held >= 0.9 * cases
    if cases >= 500:
        assert held <= 0.995 * cases


@pytest.mark.parametrize("cases", [pytest.param(4, id="4"), pytest.param(500, id="500", marks=pytest.mark.slow)])
def test_the_interval_holds_the_hidden_creep_in_nineteen_machines_of_twenty(tmp_path: Path, cases: int) -> None:
    rng, held = random.Random(12), 0
    plan = hand_on_job(load_job("tumbler-wrap"))
    for number in range(cases):
        slip = rng.choice((0.0, rng.uniform(0.0, 0.03)))
        found = measure_quickly(tmp_path, "grip", Hidden(slip=slip), plan, number)[0]
        held += found.measured.lowest <= slip * 100 <= found.measured.highest
    assert held >= 0.9 * cases - 2
    if cases >= 500:
        assert held <= 0.995 * cases
