"""Options that take a value with its unit."""

from __future__ import annotations

from pydantic_core import PydanticCustomError

from firmware_host.errors import QuantityError
from firmware_host.units import parse_number, parse_quantity
from firmware_host.units.quantity import Sign


def si_value(text: str, kind: str, option: str) -> float | None:
    """The value of an option in SI, greater than zero; None if it was not given. Raises `QuantityError`."""
    return _value(text, kind, option, "positive")


def signed_value(text: str, kind: str, option: str) -> float | None:
    """As `si_value`, for a value of any sign."""
    return _value(text, kind, option, "any")


def number_value(text: str, option: str) -> float:
    """A bare number. Raises `QuantityError`."""
    try:
        return parse_number(text)
    except PydanticCustomError as error:
        raise _said(error, option) from error


def _value(text: str, kind: str, option: str, sign: Sign) -> float | None:
    if not text:
        return None
    try:
        return parse_quantity(text, kind, sign).si
    except PydanticCustomError as error:
        raise _said(error, option) from error


def _said(error: PydanticCustomError, option: str) -> QuantityError:
    context = error.context or {}
    return QuantityError(str(context.get("problem")), str(context.get("remedy")), key=option)
