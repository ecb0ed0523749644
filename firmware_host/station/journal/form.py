"""What kind of journal a file is: which events its lines hold, and how older schemas are read."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from pydantic import TypeAdapter

from firmware_host.station.journal import schema1
from firmware_host.station.journal.events import EVENTS, SCHEMA, SCHEMA_2, Begin, Event, JournalEvent

EventT = TypeVar("EventT", bound=Event)


@dataclass(frozen=True)
class JournalForm(Generic[EventT]):
    """A kind of journal: that of a `subject` ("run"), as its complaints call it.

    `events` reads an event from its line in the present `schema`; `begins` is the event that stands first and nowhere
    else; `older` turns the line of an older schema into an event, or raises pydantic's `ValidationError`.
    """

    subject: str
    events: TypeAdapter[EventT]
    schema: int
    begins: type[Event]
    older: Mapping[int, Callable[[Mapping[str, Any]], EventT]] = field(default_factory=dict)

    @property
    def schemas(self) -> tuple[int, ...]:
        """Every schema that is read, the present one last."""
        return (*sorted(self.older), self.schema)


def _as_it_is(entry: Mapping[str, Any]) -> JournalEvent:
    """The event of a line of schema 2, which only lacks what came later."""
    return EVENTS.validate_json(json.dumps(entry))


RUN_FORM: JournalForm[JournalEvent] = JournalForm(
    "run", EVENTS, SCHEMA, Begin, older={schema1.SCHEMA: schema1.converted, SCHEMA_2: _as_it_is}
)
"""The journal of a run."""
