"""What a verdict rests on besides the files: what nobody stated, with its range, and what somebody accepts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from firmware_host.planning.assume.assumption import Assumption, Together
from firmware_host.reporting.document import Column, Notes, Table

_COLUMNS = (
    Column("key", "key"),
    Column("range", "between"),
    Column("counted", "counted as"),
    Column("source", "source", below=True),
)


def assumed_table(assumptions: Iterable[Assumption]) -> Table:
    """Every assumption in the order of the files; `counted`: the end that is unkind, or both where either may be."""
    rows = tuple((each.key, each.words, _counted(each), each.source) for each in assumptions)
    title = "Not stated, so assumed at its unkind end: state what you know"
    return Table("assumptions", title, _COLUMNS, rows, brief=bool(rows))


def accepted_notes(accept: Mapping[str, str] | None, key: str = "") -> Notes:
    """The limits that the job accepts, each with its reason, a line each; `key`: their name in JSON."""
    return Notes(tuple(f"Accepted: {name} ({reason})" for name, reason in (accept or {}).items()), key)


def _counted(assumption: Assumption) -> str:
    return "the worse end" if assumption.together is not Together.ALONE else assumption.words_of(assumption.unkind)
