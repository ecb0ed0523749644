"""From what was typed to what a file holds: by the type of the key, or by a form of words of its own."""

from __future__ import annotations

import re
from collections.abc import Hashable
from functools import cache
from types import UnionType
from typing import Annotated, Any, Literal, Union, cast, get_args, get_origin

from pydantic.fields import FieldInfo
from pydantic_core import PydanticCustomError

from firmware_host.errors import InputError, QuantityError
from firmware_host.model.files.problems import nearest_of
from firmware_host.system.parsing import parse_toml
from firmware_host.units import parse_quantity
from firmware_host.units.fields import QuantityField

_YES_NO = {"yes": True, "true": True, "y": True, "no": False, "false": False, "n": False}
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,2})?")


def read_leaf(field: FieldInfo, text: str) -> Any:
    """What a file holds for an answer to the key of `field`. Raises `InputError` for an answer of another kind."""
    types = types_of(annotation_of(field), tuple(field.metadata))
    if text[:1] == "[" and tuple in types:
        return _inline(text)
    quantity = next((each for each in types if isinstance(each, QuantityField)), None)
    if quantity is not None:
        return [one.strip() for one in text.split(",")] if tuple in types else _quantity(text, quantity)
    words = [word for each in types if isinstance(each, tuple) for word in each]
    if words:
        return _choice(text, words)
    if bool in types:
        return yes_or_no(text)
    if int in types:
        return whole_number(text)
    return number(text) if float in types else text


def choices_of(field: FieldInfo) -> tuple[str, ...]:
    """The only answers that the key of `field` takes; none where it takes any."""
    types = types_of(annotation_of(field), tuple(field.metadata))
    if bool in types:
        return ("yes", "no")
    return tuple(str(word) for each in types if isinstance(each, tuple) for word in each)


def quantity_of(field: FieldInfo) -> QuantityField | None:
    """The kind of quantity that the key of `field` takes; None for any other value."""
    types = types_of(annotation_of(field), tuple(field.metadata))
    return next((each for each in types if isinstance(each, QuantityField)), None)


def annotation_of(field: FieldInfo) -> Hashable:
    """The annotation of a field, as caches take it: Python's own types say no more of it than that it is one."""
    return cast("Hashable", field.annotation)


@cache
def types_of(annotation: Any, metadata: tuple[Any, ...] = ()) -> tuple[Any, ...]:
    """The plain types of an annotation; a quantity by its field, the words of a choice as a tuple of them."""
    quantities = tuple(each for each in metadata if isinstance(each, QuantityField))
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *more = get_args(annotation)
        return (*quantities, *types_of(inner, tuple(more)))
    if origin is Literal:
        return (*quantities, get_args(annotation))
    if origin is tuple:
        return (*quantities, tuple, *types_of(get_args(annotation)[0]))
    if origin in (Union, UnionType):
        return (*quantities, *(each for inner in get_args(annotation) for each in types_of(inner)))
    return (*quantities, annotation)


def _quantity(text: str, field: QuantityField) -> str:
    """The text, if it is a value of that kind; the file keeps it as it was typed."""
    try:
        parse_quantity(text, field.kind, field.sign)
    except PydanticCustomError as error:
        context = error.context or {}
        raise QuantityError(str(context.get("problem")), str(context.get("remedy"))) from error
    return text


def is_quantity(text: str, kind: str) -> bool:
    """Whether a text is a value of that kind."""
    try:
        parse_quantity(text, kind, "any")
    except PydanticCustomError:
        return False
    return True


def _choice(text: str, words: list[Any]) -> Any:
    typed = text.strip().lower()
    exact = [word for word in words if str(word).lower() == typed]
    found = exact or [word for word in words if typed and str(word).lower().startswith(typed)]
    if len(found) != 1:
        raise InputError(f"{text!r} is none of the answers", nearest_of(text, [str(word) for word in words]))
    return found[0]


def choose(text: str, words: tuple[str, ...]) -> str:
    """One of `words`, also by its beginning. Raises `InputError`, naming them."""
    return str(_choice(text, list(words)))


def yes_or_no(text: str) -> bool:
    """Raises `InputError` for neither."""
    typed = text.strip().lower()
    if typed not in _YES_NO:
        raise InputError(f"{text!r} is neither yes nor no", "Write yes or no")
    return _YES_NO[typed]


def whole_number(text: str) -> int:
    """Raises `InputError` for a text that is none."""
    if not re.fullmatch(r"[+-]?\d{1,12}", text.strip()):
        raise InputError(f"{text!r} is no whole number", "Write it in digits, like 16")
    return int(text)


def number(text: str) -> float:
    """A number, or a part of one in per cent. Raises `InputError` for a text that is neither."""
    typed = text.strip()
    percent = typed.endswith("%")
    if not _NUMBER.fullmatch(typed.rstrip("% ")):
        raise InputError(f"{text!r} is no number", "Write it in digits, like 0.95 or 95 %")
    value = float(typed.rstrip("% "))
    return value / 100 if percent else value


def _inline(text: str) -> Any:
    """A list as a file holds it. Raises `InputError` for a text that is none."""
    return parse_toml(f"value = {text}", "the answer")["value"]
