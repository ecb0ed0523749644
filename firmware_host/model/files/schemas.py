"""The published JSON Schemas of the files a user writes."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

from firmware_host.errors import InputError
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor

SCHEMA_KINDS: dict[str, type[BaseModel]] = {"job": Job, "machine": Machine, "motor": Motor}


def schema(kind: str) -> dict[str, Any]:
    """JSON Schema of a file kind: job, machine or motor. Raises `InputError` for any other."""
    model = SCHEMA_KINDS.get(kind)
    if model is None:
        raise InputError(f"no file kind {kind!r}", f"Known kinds: {', '.join(SCHEMA_KINDS)}")
    document = model.model_json_schema()
    document["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    if kind == "machine":
        inline = document["properties"]["motor"]
        by_name = {"type": "string", "description": "name of a motor profile, or path of a motor file"}
        document["properties"]["motor"] = {"anyOf": [by_name, inline]}
    return document
