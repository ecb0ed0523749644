"""Documents on standard output: the answer first for people, in their units; JSON for programs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from firmware_host.cli.screen import output
from firmware_host.reporting.document import Document, Notes
from firmware_host.reporting.measures import Units
from firmware_host.reporting.render.short import Whole, short_parts

if TYPE_CHECKING:
    from firmware_host.acts import Act


def show(
    document: Document,
    *,
    json: bool = False,
    remarks: Sequence[str] = (),
    details: bool = False,
    units: Units = Units.METRIC,
    more: str = "",
) -> None:
    """Print what comes first, with the commands for what can be done, or all of it as one JSON document.

    `remarks`: what is hardly ever so in the files of a job, for JSON if there is any; people have read it on standard
    error. `details`: behind the answer every table; `more`: without it the last line, which options show more. No line
    is wider than the terminal, or 80 columns where there is none, but a command: that is to be copied in one piece.
    """
    if json:
        from firmware_host.reporting.render.json import json_document

        told = (Notes(tuple(remarks), "remarks"),) if remarks else ()
        output.document(json_document(replace(document, nodes=(*told, *document.nodes))))
        return
    for part in short_parts(document, _advice_lines, details=details, units=units):
        if isinstance(part, Whole):
            output.lines([part])
        elif isinstance(part, str):
            output.sentence(part)
        else:
            output.grid(part)
    if more and not details:
        output.sentence(more)


def _advice_lines(todo: Iterable[Act]) -> list[str]:
    from firmware_host.cli.screen.advice import advice_lines  # few documents have any

    return advice_lines(todo)
