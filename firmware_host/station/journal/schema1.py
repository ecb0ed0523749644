"""Journals of schema 1, which version 0.1 wrote: each line is turned into the event that schema 2 has for it.

Schema 1 calls a standstill "at-rest", and holds neither how far lost motion is taken up nor where a segment lies once
whole turns were taken back. Where that matters the job is planned again and `completed` fills it in.
When such a run is resumed, its journal continues in schema 2: the "resume" line says so.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from firmware_host.planning.route.moves import Route
from firmware_host.station.journal.events import EVENTS, Begin, JournalEvent, Move, Standstill, ZeroSet

SCHEMA = 1


def converted(entry: Mapping[str, Any]) -> JournalEvent:
    """The event of a line of schema 1. Raises pydantic's `ValidationError` for a line that is none."""
    entry = {key: value for key, value in entry.items() if key != "schema"}
    if entry.get("event") == "at-rest":
        entry["event"] = "standstill"
    elif entry.get("event") == "zero":
        entry.setdefault("turns", 0)  # before unwinding existed none were ever taken back
    elif entry.get("event") == "begin":
        entry.setdefault("marking", True)  # before there were runs without marking, all marked
    return EVENTS.validate_json(json.dumps(entry))


def completed(events: Iterable[JournalEvent], route: Route) -> Iterator[JournalEvent]:
    """The events with what schema 1 leaves out, taken from the job's route; those of schema 2 as they are."""
    turns = 0
    for event in events:
        if isinstance(event, ZeroSet):
            turns = event.turns
        if isinstance(event, Begin) and event.overrun is None:
            yield event.model_copy(update={"overrun": route.overrun})
        elif isinstance(event, Move | Standstill) and event.position is None:
            position = route.angles.target(event.segment - 1, route.per_part_turn, turns)
            yield event.model_copy(update={"position": position})
        else:
            yield event
