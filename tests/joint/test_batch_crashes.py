"""Random batches in virtual time, with holds, stops, parts marked again, and deaths at every kind of write.

Whatever befalls them: every part's passes are marked exactly as recorded, none silently twice or not at all, the axis
never moves while the gate is open, and it stands where it was planned to.
"""

from __future__ import annotations

import sys
from collections import Counter
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import pytest

from firmware_host.errors import FirmwareHostError, InputError, RunNotBegunError
from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.station.batch.events import BATCH_FORM, Redo
from firmware_host.station.batch.listing import verify_batch
from firmware_host.station.batch.side import Again, Good, Scrap
from firmware_host.station.journal.journal import events_of, journal_events
from firmware_host.station.journal.record import PassStatus
from firmware_host.station.journal.replay import replay
from firmware_host.station.passes.control import RunControl
from tests.support.batch_bench import BatchBench, Key, ScriptedSide
from tests.support.crashes import Crash
from tests.support.killed_writes import KINDS, How, Killer, Kind
from tests.support.station_bench import changed_setup, quick_disk

MOST_GOES = 12
SAMPLE = 16
MANY = 1000
#: About how many writes of each kind a batch of two parts makes.
USUAL: dict[Kind, int] = {"batch-line": 10, "run-line": 36, "wire": 160, "file": 8, "folder": 3}


@cache
def setup_of(job: str, segments: int, passes: int) -> Setup:
    index = {"finish": "unwind", "settle": "0.25 s", "speed": "90 deg/s", "acceleration": "300 deg/s^2"}
    mark = {"arc": f"{10 * segments} mm", "width": "10 mm", "passes": passes}
    return changed_setup(job, mark=mark, segments={"count": segments}, index=index)


@pytest.fixture
def killer(monkeypatch: pytest.MonkeyPatch) -> Killer:
    """Every write is counted; waiting for the disk is left out, and a plan is made once."""
    quick_disk(monkeypatch)
    plans: dict[str, JobPlan] = {}

    def planned(setup: Setup, **options: Any) -> JobPlan:
        key = repr((setup.job, setup.machine))
        if key not in plans:
            plans[key] = plan_job(setup)
        return plans[key]

    for module in ("tests.support.station_bench", "firmware_host.station.batch.planned"):
        monkeypatch.setattr(f"{module}.plan_job", planned)
    monkeypatch.setattr("firmware_host.station.runs.resumable.plan_job", planned)
    return Killer(monkeypatch)


