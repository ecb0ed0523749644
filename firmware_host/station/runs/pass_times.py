"""What a pass of a job takes: as the job fixes it, or learned from the job's earlier runs; never made up."""

from __future__ import annotations

import re
import statistics
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from itertools import islice
from pathlib import Path

from firmware_host.errors import FirmwareHostError
from firmware_host.model import Job, Setup
from firmware_host.model.job.gate import ControllerOutputGateOptions, TimedGateOptions
from firmware_host.station.journal.record import PassStatus, RunRecord
from firmware_host.station.runs.folder import RunFolder, is_batch, job_slug
from firmware_host.station.runs.listing import read_record

MOST_RUNS = 20
"""The newest runs of a job that are learned from."""
_MOST_LOOKED_AT = 200
_AS_THICK = 0.02
"""Parts whose diameters differ by no more than this part take as long to mark."""
_OF_A_BATCH = 30
"""Letters of the job's name in the name of a batch's folder, at least."""


class PassTimeFrom(Enum):
    """Where the time of a pass is from."""

    GIVEN = "given"
    GATE = "gate"
    RUNS = "runs"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class PassTime:
    """What one pass takes, s; `pass_s` is None where nothing tells. `low_s`, `high_s`: the middle half of the passes.

    `runs` and `passes`: how many it rests on, where it was learned. `at_least_s`: what the job says it takes at least.
    """

    source: PassTimeFrom
    pass_s: float | None = None
    low_s: float | None = None
    high_s: float | None = None
    runs: int = 0
    passes: int = 0
    at_least_s: float | None = None


def pass_time(setup: Setup, runs: Path, given_s: float | None = None) -> PassTime:
    """What one pass of a job takes: `given_s` (s, > 0) if it is given, else the fixed time of the job's gate, else the
    median of the passes marked in the newest runs of this job below `runs`.

    Only runs of the same job count: the same name, mark, window and segments, on a part that differs by 2 % of its
    diameter at the most. A folder that isn't there, or is damaged, teaches nothing.
    """
    least = setup.job.mark.pass_time
    at_least_s = least.si if least is not None else None
    if given_s is not None:
        return PassTime(PassTimeFrom.GIVEN, given_s, at_least_s=at_least_s)
    if (fixed_s := fixed_pass_s(setup.job)) is not None:
        return PassTime(PassTimeFrom.GATE, fixed_s, at_least_s=at_least_s)
    times = [found for each in islice(_same_runs(setup.job, runs), MOST_RUNS) if (found := marked_s(each))]
    every = [each for of_run in times for each in of_run]
    if not every:
        return PassTime(PassTimeFrom.UNKNOWN, at_least_s=at_least_s)
    low, median, high = statistics.quantiles(every, n=4, method="inclusive") if len(every) > 1 else every * 3
    return PassTime(PassTimeFrom.RUNS, median, low, high, len(times), len(every), at_least_s)


def fixed_pass_s(job: Job) -> float | None:
    """What a pass takes where the job's gate is open for a fixed time, s; else None."""
    gate = job.gate
    if isinstance(gate, TimedGateOptions | ControllerOutputGateOptions) and gate.duration is not None:
        return gate.duration.si
    return None


def marked_s(record: RunRecord) -> list[float]:
    """How long the gate was open for each pass that was marked to its end, s; none for a run without marking."""
    if not record.marking:
        return []
    ends = (
        (datetime.fromisoformat(entry.gate_open), datetime.fromisoformat(entry.gate_closed))
        for entry in record.passes
        if entry.status == PassStatus.DONE.value and entry.gate_open and entry.gate_closed
    )
    lasted = ((closed - opened).total_seconds() for opened, closed in ends)
    return [each for each in lasted if each > 0]  # less where the computer's clock was set back meanwhile


def _same_runs(job: Job, runs: Path) -> Iterator[RunRecord]:
    """The records of this job's runs, the newest first, those of the parts of a batch among them."""
    for path in islice(_folders(job, runs), _MOST_LOOKED_AT):
        try:
            folder = RunFolder.existing(path)
            record = read_record(folder)
            same = record.marking and _marks_alike(folder.load_setup().job, job)
        except FirmwareHostError:
            continue
        if same:
            yield record


def _folders(job: Job, runs: Path) -> Iterator[Path]:
    """Folders of runs that may be of this job, by their names, the newest first."""
    stamp = r"\d{8}-\d{6}-"
    run = re.compile(rf"{stamp}{re.escape(job_slug(job.name))}(-\d+)?")
    batch = re.compile(rf"{stamp}{re.escape(job_slug(job.name[:_OF_A_BATCH]))}.*")
    for path in _newest_first(runs):
        if run.fullmatch(path.name):
            yield path
        elif batch.fullmatch(path.name) and is_batch(path):
            yield from (each for each in _newest_first(path) if each.name.startswith("part-"))


def _newest_first(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir(), reverse=True)
    except OSError:
        return []


def _marks_alike(before: Job, now: Job) -> bool:
    """Whether a pass of both marks the same, on parts of nearly the same thickness."""
    thicker = before.part.diameter.si / now.part.diameter.si
    return _marked(before) == _marked(now) and abs(thicker - 1) <= _AS_THICK


def _marked(job: Job) -> tuple[object, ...]:
    mark = job.mark.model_copy(update={"passes": 1, "pass_time": None})
    part = job.part.model_copy(update={"diameter": None, "circumference": None})
    return job.name, part, mark, job.window, job.segments
