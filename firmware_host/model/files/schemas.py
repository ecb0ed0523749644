"""The published JSON Schemas of the files a user writes."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from firmware_host.errors import InputError, UnreadableFileError
from firmware_host.model.files.files import read_toml
from firmware_host.model.files.meanings import hover_text, models_in
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor
from firmware_host.system.files import write_whole

_MARK = b"\xef\xbb\xbf"
_REFERENCE = re.compile(rb"#:schema [^\r\n]*(?:\r?\n|$)")
SCHEMA_KINDS: dict[str, type[BaseModel]] = {"job": Job, "machine": Machine, "motor": Motor}


def schema(kind: str) -> dict[str, Any]:
    """JSON Schema of a file kind: job, machine or motor. Raises `InputError` for any other."""
    model = SCHEMA_KINDS.get(kind)
    if model is None:
        raise InputError(f"no file kind {kind!r}", f"Known kinds: {', '.join(SCHEMA_KINDS)}")
    document = model.model_json_schema()
    document["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    _explain(document, model, kind)
    if kind == "machine":
        inline = document["properties"]["motor"]
        by_name = {"type": "string", "description": "name of a motor profile, or path of a motor file"}
        said = hover_text(Machine, "motor", "motor").replace("Takes table", "Takes text or table")
        document["properties"]["motor"] = {"anyOf": [by_name, inline], "description": said}
    return document


def refer_to_schema(kind: str, path: Path, document: dict[str, Any] | None = None) -> Path:
    """Put the schema of its kind beside a file, and on top the line by which editors find it; returns where it is.

    `document`: the schema of a kind that `schema` does not know. Editors of TOML read a first line
    `#:schema ./KIND.schema.json`; nothing else in the file changes. Raises `InputError` for another kind,
    `UnreadableFileError` for a file that is none or can't be written.
    """
    import json  # for those who write one

    document = schema(kind) if document is None else document
    read_toml(path)
    beside = path.with_name(f"{kind}.schema.json")
    try:
        write_whole(beside, json.dumps(document, indent=1) + "\n")
        data = path.read_bytes()
        mark, body = (_MARK, data[len(_MARK) :]) if data.startswith(_MARK) else (b"", data)
        end = b"\r\n" if b"\r\n" in body else b"\n"
        line = b"#:schema ./" + beside.name.encode() + end
        old = _REFERENCE.match(body)
        if old is None or old[0] != line:
            whole = mark + line + body[old.end() if old is not None else 0 :]
            write_whole(path.resolve(), whole, mode=path.stat().st_mode & 0o777)
    except OSError as error:
        remedy = "See the rights of the file and of its folder"
        raise UnreadableFileError(f"cannot be written ({error.strerror})", remedy, source=str(path)) from error
    return beside


def _explain(document: dict[str, Any], kind_of_file: type[BaseModel], kind: str) -> None:
    """Give each key of the document the text that an editor shows of it."""
    tables = {"": document, **document.get("$defs", {})}
    waiting: list[tuple[str, type[BaseModel], str]] = [("", kind_of_file, "")]
    done = set()
    while waiting:
        name, model, path = waiting.pop(0)
        if name in done:
            continue
        done.add(name)
        for key, field in model.model_fields.items():
            below = f"{path}{key}"
            of_motor = f"motor.{below}" if kind == "motor" else below
            tables[name]["properties"][key]["description"] = hover_text(model, key, of_motor)
            waiting += [(each.__name__, each, f"{below}.") for each in models_in(field.annotation)]
