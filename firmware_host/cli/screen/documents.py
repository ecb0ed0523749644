"""Documents on standard output: the short form for people, JSON for programs."""

from __future__ import annotations

from firmware_host.cli.screen import output
from firmware_host.cli.screen.advice import advice_lines
from firmware_host.reporting.document import Document
from firmware_host.reporting.render.json import json_document
from firmware_host.reporting.render.short import short_parts


def show(document: Document, *, json: bool = False) -> None:
    """Print the short form with the commands for what can be done, or all of it as one JSON document."""
    if json:
        output.document(json_document(document))
        return
    for part in short_parts(document, advice_lines):
        if isinstance(part, str):
            output.lines([part])
        else:
            output.grid(part)
