"""Reading a TOML file into a model, or into one clear error with file, key and line."""

from __future__ import annotations

import difflib
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from firmware_host.errors import MissingFileError, UnreadableFileError
from firmware_host.model.files.key_lines import key_at
from firmware_host.model.files.problems import input_error, refuse_implausible, written_key
from firmware_host.model.plausible.check import findings
from firmware_host.system.files import read_regular
from firmware_host.system.parsing import parse_toml, utf8_text

#: Largest file read, in bytes: a job of a thousand artwork gaps stays well below it.
LARGEST_FILE = 1_000_000
_MOST_NAMES = 1000

ModelT = TypeVar("ModelT", bound=BaseModel)


def read_toml(path: Path) -> tuple[dict[str, Any], str]:
    """The file's tables and its text.

    Raises `UnreadableFileError` when it is missing, no plain file, larger than `LARGEST_FILE`, not UTF-8, not TOML, or
    holds more than `Bounds` of anything: deep nesting, keys of many parts, numbers of many digits.
    """
    source = str(path)
    try:
        data = read_regular(path, LARGEST_FILE)
    except UnreadableFileError as error:
        from firmware_host.acts import ListProfiles

        remedy = _like(path) if isinstance(error, MissingFileError) else ""
        raise replace(error, remedy=remedy or "Name a TOML file, or a profile", acts=(ListProfiles(),)) from error
    text = utf8_text(data, source)
    tables = _parse(text, source)
    if not tables:
        from firmware_host.acts import ShowSchema

        raise UnreadableFileError(
            "is empty", "Write into it what a job, a machine or a motor needs", source, acts=(ShowSchema("job"),)
        )
    return tables, text


def _like(path: Path) -> str:
    """The file of the same folder whose name is most like that of one that is not there; empty if none is."""
    try:
        names = [each.name for each in islice(path.parent.glob("*.toml"), _MOST_NAMES) if each.is_file()]
    except (OSError, ValueError):  # a folder that nobody may look into; a name that is none
        return ""
    close = difflib.get_close_matches(path.name, sorted(names), n=1)
    return f"Did you mean {str(path.with_name(close[0]))!r}?" if close else ""


def _parse(text: str, source: str) -> dict[str, Any]:
    """The tables of a text; an error names the key, and where it stood before if it stands twice."""
    try:
        return parse_toml(text, source)
    except UnreadableFileError as error:
        if error.line is None or error.key:
            raise
        path, first = key_at(text, error.line)
        remedy = f"It stands twice, first on line {first}; leave one out" if first is not None else error.remedy
        raise replace(error, key=written_key(path), remedy=remedy) from error


def validate(
    kind: type[ModelT],
    tables: dict[str, Any],
    *,
    source: str,
    text: str = "",
    folder: Path | None = None,
    one_by_one: bool = False,
) -> ModelT:
    """Turn parsed tables into a model; all problems become one `InputError` with file, key and line, the first first.

    `folder` is where relative paths in the file start. `one_by_one`: values are being set one after the other, so that
    those that do not go together yet are no problem; one that cannot be at all is.
    """
    context = {"folder": str(folder.resolve())} if folder is not None else None
    try:
        described = kind.model_validate(tables, context=context)
    except ValidationError as error:
        raise input_error(kind, error.errors(include_url=False), tables, source, text) from error
    found = findings(described)
    refuse_implausible([each for each in found if each.by_itself or not one_by_one], source, text)
    return described
