"""From the bytes of a TOML or JSON file to its tables: bounded before the parser sees them, one clear error if not."""

from __future__ import annotations

import re
import tomllib
from typing import Any, NoReturn

from firmware_host.errors import UnreadableFileError
from firmware_host.system.bounds import Bounds, require_bounded_json, require_bounded_toml

_USUAL = Bounds()


def utf8_text(data: bytes, source: str) -> str:
    """The text of a file, without the mark that some editors put before it. Raises `UnreadableFileError`."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise UnreadableFileError("is not UTF-8 text", "Save the file as UTF-8", source, line=line) from error


def parse_toml(text: str, source: str, bounds: Bounds = _USUAL) -> dict[str, Any]:
    """The tables of a TOML text. Raises `UnreadableFileError` with its line; `source` is what it names as the place."""
    require_bounded_toml(text, source, bounds)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        place = re.search(r"at line (\d+)", str(error))
        line = int(place.group(1)) if place else None
        remedy = 'Values are written key = "value", tables [name]'
        raise UnreadableFileError(f"is not valid TOML ({error})", remedy, source, line=line) from error


def parse_json(data: bytes, source: str, bounds: Bounds = _USUAL) -> Any:
    """What a JSON file holds. Raises `UnreadableFileError` with its line; `source` is what it names as the place.

    No key may stand twice in an object, and a number has to be one: neither NaN nor Infinity.
    """
    import json  # few commands read any

    text = utf8_text(data, source)
    require_bounded_json(text, source, bounds)
    try:
        return json.loads(text, object_pairs_hook=_once_each, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        line = error.lineno if isinstance(error, json.JSONDecodeError) else None
        raise UnreadableFileError(f"is not valid JSON ({error})", "", source, line=line) from error


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise ValueError(f"{twice[:40]!r} stands twice in one object")
    return found


def _no_number(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number")
