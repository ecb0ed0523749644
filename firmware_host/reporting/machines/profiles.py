"""Profiles as a document."""

from __future__ import annotations

from collections.abc import Iterable

from firmware_host.model.files.profiles import Profile
from firmware_host.reporting.document import Cell, Column, Document, Table

_COLUMNS = (
    Column("kind", "kind"),
    Column("name", "name"),
    Column("file", "file", brief=False),
    Column("shipped", "where it is"),
)


def profiles_document(profiles: Iterable[Profile]) -> Document:
    """A row for each profile."""
    rows = tuple(
        (each.kind[:-1], each.name, str(each.path), Cell(each.shipped, "shipped" if each.shipped else str(each.path)))
        for each in profiles
    )
    return Document((Table("", "Profiles", _COLUMNS, rows),), as_list=True)
