"""How a run stands, in sentences for the person at the machine."""

from __future__ import annotations

from firmware_host.station.outlook import Outlook, Place
from firmware_host.station.record import PassStatus


def outlook_lines(outlook: Outlook, *, command: bool = True) -> list[str]:
    """What was found, what is not known, and what to do next; one sentence or two a line. Nothing of a run that's done.

    The last line is the command that goes on with it, unless `command` is False.
    """
    if outlook.record.outcome == "done":
        return []
    if outlook.under_way:
        return ["A process is at work on this run now."]
    lines = [] if outlook.stands_still else ["The axis could not be seen to stand still. Look before you reach in."]
    for entry in outlook.unknown:
        lines.append(
            f"Segment {entry.segment}, pass {entry.number}: its gate was open when the run ended. It may be marked in "
            "part or in full: look at the part. Going on asks about it (or say --assume done or --assume not-done)."
        )
    if not any(entry.status != PassStatus.TO_DO.value for entry in outlook.record.passes):
        lines.append("Nothing was marked yet.")
    return [*lines, _position(outlook), *([f"Go on with: {outlook.command}"] if command else [])]


def _position(outlook: Outlook) -> str:
    lowest, highest = outlook.microsteps
    where = f"at microstep {lowest}" if lowest == highest else f"between microsteps {lowest} and {highest}"
    return {
        Place.HOMES: "Position: the axis seeks its home switch again.",
        Place.NEW: "Position: no zero was set; the job's zero will be where the part stands.",
        Place.AS_LEFT: f"Position: the axis was left {where} from the job's zero. That must be so still.",
        Place.BY_HAND: f"Position lost: {outlook.why}. First turn the part to the job's zero by hand.",
    }[outlook.place]
