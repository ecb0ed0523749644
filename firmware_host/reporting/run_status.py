"""How a run stands, in sentences for the person at the machine."""

from __future__ import annotations

from firmware_host.station.journal.record import PassStatus
from firmware_host.station.runs.status import Place, RunStatus


def run_status_lines(run_status: RunStatus, *, command: bool = True) -> list[str]:
    """What was found, what is not known, and what to do next; one sentence or two a line. Nothing of a run that's done.

    The last line is the command that goes on with it, unless `command` is False.
    """
    if run_status.record.outcome == "done":
        return []
    if run_status.under_way:
        return ["A process is at work on this run now."]
    lines = [] if run_status.stands_still else ["The axis could not be seen to stand still. Look before you reach in."]
    for entry in run_status.unknown:
        lines.append(
            f"Segment {entry.segment}, pass {entry.number}: its gate was open when the run ended. It may be marked in "
            "part or in full: look at the part. Going on asks about it (or say --assume done or --assume not-done)."
        )
    if not any(entry.status != PassStatus.TO_DO.value for entry in run_status.record.passes):
        lines.append("Nothing was marked yet.")
    return [*lines, _position(run_status), *([f"Go on with: {run_status.command}"] if command else [])]


def _position(run_status: RunStatus) -> str:
    lowest, highest = run_status.microsteps
    where = f"at microstep {lowest}" if lowest == highest else f"between microsteps {lowest} and {highest}"
    return {
        Place.HOMES: "Position: the axis seeks its home switch again.",
        Place.NEW: "Position: no zero was set; the job's zero will be where the part stands.",
        Place.AS_LEFT: f"Position: the axis was left {where} from the job's zero. That must be so still.",
        Place.BY_HAND: f"Position lost: {run_status.why}. First turn the part to the job's zero by hand.",
    }[run_status.place]
