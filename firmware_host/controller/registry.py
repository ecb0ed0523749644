"""Dialects by name. A dialect is found through the entry points `firmware_host.dialects` and loaded when asked for."""

from __future__ import annotations

import difflib
from importlib.metadata import EntryPoint, entry_points

from firmware_host.controller.dialect import Dialect
from firmware_host.errors import InputError

GROUP = "firmware_host.dialects"
_OWN = (
    EntryPoint("numbered-line", "firmware_host.controller.numbered_line.dialect:NumberedLineDialect", GROUP),
    EntryPoint("status-query", "firmware_host.controller.status_query.dialect:StatusQueryDialect", GROUP),
)
"""This package's own, so that a plain source tree works too; a plug-in can't take such a name."""


def dialect_names() -> tuple[str, ...]:
    """The names of all dialects at hand, sorted; loads none."""
    return tuple(sorted(_entries()))


def require_dialect(name: str, *, source: str = "", key: str = "link.dialect") -> None:
    """Raise InputError, which names all dialects at hand, unless `name` is one. `source` and `key`: where it stands."""
    entries = _entries()
    if name not in entries:
        near = difflib.get_close_matches(name, entries, n=1)
        hint = f"Did you mean {near[0]!r}? " if near else ""
        raise InputError(
            f"unknown dialect {name!r}", f"{hint}Known: {', '.join(sorted(entries))}.", source=source, key=key
        )


def load_dialect(name: str) -> Dialect:
    """The dialect called `name`. Raises InputError for an unknown name and for an entry that isn't a dialect."""
    require_dialect(name, key="dialect")
    entries = _entries()
    kind = entries[name].load()
    if not (isinstance(kind, type) and issubclass(kind, Dialect)):
        raise InputError(f"dialect {name!r} at {entries[name].value} is not a Dialect", "Repair its entry point.")
    return kind()


def _entries() -> dict[str, EntryPoint]:
    found = {entry.name: entry for entry in _OWN}
    found.update({entry.name: entry for entry in entry_points(group=GROUP) if entry.name not in found})
    return found
