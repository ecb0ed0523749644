"""In a notebook plans, limits and records display themselves: IPython knows them by name, so nothing is loaded."""

from __future__ import annotations

import sys
from typing import Any

SHOWN_TYPES = (
    ("firmware_host.planning.plan", "JobPlan"),
    ("firmware_host.planning.limit_report", "LimitReport"),
    ("firmware_host.station.journal.record", "RunRecord"),
)
"""Module and name of each type that a notebook displays as `show` does."""


def load_ipython_extension(shell: Any) -> None:
    """Let plans, limits and records display themselves in a notebook, each with the picture that fits.

    `%load_ext firmware_host` calls it; with the first public name that a notebook imports it is done already. `shell`:
    the notebook's, an `InteractiveShell` of IPython. A way of display that somebody else gave one of them stays.
    """
    formatter = shell.display_formatter.formatters["text/html"]
    for module, name in SHOWN_TYPES:
        if formatter.for_type_by_name(module, name) is None:
            formatter.for_type_by_name(module, name, _html)


def join_notebook() -> None:
    """As `load_ipython_extension`, where this runs in a notebook; elsewhere nothing. IPython itself is not imported."""
    ask = getattr(sys.modules.get("IPython"), "get_ipython", None)
    shell = ask() if ask is not None else None
    if shell is not None:
        load_ipython_extension(shell)


def _html(what: Any) -> str:
    from firmware_host.reporting.report.notebook import show  # only where it is displayed

    return show(what)._repr_html_()
