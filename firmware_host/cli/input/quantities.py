"""Options that take a value with its unit."""

from __future__ import annotations

from pydantic_core import PydanticCustomError

from firmware_host.errors import QuantityError
from firmware_host.units import parse_quantity


def si_value(text: str, kind: str, option: str) -> float | None:
    """The value of an option in SI, greater than zero; None if it was not given. Raises `QuantityError`."""
    if not text:
        return None
    try:
        return parse_quantity(text, kind, "positive").si
    except PydanticCustomError as error:
        context = error.context or {}
        raise QuantityError(str(context.get("problem")), str(context.get("remedy")), key=option) from error
