"""Acts that have to be done while an error is on its way, and must not take its place."""

from __future__ import annotations

from collections.abc import Callable

from firmware_host.errors import FirmwareHostError


def note_failure(error: BaseException, act: Callable[[], object]) -> None:
    """Do `act`; what it raises on purpose is noted on `error`."""
    try:
        act()
    except (FirmwareHostError, OSError) as further:
        error.add_note(f"and while ending the run: {further}")
