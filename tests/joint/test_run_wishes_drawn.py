"""Random wishes at random instants, and a kill at any write: passes are exactly as recorded, whatever happened."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest

from firmware_host.errors import InputError, RunNotBegunError, RunStoppedError
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.journal.replay import replay
from firmware_host.station.passes.choice import EVERY_PASS, PassChoice
from firmware_host.station.passes.control import PassKey
from firmware_host.station.runs.listing import read_record
from firmware_host.station.runs.verify import verify_run
from tests.support.crashes import Crash, CrashingJournal, die, resume_truthfully, revive
from tests.support.station_bench import StationBench, quick_disk, small_setup

MOST_WISHES = 8
MOST_GOES = 12
CHOICES = (EVERY_PASS, EVERY_PASS, PassChoice.only("1,3"), PassChoice.only("2-"), PassChoice.only("2", passes=3))


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture
def crashing(monkeypatch: pytest.MonkeyPatch) -> type[CrashingJournal]:
    monkeypatch.setattr("firmware_host.station.run.Journal", CrashingJournal)
    monkeypatch.setattr("firmware_host.station.resume.Journal", CrashingJournal)
    return CrashingJournal


class Person:
    """Somebody who wishes this and that, drawn by a seed, whenever the run sleeps, listens, or tells what it is at."""

    def __init__(self, bench: StationBench, draw: random.Random) -> None:
        self._bench, self._draw = bench, draw
        self._wishes = draw.randint(0, MOST_WISHES)
        self.wished_away: set[int] = set()
        self.wished_again: Counter[PassKey] = Counter()
        before = bench.clock.on_sleep

        def look() -> None:
            before()
            self._perhaps()

        bench.clock.on_sleep = look
        bench.progress.on_state = lambda state: self._perhaps()

    def _perhaps(self) -> None:
        control, draw = self._bench.control, self._draw
        if control.holds and draw.random() < 0.1:
            control.carry_on()
        if not self._wishes or draw.random() > 0.05:
            return
        self._wishes -= 1
        wish = draw.choice(("hold", "carry on", "skip", "skip other", "repeat", "repeat", "repeat", "stop"))
        if wish == "hold":
            control.hold()
        elif wish == "carry on":
            control.carry_on()
        elif wish == "repeat":
            if (key := control.repeat_pass()) is not None:
                self.wished_again[key] += 1
        elif wish == "stop":
            control.stop_now()
        elif (segment := control.skip_segment(draw.randint(1, 4) if wish == "skip other" else None)) is not None:
            self.wished_away.add(segment)


def done_at_last(bench: StationBench, crashing: type[CrashingJournal], draw: random.Random, seen: set[str]) -> bool:
    """Run it, killed and stopped as it comes, and resume it until it is done; False if it never began."""
    choice = draw.choice(CHOICES)
    for go in range(MOST_GOES):
        if draw.random() < 0.6 and go < MOST_GOES - 1:
            die(bench, crashing, draw.randint(1, 40), draw.choice(("before", "torn", "after")))
        try:
            if go == 0:
                bench.run(passes=choice)
            else:
                resume_truthfully(bench)
        except Crash:
            seen.add(crashing.died_writing)
            revive(bench, crashing)
        except RunStoppedError:
            pass
        except RunNotBegunError:
            return False
        crashing.dies_at = 0
        if not read_journal(bench.folder.journal):
            return False
        if replay(read_journal(bench.folder.journal)).record.outcome == "done":
            with pytest.raises(InputError, match="the run is done"):  # which saves a record that it died before
                bench.resume()
            return True
    raise AssertionError("it never came to its end")


def as_recorded(bench: StationBench, person: Person, record: RunRecord) -> None:
    """What the gate did is what the record says; nothing was left out or done again that nobody wished."""
    opened = Counter(bench.passes_marked())
    assert set(opened) <= {(entry.segment, entry.number) for entry in record.passes}
    for entry in record.passes:
        key = (entry.segment, entry.number)
        assert entry.status in ("done", "skipped"), entry
        assert entry.repeats <= person.wished_again[key], entry
        assert opened[key] <= 1 + entry.repeats, entry
        if entry.status == "done":
            assert opened[key] >= 1, entry
        else:
            assert entry.segment in person.wished_away, entry
    assert {true - planned for _, planned, _, true in bench.progress.rests} <= {0}
    assert [finding.detail for finding in verify_run(bench.folder) if not finding.holds] == []
    if bench.gate.opened:
        bench.never_open_while_moving()
        bench.approached_from_below()


def compared(seeds: range, tmp_path: Path, crashing: type[CrashingJournal]) -> tuple[Counter[str], set[str]]:
    """How often what happened, and what was being written when the process died."""
    happened: Counter[str] = Counter()
    seen: set[str] = set()
    for seed in seeds:
        draw = random.Random(seed)
        bench = StationBench(tmp_path / f"{seed}", small_setup())
        person = Person(bench, draw)
        try:
            if not done_at_last(bench, crashing, draw, seen):
                continue
            record = read_record(bench.folder)
            as_recorded(bench, person, record)
        except AssertionError as error:
            error.add_note(f"seed {seed}")
            raise
        happened["runs"] += 1
        happened["skipped"] += bool(record.skipped)
        happened["repeated"] += any(entry.repeats for entry in record.passes)
        happened["held"] += any(state.phase == "held" for state in bench.progress.states)
    return happened, seen


def test_passes_are_as_recorded_whatever_is_wished_and_whenever_it_is_killed(
    tmp_path: Path, crashing: type[CrashingJournal]
) -> None:
    happened, _ = compared(range(16), tmp_path, crashing)
    assert all(happened[what] >= 2 for what in ("skipped", "repeated", "held")), happened


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_passes_are_as_recorded_in_a_thousand_runs_killed_at_every_kind_of_write(
    tmp_path: Path, crashing: type[CrashingJournal]
) -> None:
    happened, seen = compared(range(1000), tmp_path, crashing)
    assert happened["runs"] > 900
    assert all(happened[what] >= 100 for what in ("skipped", "repeated", "held")), happened
    assert seen >= {"begin", "resume", "assumed", "zero", "move", "standstill", "gate-open", "gate-closed", "pass-done"}
    assert seen >= {"skip", "repeat", "finish", "finished", "end"}
