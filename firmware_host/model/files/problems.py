"""From what the validator found to one error in plain words, with the file, the key and the line of each problem."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from firmware_host.errors import ImplausibleError, InputError, QuantityError, UnknownKeyError
from firmware_host.model.files.key_lines import Path, key_lines, line_of
from firmware_host.model.plausible.check import Finding
from firmware_host.system.bounds import shortened

#: What is wrong, where the validator's own words speak of Python.
_PLAIN_WORDS = {
    "model_type": "must be a table with keys of its own",
    "model_attributes_type": "must be a table with keys of its own",
    "dict_type": "must be a table with keys of its own",
    "tuple_type": "must be an array, like [ ... ]",
    "string_type": "must be a text in quotes",
    "int_type": "must be a whole number",
    "float_type": "must be a number",
    "bool_type": "must be true or false",
    "finite_number": "must be a finite number",
}


_WANTS_A_TABLE = ("model_type", "model_attributes_type", "dict_type", "union_tag_not_found")
_MOST_SHOWN = 6
"""Problems told one by one; the rest is counted."""


def input_error(
    kind: type[BaseModel], details: Sequence[ErrorDetails], tables: dict[str, Any], source: str, text: str
) -> InputError:
    """The first of the problems, with the others behind it; `text` is the file's, for its lines."""
    lines = key_lines(text)
    by_rank = sorted(details, key=lambda detail: (_rank(detail), len(detail["loc"])))
    shown = [_error(kind, detail, tables, source, lines) for detail in by_rank[:_MOST_SHOWN]]
    return _with_others(shown, len(by_rank) - len(shown))


def refuse_implausible(found: Sequence[Finding], source: str, text: str = "") -> None:
    """Raise one `InputError` for the values that cannot be so, if any; `text` is the file's, for its lines."""
    refused = [finding for finding in found if finding.refused]
    if not refused:
        return
    lines = key_lines(text)
    shown: list[InputError] = []
    for each in refused[:_MOST_SHOWN]:
        line = line_of([int(part) if part.isdecimal() else part for part in each.key.split(".")], lines)
        shown.append(ImplausibleError(each.problem, each.remedy, source, each.key, line))
    raise _with_others(shown, len(refused) - len(shown))


def _with_others(shown: Sequence[InputError], untold: int) -> InputError:
    """The first of the problems, with the others behind it in the order of their lines."""
    first, *others = shown
    if others:
        rest = len(others) + untold
        first.remedy = f"{first.remedy} ({rest} more problem{'s' if rest > 1 else ''} in this file)".strip()
        others.sort(key=lambda error: error.line or 0)
        first.others = tuple(error.as_other() for error in others)
        first.untold = untold
        first.acts = tuple(dict.fromkeys(act for error in (first, *others) for act in error.acts))
    return first


def _rank(detail: ErrorDetails) -> int:
    """Unknown keys first (often the misspelling behind a missing key), then wrong values, then what is missing.

    A list is found too short also when its items are wrong: those come first.
    """
    return {"extra_forbidden": 0, "missing": 2, "too_short": 2}.get(detail["type"], 1)


def _error(
    kind: type[BaseModel], detail: ErrorDetails, tables: dict[str, Any], source: str, lines: dict[Path, int]
) -> InputError:
    context = detail.get("ctx", {})
    path = _written_path(detail["loc"], tables, absent=detail["type"] == "missing")
    if detail["type"] == "contradiction":
        below = tuple(str(context["key"]).split("."))
        path = path if path[-len(below) :] == below else (*path, *below)
    fields: dict[str, Any] = {
        "source": source,
        "key": written_key(path),
        "line": line_of(path, lines),
    }
    if detail["type"] == "quantity":
        return QuantityError(str(context["problem"]), str(context["remedy"]), **fields)
    if detail["type"] == "extra_forbidden":
        return UnknownKeyError("unknown key", _nearest(kind, path, tables), **fields)
    if detail["type"] == "missing":
        from firmware_host.acts import ShowSchema

        return InputError("this key is missing", "Add it", acts=(ShowSchema(kind.__name__.lower()),), **fields)
    if isinstance(detail["input"], list) and detail["type"] in _WANTS_A_TABLE and isinstance(path[-1], str):
        problem = "must be a table with keys of its own, not a list of tables"
        return InputError(problem, f"Write [{path[-1]}], not [[{path[-1]}]]", **fields)
    if detail["type"].startswith("union_tag"):
        tags = str(context.get("expected_tags", "")) or "one of the known kinds"
        return InputError("kind is missing or unknown", f"Write kind = one of {tags}", **fields)
    if detail["type"] == "contradiction":
        return InputError(str(context["problem"]), **fields)
    if detail["type"] in ("too_short", "too_long"):
        bound = f"at least {context['min_length']}" if "min_length" in context else f"at most {context['max_length']}"
        return InputError(f"needs {bound} items, has {context['actual_length']}", **fields)
    problem = _PLAIN_WORDS.get(detail["type"]) or detail["msg"].removeprefix("Value error, ")
    shown = f" (found {str(detail['input'])[:40]!r})" if isinstance(detail["input"], str | int | float | bool) else ""
    return InputError(problem[:1].lower() + problem[1:] + shown, **fields)


def _written_path(location: Sequence[str | int], tables: dict[str, Any], *, absent: bool) -> tuple[str | int, ...]:
    """The error's location without names of models, which are in no file; the last key may be `absent`."""
    path: list[str | int] = []
    place: Any = tables
    for position, part in enumerate(location):
        if isinstance(place, dict) and part in place:
            place = place[part]
        elif isinstance(place, list) and isinstance(part, int) and part < len(place):
            place = place[part]
        elif not (absent and position == len(location) - 1):
            continue
        path.append(part)
    return tuple(path)


def written_key(path: Sequence[str | int]) -> str:
    """A key's path as it is named in a message: dotted, a long part shortened."""
    return ".".join(shortened(str(part)) for part in path)


def models_of(annotation: Any) -> tuple[type[BaseModel], ...]:
    """The models that a field's annotation can hold."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return (annotation,)
    if get_origin(annotation) in (Annotated, Union, UnionType, tuple, list):
        return tuple(model for inner in get_args(annotation) for model in models_of(inner))
    return ()


def _nearest(kind: type[BaseModel], path: Sequence[str | int], tables: dict[str, Any]) -> str:
    """What key was probably meant: the known key most like the unknown one."""
    models: list[type[BaseModel]] = [kind]
    place: Any = tables
    for part in path[:-1]:
        place = place[part]
        if isinstance(part, str):
            models = [
                inner
                for model in models
                if (field := model.model_fields.get(part)) is not None
                for inner in models_of(field.annotation)
            ]
    of_this_kind = [model for model in models if _is_of_kind(model, place.get("kind"))]
    known = sorted({name for model in of_this_kind or models for name in model.model_fields})
    return nearest_of(str(path[-1]), known) if known else "Take it out"


def _is_of_kind(model: type[BaseModel], kind: object) -> bool:
    """Whether a table with `kind = ...` is one of this model."""
    field = model.model_fields.get("kind")
    return field is not None and (kind in get_args(field.annotation) or (kind is None and not field.is_required()))


def nearest_of(written: str, known: Sequence[str]) -> str:
    """A remedy for a name that isn't there: the known one most like it, or all that are known."""
    close = difflib.get_close_matches(written, known, n=1, cutoff=0.5)
    return f"Did you mean {close[0]!r}?" if close else f"Known here: {', '.join(known)}"
