"""How a run stands, in sentences for the person at the machine."""

from __future__ import annotations

from firmware_host.station.journal.record import PassStatus
from firmware_host.station.runs.status import Place, RunStatus


def run_status_lines(run_status: RunStatus) -> list[str]:
    """What was found, what is unknown, and what to do first, one or two sentences a line; empty for a run that is done.

    How to resume it is in the status's `acts`.
    """
    if run_status.record.outcome == "done":
        return []
    if run_status.under_way:
        return ["A process is working on this run now."]
    lines = [] if run_status.stands_still else ["The axis could not be seen to stand still. Look before you reach in."]
    for entry in run_status.unknown:
        lines.append(
            f"Segment {entry.segment}, pass {entry.number}: its gate was open when the run ended. It may be marked in "
            "part or in full: look at the part. You are asked about it when the run is resumed."
        )
    if not any(entry.status != PassStatus.TO_DO.value for entry in run_status.record.passes):
        lines.append("Nothing was marked yet.")
    return [*lines, _position(run_status)]


def _position(run_status: RunStatus) -> str:
    lowest, highest = run_status.microsteps
    where = f"at microstep {lowest}" if lowest == highest else f"between microsteps {lowest} and {highest}"
    return {
        Place.HOMES: "Position: the axis will seek its home switch again.",
        Place.NEW: "Position: no zero was set; the job's zero will be where the part stands.",
        Place.AS_LEFT: f"Position: the axis was left {where} from the job's zero. It must still be there.",
        Place.BY_HAND: f"Position lost: {run_status.why}. First turn the part to the job's zero by hand.",
    }[run_status.place]
