"""The keys of a machine, a motor or a job as their models have them, one after another, as far as they are answered."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from firmware_host.model.files.problems import models_of
from firmware_host.model.interview.question import Question
from firmware_host.model.interview.reading import annotation_of, choices_of, quantity_of, types_of
from firmware_host.model.plausible.ranges import RANGES
from firmware_host.units.kinds import KINDS

_NEVER_ASKED = frozenset({"version", "accept", "options"})
"""Keys of every file, keys that are no single value."""
_MODELS_OF_LISTS = frozenset({"gearing"})
_RANGE_OF = {key: row for row in RANGES for key in row.keys}


def leaves(model: type[BaseModel], tables: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, FieldInfo]]:
    """Every key with a value of its own, dotted, in the model's order; `tables` tells kinds, and how many stages."""
    for name, field in model.model_fields.items():
        key = f"{prefix}{name}"
        annotation = annotation_of(field)
        inner, is_list = _models(annotation), _is_list(annotation)
        if name in _NEVER_ASKED or (name == "kind" and not prefix.startswith("gearing.")):
            continue
        if not inner or _is_word(annotation):
            yield key, field
        elif is_list and name in _MODELS_OF_LISTS:
            for number, stage in enumerate(tables.get(name, ())):
                yield from leaves(inner[0], stage, f"{key}.{number}.")
        elif is_list:
            yield key, field
        elif name == "motor" and not isinstance(tables.get(name), dict):
            yield key, field
        else:
            below = tables.get(name)
            below = below if isinstance(below, dict) else {}
            yield from leaves(_of_kind(inner, below.get("kind")), below, f"{key}.")


def leaf_question(key: str, field: FieldInfo, *, motor: bool = False) -> Question:
    """The question that asks for a key by what its schema says; `motor`: it is a key of a motor's own file."""
    place = ".".join(part for part in key.split(".") if not part.isdigit())
    *table, last = key.split(".")
    name = last.replace("_", " ")
    where = " ".join(f"stage {int(part) + 1}" if part.isdigit() else part.replace("_", " ") for part in table)
    quantity = quantity_of(field)
    kind = KINDS[quantity.kind].one if quantity is not None else ""
    return Question(
        key=key,
        asks=f"{where[:1].upper()}{where[1:]}: {name}" if where else f"{name[:1].upper()}{name[1:]}",
        explains=field.description or kind,
        more=usual_range(f"motor.{place}" if motor else place, kind),
        choices=choices_of(field),
    )


def usual_range(key: str, kind: str = "") -> str:
    """How large a value of that key usually is, and an example of how it is written; empty where nobody says it."""
    row = _RANGE_OF.get(key)
    if row is None:
        return ""
    unit = f" {row.unit}" if row.unit else ""
    hint = f" {row.hint}." if row.hint else ""
    any_unit = " Any unit of it will do." if row.unit else ""
    return f"Usually {row.low:,.10g} to {row.high:,.10g}{unit} ({row.source}).{any_unit}{hint}"


_models = cache(models_of)
"""Asked for every key at each answer."""


@cache
def _is_list(annotation: Any) -> bool:
    if get_origin(annotation) is Annotated:
        return _is_list(get_args(annotation)[0])
    return get_origin(annotation) is tuple


@cache
def _is_word(annotation: Any) -> bool:
    """Whether a word may stand there, too: it is one value, and has a question of its own."""
    return any(isinstance(each, tuple) for each in types_of(annotation))


def _of_kind(models: tuple[type[BaseModel], ...], kind: object) -> type[BaseModel]:
    """The model of that kind; the first where nobody said which."""
    for model in models:
        field = model.model_fields.get("kind")
        if field is not None and kind in get_args(field.annotation):
            return model
    return models[0]
