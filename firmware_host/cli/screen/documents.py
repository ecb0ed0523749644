"""Documents on standard output: the short form for people, JSON for programs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from firmware_host.cli.screen import output
from firmware_host.reporting.document import Document, Notes
from firmware_host.reporting.render.short import short_parts

if TYPE_CHECKING:
    from firmware_host.acts import Act


def show(document: Document, *, json: bool = False, remarks: Sequence[str] = ()) -> None:
    """Print the short form with the commands for what can be done, or all of it as one JSON document.

    `remarks`: what is hardly ever so in the files of a job, for JSON if there is any; people have read it on standard
    error.
    """
    if json:
        from firmware_host.reporting.render.json import json_document

        told = (Notes(tuple(remarks), "remarks"),) if remarks else ()
        output.document(json_document(replace(document, nodes=(*told, *document.nodes))))
        return
    for part in short_parts(document, _advice_lines):
        if isinstance(part, str):
            output.lines([part])
        else:
            output.grid(part)


def _advice_lines(todo: Iterable[Act]) -> list[str]:
    from firmware_host.cli.screen.advice import advice_lines  # few documents have any

    return advice_lines(todo)
