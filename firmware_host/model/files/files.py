"""Reading a TOML file into a model, or into one clear error with file, key and line."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from firmware_host.acts import ListProfiles, ShowSchema
from firmware_host.errors import InputError, QuantityError, UnknownKeyError, UnreadableFileError
from firmware_host.model.files.key_lines import key_lines, line_of

#: Largest file read, in bytes: a job of ten thousand artwork gaps stays well below it.
LARGEST_FILE = 1_000_000

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

ModelT = TypeVar("ModelT", bound=BaseModel)


def read_toml(path: Path) -> tuple[dict[str, Any], str]:
    """The file's tables and its text.

    Raises `UnreadableFileError` when it is missing, no plain file, larger than `LARGEST_FILE`, not UTF-8 or not TOML.
    """
    source = str(path)
    try:
        if not path.is_file():
            problem = "is not a plain file" if path.exists() else "no such file"
            raise UnreadableFileError(problem, "Name a TOML file, or a profile", source, acts=(ListProfiles(),))
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except OSError as error:
        problem = f"cannot be read ({error.strerror})"
        raise UnreadableFileError(problem, "Check the path and the file's rights", source) from error
    if len(data) > LARGEST_FILE:
        problem = f"is larger than {LARGEST_FILE} bytes"
        raise UnreadableFileError(problem, "A job or machine file takes a few kilobytes; name the right file", source)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise UnreadableFileError("is not UTF-8 text", "Save the file as UTF-8", source, line=line) from error
    return _parse(text, source), text


def _parse(text: str, source: str) -> dict[str, Any]:
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        problem = "is nested too deeply" if isinstance(error, RecursionError) else f"is not valid TOML ({error})"
        place = re.search(r"at line (\d+)", str(error))
        line = int(place.group(1)) if place else None
        raise UnreadableFileError(
            problem, 'Values are written key = "value", tables [name]', source, line=line
        ) from error
    if not tables:
        raise UnreadableFileError(
            "is empty", "Write into it what a job, a machine or a motor needs", source, acts=(ShowSchema("job"),)
        )
    return tables


def validate(
    kind: type[ModelT], tables: dict[str, Any], *, source: str, text: str = "", folder: Path | None = None
) -> ModelT:
    """Turn parsed tables into a model; the first problem becomes one `InputError` with file, key and line.

    `folder` is where relative paths in the file start.
    """
    context = {"folder": str(folder.resolve())} if folder is not None else None
    try:
        return kind.model_validate(tables, context=context)
    except ValidationError as error:
        details = error.errors()
        first = min(details, key=lambda detail: (_rank(detail), len(detail["loc"])))
        raise _input_error(kind, first, tables, source, text, len(details) - 1) from error


def _rank(detail: ErrorDetails) -> int:
    """Unknown keys first (often the misspelling behind a missing key), then wrong values, then what is missing.

    A list is found too short also when its items are wrong: those come first.
    """
    return {"extra_forbidden": 0, "missing": 2, "too_short": 2}.get(detail["type"], 1)


def _input_error(
    kind: type[BaseModel], detail: ErrorDetails, tables: dict[str, Any], source: str, text: str, others: int
) -> InputError:
    context = detail.get("ctx", {})
    path = _written_path(detail["loc"], tables, absent=detail["type"] == "missing")
    if detail["type"] == "contradiction":
        below = tuple(str(context["key"]).split("."))
        path = path if path[-len(below) :] == below else (*path, *below)
    more = f" ({others} more problem{'s' if others > 1 else ''} in this file)" if others else ""
    fields: dict[str, Any] = {
        "source": source,
        "key": ".".join(str(part) for part in path),
        "line": line_of(path, key_lines(text)),
    }
    if detail["type"] == "quantity":
        return QuantityError(str(context["problem"]), str(context["remedy"]) + more, **fields)
    if detail["type"] == "extra_forbidden":
        return UnknownKeyError("unknown key", _nearest(kind, path) + more, **fields)
    if detail["type"] == "missing":
        return InputError("this key is missing", "Add it" + more, acts=(ShowSchema(kind.__name__.lower()),), **fields)
    if detail["type"].startswith("union_tag"):
        tags = str(context.get("expected_tags", "")) or "one of the known kinds"
        return InputError("kind is missing or unknown", f"Write kind = one of {tags}" + more, **fields)
    if detail["type"] == "contradiction":
        return InputError(str(context["problem"]), more.strip(), **fields)
    if detail["type"] in ("too_short", "too_long"):
        bound = f"at least {context['min_length']}" if "min_length" in context else f"at most {context['max_length']}"
        return InputError(f"needs {bound} items, has {context['actual_length']}", more.strip(), **fields)
    problem = _PLAIN_WORDS.get(detail["type"]) or detail["msg"].removeprefix("Value error, ")
    shown = f" (found {str(detail['input'])[:40]!r})" if isinstance(detail["input"], str | int | float | bool) else ""
    return InputError(problem[:1].lower() + problem[1:] + shown, more.strip(), **fields)


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


def _models(annotation: Any) -> list[type[BaseModel]]:
    """The models that a field's annotation can hold."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if get_origin(annotation) in (Annotated, Union, UnionType, tuple, list):
        return [model for inner in get_args(annotation) for model in _models(inner)]
    return []


def _nearest(kind: type[BaseModel], path: Sequence[str | int]) -> str:
    """What key was probably meant: the known key most like the unknown one."""
    models: list[type[BaseModel]] = [kind]
    for part in path[:-1]:
        if isinstance(part, str):
            models = [
                inner
                for model in models
                if (field := model.model_fields.get(part)) is not None
                for inner in _models(field.annotation)
            ]
    known = sorted({name for model in models for name in model.model_fields})
    return nearest_of(str(path[-1]), known) if known else "Take it out"


def nearest_of(written: str, known: Sequence[str]) -> str:
    """A remedy for a name that isn't there: the known one most like it, or all that are known."""
    close = difflib.get_close_matches(written, known, n=1, cutoff=0.5)
    return f"Did you mean {close[0]!r}?" if close else f"Known here: {', '.join(known)}"
