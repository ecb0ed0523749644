"""A report as one HTML file: nothing is loaded from anywhere, and everything in it is escaped."""

from __future__ import annotations

import base64
from importlib import resources
from itertools import count
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from firmware_host.reporting.document import Advice, Figure, Node, Notes, Section, Table
from firmware_host.reporting.measures import Units
from firmware_host.reporting.pictures.drawn import Drawn
from firmware_host.reporting.render.text import NONE, header_of, row_texts, text_of
from firmware_host.reporting.report.report import Chapter, Report

MOST_ROWS = 200
"""Of a table: of a longer one the beginning and the end are shown, and how many rows are left out between."""
_MEDIA = {".svg": "image/svg+xml", ".png": "image/png"}


def report_page(report: Report, units: Units = Units.METRIC) -> str:
    """The report as HTML. `units`: those of the reader."""
    environment = Environment(
        loader=PackageLoader("firmware_host.reporting.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style = resources.files("firmware_host.reporting.report").joinpath("page.css").read_text(encoding="utf-8")
    chapters = [_chapter(chapter, number, units) for number, chapter in enumerate(report.chapters, 1)]
    return environment.get_template("page.html.jinja").render(
        report=report, chapters=chapters, style=style, table_number=count(1).__next__
    )


def _chapter(chapter: Chapter, number: int, units: Units) -> dict[str, Any]:
    document = chapter.document
    nodes = () if document is None else document.first if chapter.first else document.nodes
    return {
        "id": f"chapter-{number}",
        "title": chapter.title,
        "nodes": [part for node in nodes if (part := _node(node, units)) is not None],
        "pictures": [_picture(each) for each in chapter.pictures],
    }


def _node(node: Node, units: Units) -> dict[str, Any] | None:
    """A node as what the page's template asks for; None where there is nothing to show."""
    if isinstance(node, Notes):
        return {"kind": "notes", "lines": node.lines} if node.lines else None
    if isinstance(node, Advice):
        return None  # commands are for a terminal
    if isinstance(node, Figure):
        text = node.text or f"{text_of(node.value, node.form, node.unit, units)} {units.label(node.unit)}".strip()
        return {"kind": "figure", "label": node.label, "text": text} if node.label else None
    if isinstance(node, Section):
        parts = [part for each in node.nodes or () if (part := _node(each, units)) is not None]
        return {"kind": "section", "title": node.title, "nodes": parts} if parts else None
    return None if node.is_empty else _table(node, units)


def _table(table: Table, units: Units) -> dict[str, Any]:
    head, tail = ([row_texts(table.columns, row, units) for row in rows] for rows in table.ends(MOST_ROWS))
    left_out = len(table.rows) - len(head) - len(tail) if tail else 0
    shown = [
        place
        for place, column in enumerate(table.columns)
        if column.label and not column.below and any(texts[place] not in ("", NONE) for texts in (*head, *tail))
    ]

    def cells(texts: list[str]) -> list[str]:
        return [texts[place] for place in shown]

    return {
        "kind": "table",
        "title": table.title,
        "headers": [header_of(table.columns[place], units) for place in shown],
        "numbers": [bool(table.columns[place].form) for place in shown],
        "head": [cells(texts) for texts in head],
        "tail": [cells(texts) for texts in tail],
        "left_out": left_out,
    }


def _picture(made: Drawn) -> dict[str, str]:
    content = base64.b64encode(made.content).decode("ascii")
    return {"title": made.picture.title, "words": made.words, "source": f"data:{_MEDIA[made.kind]};base64,{content}"}
