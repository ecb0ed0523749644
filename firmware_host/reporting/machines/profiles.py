"""Profiles as a document."""

from __future__ import annotations

from collections.abc import Iterable

from firmware_host.model.files.profiles import Profile
from firmware_host.reporting.document import Cell, Column, Document, Table

_COLUMNS = (
    Column("kind", "kind"),
    Column("name", "name"),
    Column("origin", "whose"),
    Column("hides", "hides"),
    Column("file", "file", brief=False),
    Column("shipped", "where it is"),
)


def profiles_document(profiles: Iterable[Profile]) -> Document:
    """A row for each profile: `origin` is "own", "here" (the current folder) or "shipped"; `hides`: whose it hides."""
    rows = tuple(
        (
            each.kind[:-1],
            each.name,
            each.origin,
            Cell(each.hides, " and ".join(each.hides)),
            str(each.path),
            Cell(each.shipped, "" if each.shipped else str(each.path)),
        )
        for each in profiles
    )
    return Document((Table("", "Profiles", _COLUMNS, rows),), as_list=True)
