"""Many descriptions that differ in numbers alone as one of them, each number an array over the parts.

What takes such a description reckons for all parts at once, if it is plain arithmetic; where it asks for more, numpy
refuses. It is typed as what it stands for: `float` there is an array of shape (parts,), `Fraction` one of objects.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from fractions import Fraction
from functools import cached_property
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel

from firmware_host.mechanics.guard import FloatArray
from firmware_host.units import Quantity

T = TypeVar("T")

_WORDS = ("friction_source", "density_source")  # those of the first stand for all
_PLAIN = (bool, int, str, Enum, type(None))


class UnlikeError(Exception):
    """The parts differ in more than numbers, so each has to be taken by itself."""


def stacked(values: Sequence[T]) -> T:
    """All of `values` as one. What is the same in all stays as it is. Raises `UnlikeError`."""
    first = values[0]
    if all(each is first for each in values):
        return first
    if any(type(each) is not type(first) for each in values):
        raise UnlikeError(type(first).__name__)
    return cast(T, _stacked(first, values))


def _stacked(first: Any, values: Sequence[Any]) -> Any:
    if isinstance(first, float):
        array = np.array(values)
        return first if (array == first).all() else array
    if isinstance(first, _PLAIN):
        return _same(first, values)
    if isinstance(first, Fraction):
        return first if all(each == first for each in values) else np.array(values, dtype=object)
    if isinstance(first, Quantity):
        return first if all(each.exact == first.exact for each in values) else _Quantities(values)
    if isinstance(first, BaseModel):
        return _Models(values)
    if isinstance(first, np.ndarray):
        return first if all(np.array_equal(first, each) for each in values) else _refused(first)
    if isinstance(first, tuple):
        return _tuples(first, values)
    if is_dataclass(first):
        return _dataclasses(first, values)
    return _refused(first)


def _refused(first: Any) -> Any:
    raise UnlikeError(type(first).__name__)


def _same(first: Any, values: Sequence[Any]) -> Any:
    return first if all(each == first for each in values) else _refused(first)


def _tuples(first: Any, values: Sequence[Any]) -> Any:
    if any(len(each) != len(first) for each in values):
        raise UnlikeError(type(first).__name__)
    columns = [stacked(column) for column in zip(*values, strict=True)]
    return type(first)(*columns) if hasattr(first, "_fields") else tuple(columns)


def _dataclasses(first: Any, values: Sequence[Any]) -> Any:
    """Made as they are: each part's own figures are proved already, and those of all need no second proof."""
    found = object.__new__(type(first))
    for field in fields(first):
        own = [getattr(each, field.name) for each in values]
        object.__setattr__(found, field.name, own[0] if field.name in _WORDS else stacked(own))
    return found


class _Quantities:
    """Quantities of one kind: `exact` an array of fractions, `si` one of floats."""

    def __init__(self, values: Sequence[Quantity]) -> None:
        self._values, self.kind = values, values[0].kind

    @cached_property
    def exact(self) -> NDArray[np.object_]:
        return np.array([each.exact for each in self._values], dtype=object)

    @cached_property
    def si(self) -> FloatArray:
        return np.array([each.si for each in self._values])


class _Models:
    """Models of one class: each attribute is that of all of them, as far as it can be told for all."""

    def __init__(self, values: Sequence[BaseModel]) -> None:
        self.__dict__["_values"] = values

    @property  # type: ignore[misc]
    def __class__(self) -> type:
        """Theirs: what asks for the kind of a part, asks for that."""
        return type(self._values[0])

    def __getattr__(self, name: str) -> Any:
        found = stacked([getattr(each, name) for each in self.__dict__["_values"]])
        self.__dict__[name] = found
        return found
