"""`home`: how well a switch is found again, by what is read at the part after each approach."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.controller.home import Home
from firmware_host.commissioning.record import Record, read_record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import Person, carry_out
from firmware_host.errors import ControllerFaultError, InputError
from firmware_host.model import load_job
from firmware_host.planning.by_hand import HandPlan, hand_on_job
from firmware_host.reporting.measuring.record import record_document
from firmware_host.reporting.render.json import json_document
from firmware_host.station.hand.hand import Hand, Where
from tests.commissioning.hidden.hands import bench_of
from tests.commissioning.hidden.machines import Hidden
from tests.commissioning.hidden.person import READ_ANGLE
from tests.support.hand_bench import BENCHES, hand_on
from tests.support.station_bench import StationBench, quick_disk


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture(scope="module")
def plan() -> HandPlan:
    return hand_on_job(load_job(HOMING))


HOMING = "heavy-shaft"


@dataclass
class AtTheSwitch(Person):
    """Reads where the switch has tripped, each time anew, to the instrument's limits."""

    trips: list[float]
    rng: random.Random
    stops_after: int = 1000
    asked: list[str] = field(default_factory=list)

    def tell(self, text: str) -> None: ...

    def answer(self, ask: Ask) -> Answer:
        if len(self.asked) >= self.stops_after:
            raise KeyboardInterrupt("went home")
        self.asked.append(ask.key)
        return self.trips.pop(0) + self.rng.uniform(-READ_ANGLE, READ_ANGLE)


class Seeks:
    """A hand that only counts how often it was sent to its switch."""

    zero_place = ""
    now_s = 0.0

    def __init__(self, plan: HandPlan) -> None:
        self.plan, self.sought, self.turned = plan, 0, list[Fraction]()

    @property
    def where(self) -> Where:
        return Where(0, 0.0, 0.0, "deg", "set", still=True, energised=True)

    def set_zero(self, at: str, *, place: str = "") -> None:
        self.zero_place = place

    def seek_home(self) -> None:
        self.sought += 1

    def turn_to(self, to: Fraction, *, straight: bool = False, pace: object = None) -> None:
        self.turned.append(to)


def measured(folder: Path, hand: Any, scatter: float, seed: int, **wish: Any) -> Finding:
    rng = random.Random(seed)
    hidden = Hidden(tables={"home": {"scatter": f"{scatter} rad"}})
    trips = hidden.axis(hand.plan.setup, rng).home_trips(100)
    with Record(folder / f"{seed}.jsonl", "m", VirtualClock()) as record:
        bench = bench_of(cast("Hand", hand), "home", **wish)
        (found,) = carry_out(Home(), bench, cast("Hand", hand), AtTheSwitch(trips, rng), record)
    return found


@pytest.mark.parametrize("board", ["status-query", "numbered-line"])
def test_the_switch_is_sought_as_often_as_it_is_read_and_once_before(tmp_path: Path, board: str) -> None:
    bench = BENCHES[board](tmp_path, HOMING)
    with hand_on(bench, unlock=True) as hand:
        homed: list[float] = []
        home = hand.seek_home

        def sought() -> Any:
            where = home()
            homed.append(bench.steps)
            return where

        hand.seek_home = sought  # type: ignore[method-assign]
        found = measured(tmp_path, hand, math.radians(0.5), 1, repeats=5)
        assert hand.where.microsteps == 0
    assert len(homed) == 6
    assert len(set(homed)) == 1  # the board's own switch trips at one step
    assert found.unit == "deg"
    assert found.measured.lowest <= 0.5 <= found.measured.highest


def test_a_board_that_is_locked_is_unlocked_for_its_home_switch_alone(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, HOMING)
    with pytest.raises(ControllerFaultError, match="it is locked"), hand_on(bench):
        pass
    with hand_on(bench, unlock=True) as hand:
        assert hand.where.zero == "none"
    assert len(bench.device.motion_log) == bench.motion_before


def test_what_it_means_at_the_surface_is_told_beside_what_shows_there(tmp_path: Path, plan: HandPlan) -> None:
    """A seam of the job shows from 0.025 mm; the part's radius is 47.5 mm."""
    fine = measured(tmp_path, Seeks(plan), math.radians(0.0), 1)
    bad = measured(tmp_path, Seeks(plan), math.radians(1.0), 2)
    assert "a seam shows from 0.025 mm" in bad.sentence
    assert "the switch does not suit" in bad.sentence
    apart = 1.96 * math.sqrt(2) * math.radians(bad.measured.value) * 47.5
    assert float(bad.sentence.split("by up to ")[1].split(" mm")[0]) == pytest.approx(apart, rel=0.05)
    assert "does not suit" not in fine.sentence


def test_a_switch_that_trips_exactly_has_an_interval_that_begins_at_nothing(tmp_path: Path, plan: HandPlan) -> None:
    found = measured(tmp_path, Seeks(plan), 0.0, 3)
    assert found.measured.lowest == 0.0
    assert found.measured.highest < math.degrees(READ_ANGLE)


def test_a_machine_without_a_switch_is_told_so_in_one_line(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, "shaft-scale")
    with hand_on(bench) as hand, pytest.raises(InputError, match="the machine has no home switch to be measured"):
        measured(tmp_path, hand, 0.0, 1)
    with hand_on(bench) as hand, pytest.raises(InputError, match="this machine has none"):
        hand.seek_home()
    assert len(bench.device.motion_log) == bench.motion_before


def test_it_is_resumed_at_the_first_approach_that_is_missing(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, HOMING)
    rng = random.Random(1)
    with hand_on(bench, unlock=True) as hand, Record(tmp_path / "kept.jsonl", "m", bench.clock) as record:
        first = AtTheSwitch([0.001] * 20, rng, stops_after=3)
        with pytest.raises(KeyboardInterrupt, match="went home"):
            carry_out(Home(), bench_of(hand, "home", repeats=5), hand, first, record)
        second = AtTheSwitch([0.001] * 20, rng)
        carry_out(Home(), bench_of(hand, "home", repeats=5), hand, second, record)
    assert first.asked == ["at-1", "at-2", "at-3"]
    assert second.asked == ["at-4", "at-5"]
    assert [event.kind for event in read_record(tmp_path / "kept.jsonl")].count("started") == 1


@pytest.mark.parametrize("cases", [pytest.param(60, id="60"), pytest.param(500, id="500", marks=pytest.mark.slow)])
def test_the_interval_holds_the_hidden_spread_in_nineteen_switches_of_twenty(
    tmp_path: Path, plan: HandPlan, cases: int
) -> None:
    holds = 0
    for seed in range(cases):
        scatter = math.radians(random.Random(1000 + seed).uniform(0.1, 1.0))
        found = measured(tmp_path, Seeks(plan), scatter, seed).measured
        holds += found.lowest <= math.degrees(scatter) <= found.highest
    low, high = (0.90, 0.99) if cases == 500 else (0.85, 1.0)
    assert low <= holds / cases <= high


def test_the_report_has_what_was_found_with_its_formula_and_each_reading(tmp_path: Path, plan: HandPlan) -> None:
    found = measured(tmp_path, Seeks(plan), math.radians(0.5), 1)
    told = json_document(record_document(read_record(tmp_path / "1.jsonl")))
    (row,) = told["findings"]
    assert (row["value"], row["deviation"]) == (found.measured.value, found.measured.deviation)
    assert row["formula"] == found.formula
    assert [each["question"] for each in told["readings"]] == [f"home at-{number}" for number in range(1, 11)]
