"""The document of the moves: terminal, JSON and CSV show the same rows."""

from __future__ import annotations

import csv
import io

import pytest
from rich.console import Console

from firmware_host.model import load_job
from firmware_host.planning.plan import plan_job
from firmware_host.reporting.document import Cell, Closing, Column, Document, Figure, Table
from firmware_host.reporting.moves import moves_of
from firmware_host.reporting.render.csv import csv_text
from firmware_host.reporting.render.json import json_document
from firmware_host.reporting.render.terminal import terminal_tables

COLUMNS = (Column("name", "name", left=True), Column("", "note"), Column("share", "share %"))
SMALL = Table(
    "rows",
    "Rows",
    COLUMNS,
    (
        (Cell("a,[b]", "a,[b]"), Cell("seen", "seen"), Cell(0.125, "12.5")),
        (Cell("c", "c"), Cell("", ""), Cell(None, "-")),
    ),
    Closing("last", (Cell("end", "end"), Cell("", ""), Cell(1.0, "100")), frozenset({"name"})),
)


def printed(document: Document) -> str:
    console = Console(width=200, file=io.StringIO(), soft_wrap=True)
    with console.capture() as capture:
        for table in terminal_tables(document):
            console.print(table)
    return capture.get()


def test_json_follows_the_keys_and_leaves_out_what_has_none() -> None:
    assert json_document(Document((Figure("count", 2), SMALL))) == {
        "count": 2,
        "rows": [{"name": "a,[b]", "share": 0.125}, {"name": "c", "share": None}],
        "last": {"share": 1.0},
    }


def test_csv_quotes_a_comma_and_leaves_an_unknown_value_empty() -> None:
    assert csv_text(SMALL) == 'name,share\r\n"a,[b]",0.125\r\nc,\r\n'


def test_a_terminal_shows_the_text_of_every_cell_and_takes_no_markup_from_it() -> None:
    lines = [line.split() for line in printed(Document((SMALL,))).splitlines()]
    assert lines == [["Rows"], ["name", "note", "share", "%"], ["a,[b]", "seen", "12.5"], ["c", "-"], ["end", "100"]]


@pytest.mark.parametrize("job", ["shaft-scale", "bottle-band", "sleeve-label"])
def test_terminal_json_and_csv_of_the_moves_show_the_same_numbers(job: str) -> None:
    document = moves_of(plan_job(load_job(job)).program)
    moves = json_document(document)["moves"]
    rows = list(csv.DictReader(io.StringIO(csv_text(document.tables[0]))))
    assert [{key: "" if value is None else str(value) for key, value in move.items()} for move in moves] == rows
    shown = {line.split()[0]: line.split() for line in printed(document).splitlines()[2:]}
    for move in (moves[0], moves[-1]):
        line = shown[str(move["segment"])]
        assert line[1:4] == [
            str(move["target_microstep"]),
            f"{move['delta_microsteps']:+d}",
            f"{move['angle_deg']:.4f}",
        ]
        assert line[4] == f"{move['duration_s']:.3f}"
