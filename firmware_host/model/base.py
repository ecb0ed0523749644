"""What every described thing has in common: frozen, no unknown keys, no infinite numbers."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Described(BaseModel):
    """Base of every model read from a user's file."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, strict=True, validate_default=True)
