"""The report of a machine's commissioning: what was measured, from which readings, and what became of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterable, Sequence
from datetime import datetime
from pathlib import Path

from firmware_host.commissioning.record import Answered, CommissionBegin, CommissionEvent, Found, Started, Written
from firmware_host.reporting.measures import counted, listed
from firmware_host.reporting.measuring.record import record_document
from firmware_host.reporting.report.report import Chapter, Report, first_lines, sources_of

_INTERVALS = "Each value has its interval (± at 95 %), from the readings and from the instrument (JCGM 100:2008)."
_SINGLE = "What was only seen or tried has none: that is said beside it."


def commissioning_report(path: Path, events: Sequence[CommissionEvent], made: datetime) -> Report:
    """What was measured of a machine, every reading, formula and uncertainty; `path`: the record's file."""
    document = record_document(events)
    newest = {each.quantity: each for each in events if isinstance(each, Found)}
    written = {each.key for each in events if isinstance(each, Written)}
    begun = next((each for each in events if isinstance(each, CommissionBegin)), None)
    procedures = dict.fromkeys(each.procedure for each in events if isinstance(each, Started | Found))
    readings = sum(isinstance(each, Answered) for each in events)
    return Report(
        title=f"Commissioning: {path.stem}",
        asked=(
            f"What is true of the machine that was really built: {begun.machine if begun is not None else path.stem}.",
            f"Procedures: {listed(list(procedures)) if procedures else 'none yet'}.",
        ),
        answer=first_lines(document),
        verdict_of="What was found",
        verdict=_verdict(newest.values(), written),
        binds=_differs(newest.values(), written),
        reliability=(f"{counted(readings, 'reading')} in all. {_INTERVALS}", _SINGLE),
        chapters=(Chapter("What was found, predicted beside measured", document),),
        sources=sources_of((path,)),
        made=made,
    )


def _verdict(found: Iterable[Found], written: Container[str]) -> str:
    counts = Counter("written" if each.key and each.key in written else each.verdict for each in found)
    return ", ".join(f"{count} {word}" for word, count in counts.items()) or "nothing yet"


def _differs(found: Iterable[Found], written: Container[str]) -> tuple[str, ...]:
    """What is not as the machine's file says, and was not written there."""
    differs = [each for each in found if each.verdict == "change" and not (each.key and each.key in written)]
    if not differs:
        return ("Nothing that was measured differs from the machine's file.",)
    return tuple(f"Not as described, and not written: {each.name}. {each.sentence}" for each in differs)
