"""What every described thing has in common: frozen, no unknown keys, no infinite numbers."""

from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict
from pydantic_core import PydanticCustomError

from firmware_host.errors import InputError

T = TypeVar("T")


def _no_truth_value(value: object) -> object:
    if isinstance(value, bool):
        raise ValueError("input should be 1")
    return value


#: The version key of every file kind: this release knows one.
Version = Annotated[Literal[1], BeforeValidator(_no_truth_value)]


class Described(BaseModel):
    """Base of every model read from a user's file.

    These files leave their annotations as they are: those of the future are texts, which pydantic would compile again.
    """

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        strict=True,
        validate_default=True,
        defer_build=True,  # most models are only a part of the one that is read, and are built with that
    )


def stated(value: T | None, key: str) -> T:
    """The value of an optional key where it is needed; `InputError` naming `key` (dotted) if nobody stated it."""
    if value is None:
        raise InputError(f"{key} is not stated", f"Give {key}", key=key)
    return value


def contradiction(key: str, problem: str) -> PydanticCustomError:
    """The error of a value that does not fit the others: `key` (dotted, below the model) is the one to change."""
    return PydanticCustomError("contradiction", "{problem}", {"problem": problem, "key": key})
