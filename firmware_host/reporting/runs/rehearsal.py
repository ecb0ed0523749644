"""A rehearsal as a document: what a run did on a simulated controller, and what the real one takes and asks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from firmware_host.controller.stored_settings import Difference
from firmware_host.model import Setup
from firmware_host.planning.job_time import JobTime
from firmware_host.reporting.document import Document, Figure, Notes, Section
from firmware_host.reporting.render.duration import duration_text
from firmware_host.reporting.runs.run import run_document
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.runs.pass_times import PassTime

_GATES = {
    "operator": "press Enter when a pass is marked, {times}",
    "timed": "see that the marking side is done in time, {times}: the gate closes by itself",
    "command": "nothing: the gate's program is started {times}",
    "tcp": "nothing: the marking side says over its socket that a pass is marked, {times}",
    "modem-lines": "nothing: the marking side says by its line that a pass is marked, {times}",
    "controller-output": "nothing: the controller's output tells the marking side, {times}",
}


@dataclass(frozen=True)
class Rehearsal:
    """What a rehearsal showed. `counters`: the motor's step counter at each segment, from the job's zero.

    `lasted_s`: from the first look at the board to the end, with a pause of `pause_s` for each pass; `written`:
    settings of a board as delivered that did not fit the plan; `planned`: the time of the job's plan, None where only
    some of its segments were rehearsed; `zero_open`: it will have to be said where the zero is.
    """

    setup: Setup
    record: RunRecord
    counters: Mapping[int, int]
    lasted_s: float
    pause_s: float
    written: tuple[Difference, ...]
    planned: JobTime | None
    zero_open: bool

    @property
    def off_plan(self) -> int:
        """At how many passes the motor stood at another microstep than planned."""
        return sum(self.counters.get(entry.segment) != entry.planned_microstep for entry in self.record.passes)

    @property
    def as_planned(self) -> bool:
        """Whether every pass was done, each at its microstep."""
        return self.record.outcome == "done" and self.record.done == len(self.record.passes) and not self.off_plan

    @property
    def turning_s(self) -> float:
        """Turning, settling and what the controller's answers take, s: all but the pauses."""
        return self.lasted_s - self.record.done * self.pause_s

    @property
    def time(self) -> JobTime:
        """The time of the real run, without its marking."""
        return JobTime(self.turning_s, 0.0, moves=0, settles=0, passes=len(self.record.passes))


def rehearsal_document(rehearsal: Rehearsal, of_pass: PassTime, time_line: str) -> Document:
    """What it did, what the real run takes (`time_line`: in one line), and what a person will be asked."""
    record = rehearsal.record
    whole_s = rehearsal.time.whole_s(of_pass.pass_s) if of_pass.pass_s is not None else None
    planned = rehearsal.planned
    asked = tuple(_asked(rehearsal))
    return Document(
        (
            Notes((*_did(rehearsal), time_line)),
            Figure("rehearsed", "Rehearsed", True),
            Figure("as_planned", "As planned", rehearsal.as_planned),
            Figure("outcome", "Outcome", record.outcome),
            Figure("passes", "Passes", len(record.passes)),
            Figure("passes_done", "Passes done", record.done),
            Figure("off_plan", "Passes at another microstep than planned", rehearsal.off_plan),
            Figure("turning_and_settling_s", "Turning and settling", rehearsal.turning_s, "s", ".2f"),
            Figure(
                "planned_turning_and_settling_s",
                "By the plan alone",
                planned.turning_s + planned.settling_s if planned is not None else None,
                "s",
                ".2f",
            ),
            Figure("pass_s", "Each pass", of_pass.pass_s, "s", ".4g", brief=of_pass.pass_s is not None),
            Figure("pass_time_from", "The time of a pass is", of_pass.source.value),
            Figure("whole_s", "The real run", whole_s, "s", ".1f"),
            Notes(("In the real run you are asked to:", *(f"- {line}" for line in asked))),
            Figure("asked", "What is asked", asked),
            Notes(tuple(_settings(rehearsal))),
            Figure("settings", "Settings written to a board as delivered", tuple(map(str, rehearsal.written))),
            Section("run", "The rehearsed run", run_document(record, rehearsal.counters).nodes, brief=False),
        )
    )


def _did(rehearsal: Rehearsal) -> Iterator[str]:
    record, count = rehearsal.record, len(rehearsal.record.passes)
    yield "Rehearsed on a simulated controller: no port was opened, nothing real moved."
    pause = f"each a pause of {rehearsal.pause_s:g} s in place of the gate"
    yield f"{record.outcome}: {record.done} of {count} passes, {pause}."
    right = count - rehearsal.off_plan
    yield f"The motor's step counter was the plan's at {right} of {count} passes."
    homing = " and sought its home switch" if rehearsal.setup.machine.axis.home_switch else ""
    planned = rehearsal.planned
    alone = f"; by the plan alone {_seconds(planned.turning_s + planned.settling_s)}" if planned is not None else ""
    yield f"It turned and settled{homing} for {_seconds(rehearsal.turning_s)}{alone}."


def _seconds(value_s: float) -> str:
    return f"{value_s:.1f} s" if value_s < 9.95 else duration_text(value_s)


def _asked(rehearsal: Rehearsal) -> Iterator[str]:
    """What a person has to do in the real run, in order."""
    setup, count = rehearsal.setup, len(rehearsal.record.passes)
    if setup.machine.axis.home_switch:
        yield "see that the way is free: the axis first seeks its home switch"
    elif rehearsal.zero_open:
        yield "say where the zero is: what was done at this port before leaves it open"
    else:
        yield "turn the part's start mark under the lens beforehand: the zero is where it stands"
    times = "once" if count == 1 else f"{count} times"
    gate = setup.job.gate
    yield _GATES.get(gate.kind, f"serve the gate, {gate.kind}, {{times}}").format(times=times)


def _settings(rehearsal: Rehearsal) -> Iterator[str]:
    if rehearsal.written:
        yield "The simulated board got the settings of the plan; the real one must hold them."
