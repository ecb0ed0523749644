"""Whole runs and batches worked from the page, in virtual time, and what it says held against the motor itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firmware_host.controller.controller import Controller
from firmware_host.errors import RunStoppedError
from firmware_host.page.buttons import press
from firmware_host.page.desk import Desk
from firmware_host.page.run_side import PageOperator, PageOutlet, PageProgress
from firmware_host.page.view import view
from firmware_host.station.batch.person import PersonSide
from firmware_host.station.gates.gate import GateContext
from firmware_host.station.gates.operator import OperatorGate
from firmware_host.station.passes.station import Station
from firmware_host.station.state.publisher import StateProgress, StatePublisher
from tests.support.batch_bench import BatchBench, batch_setup
from tests.support.station_bench import HookedClock, StationBench, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


class Page:
    """A page at a bench: looked at whenever time passes. `works` is told of each look and may press buttons."""

    def __init__(self, bench: StationBench) -> None:
        self.bench = bench
        self.desk = Desk(bench.control, bench.clock)
        self.operator = PageOperator(bench.operator, self.desk)
        self.publisher = StatePublisher(bench.clock, (PageOutlet(self.desk, "page"),), bench.setup.job.name)
        self.publisher.renew()
        self.desk.attach(self.publisher.newest)
        self.works: Callable[[dict[str, Any]], None] = lambda shown: None
        self.words: list[str] = []
        self.refused: list[str] = []
        before = bench.clock.on_sleep

        def look() -> None:
            before()
            self.look()

        bench.clock.on_sleep = look

    def look(self) -> None:
        """What somebody at the page sees, and does."""
        self.desk.listen()
        shown = view(self.desk)
        if shown["word"] == "STILL":
            assert not self.bench.moving, "STILL is said of an axis that turns"
        if self.bench.gate.is_open:
            assert not self.bench.moving
        if self.words[-1:] != [shown["word"]]:
            self.words.append(shown["word"])
        self.works(shown)

    def press(self, button: Any, number: int = 0, line: str = "") -> str:
        refused = press(button, self.desk, number=number, line=line)
        self.refused += [refused] if refused else []
        return refused

    def station(self, station: Station) -> Station:
        progress = StateProgress(PageProgress(station.progress, self.desk), self.publisher)
        return replace(station, progress=progress, operator=self.operator)


class PageBench(StationBench):
    def __init__(self, tmp_path: Path) -> None:
        super().__init__(tmp_path, small_setup())
        self.page = Page(self)
        self.gate.inner = OperatorGate(GateContext(self.clock, self.page.operator))

    def station(self, controller: Controller) -> Station:
        return self.page.station(super().station(controller))


class BatchPage(BatchBench):
    def __init__(self, tmp_path: Path) -> None:
        super().__init__(tmp_path, batch_setup(), 3)
        self.page = Page(self)
        self.gate.inner = OperatorGate(GateContext(self.clock, self.page.operator))

    def station(self, controller: Controller) -> Station:
        return self.page.station(super().station(controller))


def answers_all(page: Page) -> Callable[[dict[str, Any]], None]:
    """Somebody who presses too much: each answer twice, that of the question before again and again, in every state."""

    def work(shown: dict[str, Any]) -> None:
        asked = shown["asked"]
        now = asked["number"] if asked is not None else page.desk._number
        for number in (now - 1, now - 2):
            assert page.press("answer", number) != "", "an answer to an older question was taken"
        if asked is not None and not page.desk.answered:
            assert page.press("answer", now) == ""
        page.press("answer", now)

    return work


def test_a_run_is_worked_by_done_and_no_press_counts_for_another_pass(tmp_path: Path) -> None:
    bench = PageBench(tmp_path)
    bench.page.works = answers_all(bench.page)
    record = bench.run()
    assert record.outcome == "done"
    passes = [(entry.segment, entry.number) for entry in record.passes]
    assert bench.passes_marked() == passes, "each pass once, in order"
    bench.never_open_while_moving()
    assert set(bench.page.words) == {"TURNING", "STILL"}, "it never hung, so it was never stale"
    assert bench.page.desk.surface is not None
    assert set(bench.page.desk.surface.letters()) == {"d"}
    assert {"the axis turns", "it is answered already"} <= set(bench.page.refused)


def test_hold_keeps_the_gate_closed_until_the_page_carries_on(tmp_path: Path) -> None:
    bench = PageBench(tmp_path)
    page, held_s = bench.page, []

    def work(shown: dict[str, Any]) -> None:
        state = page.desk.newest()
        assert state is not None
        if state.done == 1 and not bench.control.holds and not held_s:
            page.press("hold")
        if state.phase == "held":
            assert not bench.gate.is_open
            assert shown["word"] == "STILL"
            held_s.append(bench.clock.monotonic())
            if held_s[-1] - held_s[0] > 5:
                assert page.press("carry-on", shown["hold"]) == ""
        elif shown["asked"] is not None and not page.desk.answered:
            page.press("answer", shown["asked"]["number"])

    page.works = work
    record = bench.run()
    assert record.outcome == "done"
    assert held_s[-1] - held_s[0] > 5
    bench.never_open_while_moving()


@pytest.mark.parametrize("word", ["STILL", "TURNING"])
def test_stop_from_the_page_closes_the_gate_first_and_the_run_can_be_resumed(tmp_path: Path, word: str) -> None:
    bench = PageBench(tmp_path)
    page = bench.page

    def work(shown: dict[str, Any]) -> None:
        state = page.desk.newest()
        if state is not None and state.done >= 1 and shown["word"] == word and bench.stop.reason is None:
            assert page.press("stop") == ""
        elif shown["asked"] is not None and not page.desk.answered and bench.stop.reason is None:
            page.press("answer", shown["asked"]["number"])

    page.works = work
    with pytest.raises(RunStoppedError, match="at the station page"):
        bench.run()
    assert not bench.gate.is_open
    assert not bench.moving
    bench.never_open_while_moving()


def test_a_batch_of_three_is_worked_from_the_page_alone(tmp_path: Path) -> None:
    bench = BatchPage(tmp_path)
    page, asked = bench.page, []

    def work(shown: dict[str, Any]) -> None:
        question = shown["asked"]
        if question is None or page.desk.answered:
            return
        if question["number"] not in [number for number, _, _ in asked]:
            asked.append((question["number"], question["text"], shown["word"]))
        line = "scrap" if question["text"].startswith("What became of part 2") else ""
        assert page.press("answer", question["number"], line) == ""

    page.works = work
    record = bench.run_batch(side=PersonSide(page.operator))
    assert [part.result for part in record.parts] == ["good", "scrapped", "good"]
    texts = [text for _, text, _ in asked]
    assert [text[:11] for text in texts if text.startswith("Part ")] == ["Part 1 of 3", "Part 2 of 3", "Part 3 of 3"]
    assert sum(text.startswith("What became of") for text in texts) == 3
    between = [word for _, text, word in asked if text.startswith(("Part 2", "Part 3", "What became"))]
    assert set(between) == {"STILL"}, "between two parts the motor holds, and is watched"
    assert "STALE" not in page.words
    bench.never_open_while_moving()


def test_a_clock_of_the_bench_is_what_the_page_goes_by(tmp_path: Path) -> None:
    """The harness can fail: a run that hangs in virtual time is told stale."""
    bench = PageBench(tmp_path)
    assert isinstance(bench.clock, HookedClock)
    bench.clock.sleep(1.0)
    bench.page.desk.listen()
    assert view(bench.page.desk)["word"] == "STALE"
