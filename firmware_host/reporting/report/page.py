"""A report as one HTML file: nothing is loaded from anywhere, and everything in it is escaped."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterable, Sequence
from enum import Enum
from importlib import resources
from itertools import count
from typing import Any, NamedTuple

from jinja2 import Environment, PackageLoader, StrictUndefined

from firmware_host.reporting.document import Advice, Column, Figure, Node, Notes, Section, Table
from firmware_host.reporting.measures import Units
from firmware_host.reporting.pictures.drawn import Drawn
from firmware_host.reporting.render.text import NONE, header_of, row_texts, text_of
from firmware_host.reporting.report.report import Chapter, Report

MOST_ROWS = 200
"""Of a table: of a longer one the beginning and the end are shown, and how many rows are left out between."""
_MOST_PRINTED = 9
"""Columns that find room on paper."""
_TIME = re.compile(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d:\d\d(?:\.\d+)?)\+00:00")
_MEDIA = {".svg": "image/svg+xml", ".png": "image/png"}


class Paper(Enum):
    """What a report is printed on."""

    A4 = "a4"
    LETTER = "letter"


def report_page(report: Report, units: Units = Units.METRIC, paper: Paper | None = None) -> str:
    """The report as HTML. `units`: those of the reader; `paper`: what it is printed on, left out as its printer has."""
    style = resources.files("firmware_host.reporting.report").joinpath("page.css").read_text(encoding="utf-8")
    chapters = [_chapter(chapter, number, units) for number, chapter in enumerate(report.chapters, 1)]
    return (
        _environment()
        .get_template("page.html.jinja")
        .render(
            report=report,
            chapters=chapters,
            style=style,
            paper=paper.value if paper is not None else "",
            table_number=count(1).__next__,
        )
    )


def document_part(nodes: Iterable[Node], pictures: Iterable[Drawn], units: Units = Units.METRIC) -> str:
    """The first nodes of a document below their pictures, as a piece of HTML to be put into another page."""
    shown = _Shown(units, brief=True)
    parts = [part for node in nodes if (part := _node(node, shown)) is not None]
    return (
        _environment()
        .get_template("part.html.jinja")
        .render(parts=parts, pictures=[_picture(each) for each in pictures], table_number=count(1).__next__)
    )


def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("firmware_host.reporting.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _chapter(chapter: Chapter, number: int, units: Units) -> dict[str, Any]:
    document = chapter.document
    nodes = () if document is None else document.first if chapter.first else document.nodes
    shown = _Shown(units, brief=chapter.first)
    return {
        "id": f"chapter-{number}",
        "title": chapter.title,
        "nodes": [part for node in nodes if (part := _node(node, shown)) is not None],
        "pictures": [_picture(each) for each in chapter.pictures],
    }


class _Shown(NamedTuple):
    """How tables are shown: in the reader's units, and where it is to be `brief` without the columns for programs."""

    units: Units
    brief: bool


def _node(node: Node, shown: _Shown) -> dict[str, Any] | None:
    """A node as what the page's template asks for; None where there is nothing to show."""
    units = shown.units
    if isinstance(node, Notes):
        return {"kind": "notes", "lines": node.lines} if node.lines else None
    if isinstance(node, Advice):
        return None  # commands are for a terminal
    if isinstance(node, Figure):
        text = node.text or f"{text_of(node.value, node.form, node.unit, units)} {units.label(node.unit)}".strip()
        return {"kind": "figure", "label": node.label, "text": text} if node.label and text not in ("", NONE) else None
    if isinstance(node, Section):
        parts = [part for each in node.nodes or () if (part := _node(each, shown)) is not None]
        return {"kind": "section", "title": node.title, "nodes": parts} if parts else None
    return None if node.is_empty else _table(node, shown)


def _table(table: Table, how: _Shown) -> dict[str, Any]:
    head, tail = ([row_texts(table.columns, row, how.units) for row in rows] for rows in table.ends(MOST_ROWS))
    every = (*head, *tail)
    shown = [
        place
        for place, column in enumerate(table.columns)
        if column.label
        and not column.below
        and (column.brief or not how.brief)
        and any(texts[place] not in ("", NONE) for texts in every)
    ]
    headers = [header_of(table.columns[place], how.units) for place in shown]
    for number, place in enumerate(shown):
        if (day := _day([texts[place] for texts in every])) is not None:
            headers[number] += f" ({day}, UTC)"
            for texts in every:
                texts[place] = _time_of_day(texts[place])
    wide = len(shown) > _MOST_PRINTED
    return {
        "kind": "table",
        "title": table.title,
        "headers": headers,
        "classes": [_classes(table.columns[place], wide=wide) for place in shown],
        "head": [[texts[place] for place in shown] for texts in head],
        "tail": [[texts[place] for place in shown] for texts in tail],
        "left_out": len(table.rows) - len(head) - len(tail) if tail else 0,
    }


def _classes(column: Column, *, wide: bool) -> str:
    """How its cells are set: numbers to the right; of a wide table only what is brief is printed."""
    return " ".join((*(("number",) if column.form else ()), *(("more",) if wide and not column.brief else ())))


def _day(texts: Sequence[str]) -> str | None:
    """The day of all of these times, if that is what they are, in UTC, and of one day."""
    times = [text for text in texts if text not in ("", NONE)]
    days = {found[1] if (found := _TIME.fullmatch(text)) is not None else "" for text in times}
    return days.pop() if len(days) == 1 and "" not in days else None


def _time_of_day(text: str) -> str:
    found = _TIME.fullmatch(text)
    return found[2] if found is not None else text


def _picture(made: Drawn) -> dict[str, str]:
    content = base64.b64encode(made.content).decode("ascii")
    return {"title": made.picture.title, "words": made.words, "source": f"data:{_MEDIA[made.kind]};base64,{content}"}