class RandomBatch:
    """One batch by its seed: what is wished when, what becomes of each part, and at which write each process dies."""

    def __init__(self, home: Path, seed: int, killer: Killer) -> None:
        self._random = random = Random(seed)
        self._killer = killer
        parts = random.randint(1, 3)
        side = ScriptedSide(takes_s=random.choice([0.0, 2.0]))
        job = random.choice(["shaft-scale", "shaft-scale", "shaft-scale", "bottle-band"])  # chuck and rollers
        self._ways = {"release": random.random() < 0.2}
        self.bench = BatchBench(home, setup_of(job, random.randint(1, 3), random.randint(1, 2)), parts, side=side)
        killer.watch(self.bench)
        for part in range(1, parts + 1):
            side.judged[part] = self._verdicts()
        self._wishes: list[tuple[float, str]] = []
        self.stops = self.goes = self.repeats = 0
        come = self.bench.clock.on_sleep
        self.bench.clock.on_sleep = lambda: (come(), self._wish())[0]

    def _verdicts(self) -> list[Any]:
        random, count = self._random, self.bench.plan.segments.count
        again = []
        while random.random() < 0.25:
            first = random.randint(1, count)
            again.append(Again(tuple(range(first, random.randint(first, count) + 1)), random.choice([None, 1])))
        return [*again, Scrap() if random.random() < 0.15 else Good()]

    def _wish(self) -> None:
        """Whatever is due is wished now."""
        control = self.bench.control
        while self._wishes and self._wishes[0][0] <= self.bench.clock.monotonic():
            what = self._wishes.pop(0)[1]
            if what == "hold":
                control.hold()
            elif what == "repeat":
                control.repeat_pass()
            elif what == "stop":
                control.stop_now("by the test")
            else:
                control.carry_on()

    def run(self) -> None:
        """Go after go until the batch is done; the last ones are left in peace."""
        for self.goes in range(1, MOST_GOES + 1):
            self._prepare(quiet=self.goes > MOST_GOES - 3)
            try:
                if self.goes == 1 or not self.bench.batch.journal.exists():
                    self.bench.run_batch(**self._ways)
                else:
                    self.bench.resume_batch(done=self._is_marked, **self._ways)
                return
            except Crash:
                pass
            except RunNotBegunError:
                self.bench.batch.journal.unlink()  # nothing was moved: the batch is begun again
            except InputError as error:
                if "the batch is done" not in str(error):
                    raise
                return
            except FirmwareHostError as error:
                if "by the test" not in str(error):
                    raise
                self.stops += 1
            self._revive()
        raise AssertionError("the batch never came to its end")

    def _prepare(self, *, quiet: bool) -> None:
        """Draw when something is wished in the next go, and at which write the process dies."""
        random, now_s = self._random, self.bench.clock.monotonic()
        self._killer.spare()
        self._wishes = []
        self.bench.control = RunControl()
        if quiet:
            return
        for _ in range(random.randint(0, 3)):
            at_s = now_s + random.uniform(0.0, 12.0)
            what = random.choice(["hold", "hold", "stop", "repeat"])
            self._wishes += [(at_s, what), (at_s + random.uniform(0.5, 5.0), "go on")]
        self._wishes.sort()
        self._wishes.append((now_s + 60.0, "go on"))
        if random.random() < 0.6:
            kind = random.choice(KINDS)
            how: How = random.choice(["before", "torn", "after"])
            number = random.randint(1, USUAL[kind])
            self._killer.due(kind, number, how)

    def _revive(self) -> None:
        """A new process: the gate of the old one closed with it, and the port can be opened again."""
        bench = self.bench
        self._killer.spare()
        bench.gate.close()
        bench.port.lost = False
        bench.clock.sleep(30.0)
        bench.device.transmit(bench.clock.monotonic())

    # --- the truth -------------------------------------------------------------------------------------------------

    def _is_marked(self, key: Key) -> bool:
        """Whether a pass that is asked about is marked: the gate was open to its end more often than is recorded."""
        return self.bench.marked()[key] > self.recorded()[key]

    def recorded(self) -> Counter[Key]:
        """How often each pass is marked, by the records of all runs of all parts."""
        found: Counter[Key] = Counter()
        for part in self.bench.state().parts:
            for name in dict.fromkeys(part.runs):
                journal = self.bench.batch.run(name).journal
                passes = replay(journal_events(journal)).record.passes if journal.exists() else ()
                for entry in passes:
                    times = entry.repeats + (entry.status == PassStatus.DONE.value)
                    found[part.number, entry.segment, entry.number] += times
        return +found

    def intended(self) -> Counter[Key]:
        """How often each pass of a part that was kept is to be marked, repeats left out: once, and again as asked."""
        kept = [part.number for part in self.bench.state().parts if part.word in ("good", "redone")]
        found = self.bench.every_pass(kept)
        for event in events_of(self.bench.batch.journal, BATCH_FORM):
            if isinstance(event, Redo) and event.number in kept and self._began(event.run):
                for segment in event.segments:
                    for number in range(1, event.passes + 1):
                        found[event.number, segment, number] += 1
        return found

    def _began(self, run: str) -> bool:
        journal = self.bench.batch.run(run).journal
        return journal.exists() and replay(journal_events(journal)).begin is not None

    def check(self) -> None:
        bench = self.bench
        state = bench.state()
        assert state.outcome == "done"
        assert [part.word for part in state.parts].count("good") + sum(
            part.word in ("redone", "scrapped") for part in state.parts
        ) == len(state.parts)
        marked, recorded = bench.marked(), self.recorded()
        assert marked == recorded
        missing = self.intended() - marked
        assert not missing, f"never marked: {missing}"
        if bench.gate.opened:
            bench.never_open_while_moving()
        assert {true - planned for _, planned, _, true in bench.progress.rests} <= {0}
        assert [finding for finding in verify_batch(bench.batch) if not finding.holds] == []


def run_all(home: Path, seeds: range, killer: Killer) -> Counter[str]:
    happened: Counter[str] = Counter()
    for seed in seeds:
        batch = RandomBatch(home / f"{seed}", seed, killer)
        try:
            batch.run()
            batch.check()
        except BaseException as error:
            error.add_note(f"seed {seed}, go {batch.goes}")
            raise
        happened["goes"] += batch.goes
        happened["stops"] += batch.stops
        happened["asked"] += len(batch.bench.asked)
        happened["redone"] += sum(part.word == "redone" for part in batch.bench.state().parts)
    return happened


def test_random_batches_mark_every_pass_as_recorded_whatever_befalls_them(tmp_path: Path, killer: Killer) -> None:
    happened = run_all(tmp_path, range(SAMPLE), killer)
    assert {kind for kind, _ in killer.died} == set(KINDS)
    assert min(happened.values()) > 0, happened


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_a_thousand_random_batches_mark_every_pass_as_recorded(tmp_path: Path, killer: Killer) -> None:
    happened = run_all(tmp_path, range(1000, 1000 + MANY), killer)
    ways = {(kind, how) for kind in KINDS for how in ("before", "after")}
    assert ways <= set(killer.died)
    deaths = {f"{kind} {how}": count for (kind, how), count in sorted(killer.died.items())}
    sys.stdout.write(f"{MANY} batches: {dict(happened)}, {sum(deaths.values())} deaths: {deaths}\n")
