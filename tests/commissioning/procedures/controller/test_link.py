"""`link`: what answers, whether its settings fit, how quickly, and whether the motor holds; nothing turns."""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import pytest

from firmware_host.acts import WriteSettings
from firmware_host.clock import VirtualClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.controller.link import QUESTIONS, Link
from firmware_host.commissioning.record import Record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import Person, carry_out
from firmware_host.planning.by_hand import hand_on_job
from firmware_host.station.hand.line import ControllerLine, Fit
from tests.commissioning.hidden.hands import bench_of
from tests.support.hand_bench import BENCHES
from tests.support.station_bench import StationBench, quick_disk


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


class Tries(Person):
    """Tries the shaft; `says` what it did."""

    def __init__(self, says: str = "holds") -> None:
        self.says = says
        self.told: list[str] = []

    def tell(self, text: str) -> None:
        self.told.append(text)

    def answer(self, ask: Ask) -> Answer:
        return self.says


@contextmanager
def line_on(bench: StationBench) -> Iterator[ControllerLine]:
    controller = bench.open()
    try:
        scales = bench.station(controller).scales
        yield ControllerLine(controller, hand_on_job(bench.setup), bench.clock, scales, bench.stop)
    finally:
        controller.close()


def measured(tmp_path: Path, line: ControllerLine, person: Person, **wish: Any) -> dict[str, Finding]:
    with Record(tmp_path / "kept.jsonl", "m", VirtualClock()) as record:
        bench = replace(bench_of(cast("Any", line), "link", **wish), line=line)
        return {each.key: each for each in carry_out(Link(), bench, line, person, record)}


@pytest.mark.parametrize("board", ["status-query", "numbered-line"])
def test_a_board_that_is_set_right_is_found_right_and_nothing_turns(tmp_path: Path, board: str) -> None:
    bench = BENCHES[board](tmp_path, "shaft-scale")
    with line_on(bench) as line:
        found = measured(tmp_path, line, Tries())
    assert list(found) == ["link-found", "link-settings", "link-latency", "link-energised"]
    assert board in found["link-found"].sentence
    assert [each.verdict for each in found.values()] == ["as stated", "as stated", "told", "as stated"]
    assert len(bench.device.motion_log) == bench.motion_before


def test_settings_that_do_not_fit_are_told_with_the_act_that_writes_them(tmp_path: Path) -> None:
    """A board that no hand would be opened on: its acceleration is ten times too high, and it lets go of its motor."""
    bench = StationBench(tmp_path, "shaft-scale", stored={"$1": 25.0, "$123": 99999.0})
    with line_on(bench) as line:
        found = measured(tmp_path, line, Tries("turns"))
    wrong = found["link-settings"]
    assert wrong.verdict == "change"
    assert "acceleration" in wrong.sentence
    assert wrong.acts == (WriteSettings(port="memory://device"),)
    held = found["link-energised"]
    assert held.verdict == "change"
    assert held.sentence.startswith("By its settings the motor is released 25 ms after a move")


def test_a_shaft_that_turns_though_the_setting_holds_it_speaks_for_the_wiring(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, "shaft-scale")
    with line_on(bench) as line:
        found = measured(tmp_path, line, Tries("turns"))
    assert "Look at the enable wire" in found["link-energised"].sentence
    assert found["link-energised"].verdict == "change"


def test_a_slow_line_is_told_with_what_to_look_at(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, "shaft-scale")
    with line_on(bench) as line:
        arrives = bench.port.spoil

        def late(data: bytes) -> bytes:
            if data:
                bench.clock.sleep(0.05)
            return arrives(data)

        bench.port.spoil = late
        found = measured(tmp_path, line, Tries(), repeats=2)
    assert found["link-latency"].verdict == "change"
    assert found["link-latency"].measured.value > 50
    assert "latency timer" in found["link-latency"].sentence


class LateLine:
    """Answers after drawn times: most soon, some late."""

    url = "drawn"
    now_s = 0.0

    def __init__(self, rng: random.Random, soon: float) -> None:
        self._rng, self._soon = rng, soon
        self.times: list[float] = []

    def described(self) -> str:
        return "a drawn line"

    def fit(self) -> Fit:
        return Fit((), writable=False, refusal="")

    def release_delay_ms(self) -> None:
        return None

    def ask(self, questions: int) -> float:
        self.times = [self._soon * (1 + self._rng.expovariate(1.0)) for _ in range(questions)]
        return sorted(self.times)[questions // 2]

    def late(self, questions: int) -> float:
        return sorted(self.times)[round(0.99 * questions)]


@pytest.mark.parametrize("cases", [pytest.param(60, id="60"), pytest.param(500, id="500", marks=pytest.mark.slow)])
def test_the_interval_holds_the_true_median_in_nineteen_lines_of_twenty(tmp_path: Path, cases: int) -> None:
    """The median of 1 + an exponential is 1 + ln 2."""
    holds = 0
    plan = hand_on_job(StationBench(tmp_path, "shaft-scale").setup)
    for seed in range(cases):
        rng = random.Random(seed)
        soon = rng.uniform(0.5e-3, 5e-3)
        line = LateLine(rng, soon)
        line.plan = plan  # type: ignore[attr-defined]
        found = measured(tmp_path / str(seed), cast("ControllerLine", line), Tries())["link-latency"]
        holds += found.measured.lowest <= 1.693147 * soon * 1e3 <= found.measured.highest
    low, high = (0.90, 0.99) if cases == 500 else (0.84, 1.0)
    assert low <= holds / cases <= high
    assert QUESTIONS == 100
