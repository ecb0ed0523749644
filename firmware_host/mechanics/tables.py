"""Ranges looked up by name in a published table."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import NamedTuple

from firmware_host.errors import InputError


class TableRange(NamedTuple):
    """A tabulated value: `low` <= `high`, both in `unit`, and the publication it was copied from."""

    low: float
    high: float
    unit: str
    source: str

    @property
    def middle(self) -> float:
        """The middle of the range, in `unit`."""
        return (self.low + self.high) / 2


def look_up(table: Mapping[str, TableRange], name: str, what: str) -> TableRange:
    """The row `name` of `table`; `InputError` naming the nearest row and all others if there is none."""
    if name in table:
        return table[name]
    nearest = difflib.get_close_matches(name, table, n=1)
    hint = f"Did you mean {nearest[0]!r}? " if nearest else ""
    raise InputError(f"no tabulated {what} for {name!r}", f"{hint}Known: {', '.join(sorted(table))}; or give a number")
