"""A report as PDF: printed by a browser that is installed, or where there is none by WeasyPrint."""

from __future__ import annotations

import importlib
import tempfile
from collections.abc import Iterable
from pathlib import Path
from types import ModuleType
from typing import Final

from firmware_host.clock import Clock
from firmware_host.errors import InputError
from firmware_host.system.processes import Program, installed_browsers, printing_command

PATIENCE_S: Final = 120.0
"""So long a browser may take to print."""
_LOOK_S = 0.05
_END_S = 2.0
_FIX = (
    "Install Chromium, Chrome or Edge, or run pip install weasyprint; or write a .html and print that from any browser"
)


def report_pdf(page: str, clock: Clock, browsers: Iterable[str] | None = None) -> bytes:
    """The page of a report as a PDF file, on the paper that the page says.

    `browsers`: programs to try, one after the other; left out, those installed here. Raises `InputError` where neither
    a browser nor WeasyPrint is here, or none of them prints.
    """
    failed = []
    for browser in installed_browsers() if browsers is None else browsers:
        printed = _printed(browser, page, clock)
        if printed is not None:
            return printed
        failed.append(browser)
    library = _library()
    if library is not None:
        return _laid_out(library, page)
    problem = f"no PDF was printed by {', '.join(failed)}" if failed else "nothing is installed here that prints a PDF"
    raise InputError(problem, _FIX, key="--output")


def _printed(browser: str, page: str, clock: Clock) -> bytes | None:
    """What the browser printed; None where it did not start, did not end in time, or left no whole PDF."""
    with tempfile.TemporaryDirectory(prefix="circumstep-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        source, pdf, own = folder / "report.html", folder / "report.pdf", folder / "browser"
        source.write_text(page, encoding="utf-8")
        own.mkdir()
        try:
            program = Program(printing_command(browser, source, pdf, own), {}, quiet=True)
        except OSError:
            return None
        try:
            give_up_s = clock.monotonic() + PATIENCE_S
            while program.status() is None and clock.monotonic() < give_up_s:
                clock.sleep(_LOOK_S)
            ended = program.status()
        finally:
            program.end(_END_S)
        content = pdf.read_bytes() if ended == 0 and pdf.is_file() else b""
        return content if content.startswith(b"%PDF-") and b"%%EOF" in content[-1024:] else None


def _library() -> ModuleType | None:
    try:
        return importlib.import_module("weasyprint")
    except (ImportError, OSError):  # it is not installed; or what it stands on, Pango, is not
        return None


def _laid_out(library: ModuleType, page: str) -> bytes:
    content: bytes = library.HTML(string=page).write_pdf()
    return content
