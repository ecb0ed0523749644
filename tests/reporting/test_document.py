"""The neutral document and its renderers: every node in every form."""

from __future__ import annotations

import math

import pytest

from firmware_host.acts import Unlock
from firmware_host.planning.limits.check import Verdict
from firmware_host.reporting.document import (
    MISSING,
    Advice,
    Apart,
    Cell,
    Column,
    Document,
    Figure,
    Notes,
    Section,
    Table,
)
from firmware_host.reporting.render.csv import csv_text
from firmware_host.reporting.render.json import json_document
from firmware_host.reporting.render.short import MOST_ROWS
from firmware_host.reporting.render.terminal import VERDICT_STYLES, terminal_parts
from firmware_host.reporting.render.text import text_of
from tests.reporting.shown import page, printed

INNER = Table("", "", (Column("limit", "limit"), Column("s", "index", "s", ".2f")), (("torque", 0.125), ("grip", 2.0)))
ROWS = Table(
    "rows",
    "Rows",
    (
        Column("name", "name"),
        Column("", "note"),
        Column("share", "share", "%", ".1f"),
        Column("hidden", "hidden", brief=False),
        Column("why", "why", below=True),
        Column("costs", "costs"),
    ),
    (("a,[b]", "seen", 12.5, 1, ("first", "second"), INNER), ("c", "", None, MISSING, (), Table("", "", (), ()))),
    first=Apart("best", ("b", "", 99.0, True, ("only",), INNER)),
    last=Apart("last", (Cell(MISSING, "end"), "", 100.0, MISSING, MISSING, MISSING)),
)
SMALL = Document(
    (
        Figure("count", "rows", 2, brief=True),
        Figure("secret", "secret", math.inf),
        Figure("absent", "absent", MISSING),
        Figure("", "speed", 1.25, "deg/s", ".1f", brief=True),
        Notes(("one", "two"), "why"),
        Notes(("for people",)),
        ROWS,
        Section("index", "Index", (Figure("move_s", "move", 0.5, "s", ".3g", brief=True), Notes(("inside",)))),
        Section("", "Only a heading", (Figure("flat", "flat", True, brief=True),)),
        Section("nothing", "Nothing", None),
        Section("aside", "Aside", (Notes(("aside",)),), brief=False),
        Advice((Unlock(),)),
    )
)


def test_json_follows_the_keys_and_leaves_out_what_has_none() -> None:
    costs = [{"limit": "torque", "s": 0.125}, {"limit": "grip", "s": 2.0}]
    document = json_document(SMALL)
    assert document == {
        "count": 2,
        "secret": None,
        "why": ["one", "two"],
        "best": {"name": "b", "share": 99.0, "hidden": True, "why": ["only"], "costs": costs},
        "rows": [
            {"name": "a,[b]", "share": 12.5, "hidden": 1, "why": ["first", "second"], "costs": costs},
            {"name": "c", "share": None, "why": [], "costs": []},
        ],
        "last": {"share": 100.0},
        "index": {"move_s": 0.5},
        "flat": True,
        "nothing": None,
        "aside": {},
    }
    assert list(document) == [
        "count", "secret", "why", "best", "rows", "last", "index", "flat", "nothing", "aside"
    ]  # fmt: skip


def test_a_word_of_a_scale_is_plain_text_in_json() -> None:
    (value,) = json_document(Document((Figure("verdict", "Verdict", Verdict.NARROW),))).values()
    assert type(value) is str
    assert value == "holds narrowly"


def test_csv_has_every_column_with_a_key_and_joins_lists() -> None:
    assert csv_text(ROWS) == (
        "name,share,hidden,why,costs\r\n"
        '"a,[b]",12.5,1,first;second,torque=0.125;grip=2.0\r\n'
        "c,,,,\r\n"
    )  # fmt: skip


def test_a_terminal_shows_the_short_form_in_order_and_takes_no_markup_from_it() -> None:
    assert [line.split() for line in printed(SMALL).splitlines()] == [
        ["rows:", "2"],
        ["speed:", "1.2", "deg/s"],
        ["one"],
        ["two"],
        ["for", "people"],
        ["Rows"],
        ["name", "note", "share", "%", "costs"],
        ["b", "99.0", "torque", "0.12,", "grip", "2.00"],
        ["a,[b]", "seen", "12.5", "torque", "0.12,", "grip", "2.00"],
        ["c", "-", "-"],
        ["end", "100.0", "-"],
        ["b:", "only"],
        ["a,[b]:", "first"],
        ["a,[b]:", "second"],
        ["Index:"],
        ["move:", "0.5", "s"],
        ["inside"],
        ["Only", "a", "heading:"],
        ["flat:", "yes"],
        ["do", "Unlock"],
    ]


def test_words_stand_to_the_left_and_numbers_to_the_right() -> None:
    table = Table("", "T", (Column("", "word"), Column("", "number")), (("a", 1), ("long word", 10_000)))
    assert printed(Document((table,))).splitlines()[2:] == ["a               1", "long word   10000"]


def test_a_verdict_has_its_colour_and_nothing_else_has() -> None:
    table = Table("", "T", (Column("", "a"), Column("", "b")), ((Verdict.FAILS, "fails"), (Verdict.NARROW, "x")))
    (shown,) = terminal_parts(Document((table,)))
    assert not isinstance(shown, str)
    styles = [[str(cell.style) for cell in column._cells] for column in shown.columns]  # type: ignore[union-attr]
    assert styles == [["bold red", "yellow"], ["", ""]]
    assert set(VERDICT_STYLES) == {verdict.value for verdict in Verdict}


def test_of_a_long_table_a_terminal_shows_the_ends_and_json_all() -> None:
    rows = tuple((number,) for number in range(1000))
    document = Document((Table("rows", "T", (Column("n", "n"),), rows),))
    shown = [line.strip() for line in printed(document).splitlines()[2:]]
    half = MOST_ROWS // 2
    assert shown == [*map(str, range(half)), "...", *map(str, range(1000 - half, 1000))]
    assert len(json_document(document)["rows"]) == 1000


def test_control_characters_are_made_visible_in_a_table() -> None:
    table = Table("", "T", (Column("", "a\x1b"),), (("b\x07",),))
    shown = printed(Document((table,)))
    assert "\x1b" not in shown
    assert "\x07" not in shown
    assert "a\\x1b" in shown
    assert "b\\x07" in shown


def test_a_table_without_rows_is_not_shown() -> None:
    assert printed(Document((Table("rows", "Rows", (Column("a", "a"),), ()),))) == ""


@pytest.mark.parametrize(
    ("value", "form", "text"),
    [
        (None, ".3f", "-"),
        (MISSING, "", "-"),
        ((), "", "-"),
        ((), ".3f", "-"),
        (True, ".3f", "yes"),
        (False, "", "no"),
        (0.475, "%", "48 %"),
        (-16.16, "%", "-1616 %"),
        (1234567.0, ".4g", "1.235e+06"),
        (611, "+d", "+611"),
        (("a", "b"), "", "a, b"),
        ((0.5, 1.0), ".2f", "0.50, 1.00"),
    ],
    ids=repr,
)
def test_a_value_is_written_by_its_form(value: object, form: str, text: str) -> None:
    assert text_of(value, form) == text  # type: ignore[arg-type]


def test_a_page_can_be_made_of_the_same_tree() -> None:
    html = page(SMALL.nodes)
    assert "<h2>Index</h2>" in html
    assert '<data value="0.125">0.12</data>' in html
    assert "<th>share %</th>" in html
    assert html.count("<table>") == 4
    assert "<button>do Unlock</button>" in html
