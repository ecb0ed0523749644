"""The state of a run as others read it: one JSON object, its form described by a JSON Schema."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from firmware_host.station.progress import Phase

RENEWED_EVERY_S = 1.0
"""At least so often the state is told anew, changed or not."""
STALE_AFTER_S = 3.0
"""A state older than this says nothing any more."""

_Count = Annotated[int, Field(ge=0, le=1 << 31)]


class StateMessage(BaseModel):
    """What a run is at. Not a safety function: what must not happen is kept from happening by hardware."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        populate_by_name=True,
        json_schema_serialization_defaults_required=True,
    )

    version: Literal[1] = Field(1, description="of this form; keys may be added within a version")
    sequence: int = Field(ge=1, description="one more with each message, from 1 in each run; one that stands is stale")
    time: str = Field(description="when it was told, UTC, ISO 8601")
    stale_after_s: float = Field(
        STALE_AFTER_S, gt=0, description="a message older than this says nothing any more: the run may have crashed"
    )
    phase: Phase = Field(
        description="what the run does; between: two parts of a batch; the last three end the run of a part"
    )
    still: bool = Field(
        description="true only while the axis is proved to stand still and that was seen within the last half second"
    )
    gate_open: bool = Field(description="whether the marking side may mark")
    job: str = Field(description="the job's name")
    part: _Count | None = Field(None, description="of a batch, from 1; null for a run of its own")
    parts: _Count | None = Field(None, description="of the batch")
    serial: str | None = Field(None, description="of the part, where it has one")
    segment: _Count = Field(description="that is marked, comes next, or was done last; 0 before the first")
    segments: _Count = Field(description="of the job")
    number: _Count = Field(alias="pass", description="of the segment, from 1; 0 before the first")
    passes: _Count = Field(description="of each segment")
    next_segment: _Count | None = Field(None, description="of the pass that follows; null where none does, or unknown")
    next_pass: _Count | None = Field(None, description="of that segment, from 1")
    done: _Count = Field(description="passes that are done")
    of: _Count = Field(description="passes of the run")
    left_s: float | None = Field(None, ge=0, description="about how long it still takes, s; null while not known")
    outcome: Literal["done", "stopped", "failed"] | None = Field(None, description="how it ended; null before that")

    def line(self) -> str:
        """The message as one line of JSON, without its end."""
        return self.model_dump_json(by_alias=True)


def state_schema() -> dict[str, Any]:
    """JSON Schema of the state of a run."""
    document = StateMessage.model_json_schema(by_alias=True, mode="serialization")
    document["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    return document
