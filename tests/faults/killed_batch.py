"""A process that runs a batch, or resumes it, and may be killed at any instant: python killed_batch.py FOLDER URL run.

With `before N` or `after N` behind it, it kills itself at the N-th line of all its journals.

Part 2 is marked again in its second segment, part 3 is scrapped. The marking side notes in FOLDER/marked what it began
and what it ended; whoever is asked about a pass looks there.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from firmware_host.clock import ScaledClock
from firmware_host.controller.port.trace import FileTrace
from firmware_host.errors import RunNotBegunError
from firmware_host.model.files.parts import numbered_parts
from firmware_host.planning.plan import plan_job
from firmware_host.station.batch.batch import ResumableBatch, resume_parts, run_parts
from firmware_host.station.batch.events import BATCH_FORM
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.loop import BatchWays
from firmware_host.station.batch.side import Again, AloneSide, Good, Scrap
from firmware_host.station.batch.state import BatchState, replay_batch
from firmware_host.station.gates.gate import GateContext, PartContext
from firmware_host.station.journal.journal import events_of, journal_events
from firmware_host.station.journal.record import PassRecord, PassStatus, RunRecord
from firmware_host.station.journal.replay import replay
from firmware_host.station.opening import open_controller
from firmware_host.station.passes.station import Station
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.settings.write import backup_path, write_for_plan
from tests.faults.killed_run import CLOCK_FACTOR, NotingGate, Telling, die_at_line, setup_of
from tests.support.batch_bench import Key
from tests.support.station_bench import ScriptedOperator

PARTS = 3
SETUP = setup_of(2)


class NotingPartsGate(NotingGate):
    """Notes the part, too."""

    def _note(self, word: str) -> None:
        part = self._request.part if self._request is not None else None
        super()._note(f"{word} {part.number if part is not None else 0}")


class TwoLooks(AloneSide):
    """Has part 2 marked again once, and scraps part 3."""

    def __init__(self, again: Path) -> None:
        super().__init__()
        self._again = again

    def judge(self, part: PartContext, record: RunRecord, *rest: object) -> Good | Scrap | Again:
        if part.number == 2 and not self._again.exists():
            self._again.touch()
            return Again((2,), 1)
        return Scrap() if part.number == 3 else Good()


def state_of(folder: BatchFolder) -> BatchState:
    return replay_batch(events_of(folder.journal, BATCH_FORM))


def recorded(folder: BatchFolder) -> Counter[Key]:
    """How often each pass is marked by the records of all runs of all parts."""
    found: Counter[Key] = Counter()
    for part in state_of(folder).parts:
        for name in dict.fromkeys(part.runs):
            journal = folder.run(name).journal
            for entry in replay(journal_events(journal)).record.passes if journal.exists() else ():
                times = entry.repeats + (entry.status == PassStatus.DONE.value)
                found[part.number, entry.segment, entry.number] += times
    return +found


def noted(marked: Path, word: str) -> Counter[Key]:
    """What the marking side began, or ended."""
    lines = marked.read_text("ascii").splitlines() if marked.exists() else []
    keys = (tuple(map(int, line.split()[1:])) for line in lines if line.startswith(f"{word} "))
    return Counter((part, segment, number) for part, segment, number in keys)


def main(home: Path, url: str, act: str) -> None:
    clock = ScaledClock(CLOCK_FACTOR)
    folder = BatchFolder(home / "batch")
    folder.path.mkdir(exist_ok=True)
    context = GateContext(clock, ScriptedOperator(clock))
    scales = KnownScales(home / "controllers")

    def finished(entry: PassRecord) -> bool:
        part = state_of(folder).next
        key = (part.number if part is not None else 0, entry.segment, entry.number)
        done = noted(home / "marked", "ended")[key] > recorded(folder)[key]
        with (home / "asked").open("a") as file:
            file.write(f"{'done' if done else 'not-done'} {key[0]} {key[1]} {key[2]}\n")
        return done

    ways = BatchWays(side=TwoLooks(home / "again"), ask=finished)
    with FileTrace(folder.kept.trace, clock) as trace:
        options: dict[str, Any] = {"lock_folder": home / "locks", "drop_held_motion": act == "resume"}
        with open_controller(SETUP.machine, url, clock, trace, **options) as controller:
            gate = NotingPartsGate(context, home / "marked")
            station = Station(controller, gate, clock, folder.kept, scales, context.operator, progress=Telling())
            if act == "run":
                plan = plan_job(SETUP)
                write_for_plan(SETUP.machine, plan, controller, scales, backup_path(home / "backups", url, clock))
                run_parts(SETUP, numbered_parts(PARTS), station, folder, ways)
            else:
                resume_parts(ResumableBatch.read(folder), station, ways)


if __name__ == "__main__":
    if len(sys.argv) > 4:
        die_at_line(sys.argv[4], int(sys.argv[5]))
    try:
        main(Path(sys.argv[1]), sys.argv[2], sys.argv[3])
    except RunNotBegunError:
        sys.exit(77)
