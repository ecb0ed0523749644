"""Documents as text, and as a page made by a renderer of a few lines."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from html import escape, unescape
from html.parser import HTMLParser
from typing import Any

from rich.console import Console

from firmware_host.model import Setup, load_job
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.reporting.document import Advice, Document, Figure, Node, Notes, Row, Section, Table, Value
from firmware_host.reporting.measures import Units
from firmware_host.reporting.render.json import json_document
from firmware_host.reporting.render.short import Tell
from firmware_host.reporting.render.terminal import terminal_parts
from firmware_host.reporting.render.text import row_texts, text_of, value_of

JOBS = ("bottle-band", "heavy-shaft", "shaft-scale", "sleeve-label", "tumbler-wrap")


@cache
def shipped(job: str) -> tuple[Setup, JobPlan]:
    """A shipped job and its plan, made once."""
    setup = load_job(job)
    return setup, plan_job(setup)


def printed(document: Document, *, details: bool = False, units: Units = Units.METRIC) -> str:
    """What a wide stream that is no terminal gets, behind the answer with all `details`."""
    console = Console(width=200, file=io.StringIO(), soft_wrap=True, highlight=False, markup=False)
    with console.capture() as capture:
        tell: Tell = lambda acts: [f"do {type(act).__name__}" for act in acts]  # noqa: E731
        for part in terminal_parts(document, tell, details=details, units=units):
            console.print(part)
    return capture.get()


def behind(document: Document) -> str:
    """What stands behind the answer with all details."""
    return printed(replace(document, first=()))


def page(nodes: tuple[Node, ...] | None) -> str:
    """The whole document as HTML, each value beside its text."""
    return "".join(map(_node, nodes or ()))


def _node(node: Node) -> str:
    if isinstance(node, Figure):
        return f"<p>{escape(node.label)}: {_data(node.value, node.text, node.form)} {escape(node.unit)}</p>"
    if isinstance(node, Notes):
        return "".join(f"<p>{_data(line)}</p>" for line in node.lines)
    if isinstance(node, Advice):
        return "".join(f"<button>do {escape(type(act).__name__)}</button>" for act in node.acts)
    return _table(node) if isinstance(node, Table) else f"<h2>{escape(node.title)}</h2>{page(node.nodes)}"


def _table(table: Table) -> str:
    heads = "".join(f"<th>{escape(column.header)}</th>" for column in table.columns)
    rows = "".join(f"<tr>{_row(table, row)}</tr>" for row in table.all_rows)
    return f"<table><caption>{escape(table.title)}</caption><tr>{heads}</tr>{rows}</table>"


def _row(table: Table, row: Row) -> str:
    return "".join(
        f"<td>{_data(value_of(cell), text)}</td>" for cell, text in zip(row, row_texts(table.columns, row), strict=True)
    )


def _data(value: Value, text: str = "", form: str = "") -> str:
    if isinstance(value, Table | Section):
        return _node(value)
    if isinstance(value, tuple):
        return " ".join(_data(each, form=form) for each in value)
    return f'<data value="{escape(str(value))}">{escape(text or text_of(value, form))}</data>'


class _Values(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: set[str] = set()

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.found |= {unescape(value or "") for name, value in attributes if name == "value"}


def values_on_page(document: Document) -> set[str]:
    """All values that stand on the page of a document."""
    reader = _Values()
    reader.feed(page(document.nodes))
    return reader.found


def values_in_json(document: Document) -> set[str]:
    """All values that stand in the JSON of a document; null is none."""
    return set(_leaves(json_document(document)))


def _leaves(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [leaf for each in value.values() for leaf in _leaves(each)]
    if isinstance(value, list):
        return [leaf for each in value for leaf in _leaves(each)]
    return [] if value is None else [str(value)]


def figure(document: Document | Section, key: str) -> Figure:
    """The figure of that key."""
    (found,) = (node for node in document.nodes or () if isinstance(node, Figure) and node.key == key)
    return found


def column_of(table: Table, key: str) -> list[Value]:
    """The values of a column, in the order of the rows."""
    (place,) = (place for place, column in enumerate(table.columns) if column.key == key)
    return [value_of(row[place]) for row in table.rows]


def texts_of(table: Table, label: str) -> list[str]:
    """The texts of a column, by its label."""
    (place,) = (place for place, column in enumerate(table.columns) if column.label == label)
    return [row_texts(table.columns, row)[place] for row in table.all_rows]


def section(document: Document, key: str) -> Section:
    """The section of that key."""
    (found,) = (node for node in document.nodes if isinstance(node, Section) and node.key == key)
    return found
