"""What can be drawn of a job or a run, and what was drawn, as documents."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from firmware_host.reporting.document import Column, Document, Figure, Notes, Table
from firmware_host.reporting.pictures.drawn import Drawn
from firmware_host.reporting.pictures.picture import Picture, SubjectT

_COLUMNS = (Column("picture", "picture"), Column("shows", "shows"), Column("missing", "", brief=False))


def pictures_document(pictures: Sequence[Picture[SubjectT]], of: SubjectT) -> Document:
    """The pictures there are, and why one of them can't be drawn of it."""
    rows = tuple((each.key, each.shows, each.missing(of)) for each in pictures)
    missing = tuple(f"{each.key}: {why}." for each in pictures if (why := each.missing(of)))
    return Document((Table("pictures", "What can be drawn", _COLUMNS, rows), Notes(missing)))


def drawn_document(made: Drawn, path: Path) -> Document:
    """Where the picture is, and in words what it shows."""
    return Document(
        (
            Figure("picture", "Picture", made.picture.key),
            Figure("file", "Written to", str(path), brief=True),
            Notes((made.words,), "words"),
        )
    )
