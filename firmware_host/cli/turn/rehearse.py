"""`run --rehearse`: the very run on a simulated controller in virtual time, and what it did."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

import typer

from firmware_host.cli.screen import documents
from firmware_host.cli.screen.progress_bar import telling_done
from firmware_host.cli.turn.simulated_run import REHEARSED_PASS_S, SimulatedRun, rehearse
from firmware_host.clock import SystemClock
from firmware_host.errors import EXIT_CHECK_FAILED, RunStoppedError, StoppedError
from firmware_host.model import Setup
from firmware_host.planning.job_time import job_time
from firmware_host.planning.plan import JobPlan
from firmware_host.reporting.measures import Units
from firmware_host.reporting.plans.time import time_line
from firmware_host.reporting.runs.rehearsal import Rehearsal, rehearsal_document
from firmware_host.station.hand_note import HandNote
from firmware_host.station.passes.choice import EVERY_PASS, PassChoice
from firmware_host.station.progress import SilentProgress
from firmware_host.station.runs.pass_times import pass_time
from firmware_host.station.settings.known_scale import KnownScales, state_folder
from firmware_host.station.stop_request import StopRequest
from firmware_host.station.zero import zero_left_open


def show_rehearsal(
    setup: Setup,
    plan: JobPlan,
    port: str,
    *,
    passes: PassChoice,
    accept_limits: Sequence[str],
    runs: Path,
    json: bool,
    details: bool,
    units: Units,
) -> None:
    """Rehearse a run and print what it did; status 1 if it did not go as planned.

    Nothing is opened at `port`; only the note of the last run there is read.
    """
    now = SystemClock().now()
    done = _rehearsed(setup, plan, passes, accept_limits, now)
    rehearsal = rehearsal_of(setup, plan, done, whole=passes == EVERY_PASS, zero_open=_zero_open(setup, port))
    of_pass = pass_time(setup, runs)
    document = rehearsal_document(rehearsal, of_pass, time_line(rehearsal.time, of_pass, now.astimezone()))
    documents.show(document, json=json, details=details, units=units)
    if not rehearsal.as_planned:
        raise typer.Exit(EXIT_CHECK_FAILED)


def _zero_open(setup: Setup, port: str) -> bool:
    """Whether the real run will have to be told where its zero is, by the notes on its port."""
    letter, notes = setup.machine.axis.letter, KnownScales(state_folder())
    return bool(port) and zero_left_open(notes.last_run(port, letter), HandNote.read(notes.hand(port, letter)))


def rehearsal_of(setup: Setup, plan: JobPlan, done: SimulatedRun, *, whole: bool, zero_open: bool) -> Rehearsal:
    """What is shown of a rehearsed run; `whole`: of all segments."""
    return Rehearsal(
        setup,
        done.record,
        done.counters,
        done.lasted_s,
        REHEARSED_PASS_S,
        done.written,
        job_time(setup, plan) if whole else None,
        zero_open,
    )


def _rehearsed(
    setup: Setup, plan: JobPlan, passes: PassChoice, accept_limits: Sequence[str], now: datetime
) -> SimulatedRun:
    """The run, in a folder that is gone afterwards. Raises `StoppedError` at Ctrl-C: there is nothing to resume."""
    stop = StopRequest()
    segments, each = passes.of(plan.segments.count, setup.job.mark.passes)
    with (
        tempfile.TemporaryDirectory(prefix="circumstep-rehearsal-") as home,
        stop.on_signals(),
        telling_done("rehearsing", len(segments) * each) as told,
    ):
        try:
            return rehearse(
                setup,
                plan,
                Path(home),
                passes=passes,
                accept_limits=accept_limits,
                progress=_Counted(told),
                stop=stop,
                start=now,
            )
        except RunStoppedError as error:
            raise StoppedError(error.reason, "rehearsing") from error


class _Counted(SilentProgress):
    """Tells only how many passes are done."""

    def __init__(self, told: Callable[[int], None]) -> None:
        self._told = told

    def done(self, passes: int, of: int, left_s: float | None) -> None:
        self._told(passes)
