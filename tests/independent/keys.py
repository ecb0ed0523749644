"""Every key that a machine or job file may have, where a drawn pair has it, and other values for it."""

from __future__ import annotations

import re
import typing
from collections.abc import Iterator
from copy import deepcopy
from types import UnionType
from typing import Any, Literal, Union

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from tests.independent.drawing import Table

Place = tuple[str | int, ...]
_BY_KIND = ("part", "drive", "gate", "bodies")
_OF_ALL_KINDS = re.compile(r"part\[[a-z]+\]\.(?=bodies|keep_out|mass_offset_angle)")


def keys_of(model: type[BaseModel], prefix: str) -> dict[str, FieldInfo]:
    """All leaf keys below `model`: dotted, "[]" for the items of a list, "[kind]" where the kind decides the keys."""
    found: dict[str, FieldInfo] = {}
    for name, field in model.model_fields.items():
        path = f"{prefix}.{name}"
        models = _models_in(field.annotation)
        for each in models:
            kind = kind_of(each) if name in _BY_KIND else ""
            found |= keys_of(each, f"{path}{'[]' if _is_list(field.annotation) else ''}{kind}")
        if not models:
            found[path] = field
    return {_OF_ALL_KINDS.sub("part.", key): field for key, field in found.items()}


def kind_of(model: type[BaseModel]) -> str:
    """Its discriminator, in brackets."""
    choices = typing.get_args(model.model_fields["kind"].annotation)
    return f"[{choices[0] if choices else 'other'}]"


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if typing.get_origin(annotation) is Literal:
        return []
    return [model for part in typing.get_args(annotation) for model in _models_in(part)]


def _is_list(annotation: Any) -> bool:
    origin = typing.get_origin(annotation)
    if origin is tuple:
        return True
    return origin in (Union, UnionType, typing.Annotated) and any(map(_is_list, typing.get_args(annotation)))


def places(table: Table, prefix: str) -> Iterator[tuple[str, Place]]:
    """(key, place) of each leaf of a plain table, named as by `keys_of`."""
    for name, value in table.items():
        path = f"{prefix}.{name}"
        if name == "accept":  # its keys are names of limits
            yield path, (name,)
            continue
        for number, item in enumerate(value if isinstance(value, list) else [value]):
            place: Place = (name, number) if isinstance(value, list) else (name,)
            if isinstance(item, dict):
                kind = f"[{item['kind']}]" if name in _BY_KIND else ""
                inner = places(item, f"{path}{'[]' if isinstance(value, list) else ''}{kind}")
                yield from ((_OF_ALL_KINDS.sub("part.", key), place + below) for key, below in inner)
            else:
                yield _OF_ALL_KINDS.sub("part.", path), place


def with_value(table: Table, place: Place, value: Any) -> Table:
    """A copy of `table` with another value at `place`; None takes the key out."""
    changed = deepcopy(table)
    spot: Any = changed
    for step in place[:-1]:
        spot = spot[step]
    if value is None:
        del spot[place[-1]]
    else:
        spot[place[-1]] = value
    return changed


def other_values(value: Any, field: FieldInfo) -> Iterator[Any]:
    """Other values that a key may have in place of `value`, the nearest ones first; None: left out."""
    choices = _choices(field.annotation)
    if choices:
        yield from (choice for choice in choices if choice != value)
    elif isinstance(value, bool):
        yield not value
    elif isinstance(value, int):
        yield from (value + 1, value * 2, max(1, value - 1))
    elif isinstance(value, float):
        yield from (value * 1.05, value * 0.95, value * 0.5, value * 2, value * 0.1)
    elif isinstance(value, str) and value.lstrip("-")[:1].isdigit() and " " in value:
        number, unit = value.split(" ", 1)
        yield from (
            f"{float(number) * factor:.6g} {unit}" for factor in (1.05, 0.95, 1.004, 0.5, 2.0, 0.1, 10.0, 100.0)
        )
    elif isinstance(value, str):
        yield from (other for others in _TEXTS if value in others for other in others if other != value)
    if not field.is_required():
        yield None


_FACTORS = (1.05, 0.95, 1.004, 0.5, 2.0, 0.1, 10.0, 100.0)
_TEXTS = (
    ("steel", "aluminium", "brass", "copper"),
    ("steel_on_steel", "plastic_on_steel", "plastic_belt_on_steel"),
    ("NEMA 14", "NEMA 17", "42 mm", "NEMA 23", "NEMA 34"),
    ("1", "3", "5", "7/2", "3.75"),
)


def _choices(annotation: Any) -> list[Any]:
    if typing.get_origin(annotation) is Literal:
        return list(typing.get_args(annotation))
    return [choice for part in typing.get_args(annotation) for choice in _choices(part)]
