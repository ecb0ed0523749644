"""Builds the reference of the users' files from the models themselves: a key that is in a model is on the page.

mkdocs calls `on_page_markdown`; a line `<!-- keys: job -->` becomes the tables of that file kind. What a key means is
said in the model, or in `firmware_host/model/files/meanings.py`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from firmware_host.model.files.meanings import about, literal, meaning, models_in, takes
from firmware_host.model.files.schemas import SCHEMA_KINDS

MARKER = re.compile(r"<!-- keys: (\w+) -->")


@dataclass(frozen=True)
class Row:
    """One key as the page shows it."""

    key: str
    takes: str
    default: str
    meaning: str


@dataclass(frozen=True)
class Section:
    """One table of a file: its title with the header as it is written, its model, and its keys."""

    title: str
    model: type[BaseModel]
    rows: tuple[Row, ...]


def sections(kind: str) -> list[Section]:
    """Every table of a file kind, outermost first. A motor inside a machine is described with the motor file."""
    found: dict[tuple[str, type[BaseModel]], Section] = {}
    _collect(SCHEMA_KINDS[kind], kind, "", found)
    return list(found.values())


def _collect(model: type[BaseModel], kind: str, header: str, found: dict[tuple[str, type[BaseModel]], Section]) -> None:
    if (header, model) in found:
        return
    title = f"`{header}`: {about(model)}" if header else f"The {kind} file itself: {about(model)}"
    rows = tuple(_row(model, key, field) for key, field in model.model_fields.items())
    found[header, model] = Section(title, model, rows)
    for key, field in model.model_fields.items():
        many = get_origin(field.annotation) is tuple
        path = f"{header.strip('[]')}.{key}".lstrip(".")
        for inner in models_in(field.annotation):
            if inner not in SCHEMA_KINDS.values():
                _collect(inner, kind, f"[[{path}]]" if many else f"[{path}]", found)


def _row(model: type[BaseModel], key: str, field: FieldInfo) -> Row:
    default = "required" if field.is_required() else _default(field.get_default(call_default_factory=True))
    return Row(key, takes(field), default, meaning(model, key))


def _default(value: object) -> str:
    if value is None or value in ((), {}):
        return "none"
    if isinstance(value, BaseModel):
        return "its own defaults"
    return literal(value)


def markdown(kind: str) -> str:
    """The tables of a file kind as Markdown."""
    parts: list[str] = []
    for section in sections(kind):
        parts += [f"### {section.title}", "", "| key | takes | without it | meaning |", "| --- | --- | --- | --- |"]
        parts += [f"| `{row.key}` | {row.takes} | {row.default} | {row.meaning} |" for row in section.rows]
        parts.append("")
    return "\n".join(parts)


def on_page_markdown(text: str, **_: object) -> str:
    """Called by mkdocs for every page: fill in the tables."""
    return MARKER.sub(lambda found: markdown(found[1]), text)
