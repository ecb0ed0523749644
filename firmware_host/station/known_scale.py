"""What is known of a controller's steps-per-unit beyond the three decimals it prints, because we wrote it.

A note is kept for each port: the settings as read back after writing. It holds as long as the controller still prints
exactly these; any change makes it void.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

import platformdirs

from firmware_host.controller.settings import ControllerSettings
from firmware_host.durable import write_whole
from firmware_host.errors import UnreadableFileError


def state_folder() -> Path:
    """Where notes on controllers are kept for this user."""
    return Path(platformdirs.user_state_dir("circumstep", appauthor=False)) / "controllers"


class KnownScales:
    """The notes in one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def remember(self, url: str, settings: ControllerSettings) -> None:
        """Note that these settings were written and read back, steps-per-unit with at most three decimals.

        Raises `UnreadableFileError` when the note can't be kept.
        """
        note = {"url": url, "settings": _digest(settings.raw), "steps_per_unit": settings.steps_per_unit.text}
        path = self._path(url, settings.axis)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            write_whole(path, json.dumps(note) + "\n")
        except OSError as error:
            raise UnreadableFileError(f"the note cannot be kept ({error.strerror})", source=str(path)) from error

    def recall(self, url: str, settings: ControllerSettings) -> Fraction | None:
        """The exact steps-per-unit, if it was written by us and nothing has changed since; else None."""
        try:
            note = json.loads(self._path(url, settings.axis).read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return None
        if not isinstance(note, dict) or note.get("url") != url or note.get("settings") != _digest(settings.raw):
            return None
        return Fraction(settings.steps_per_unit.text)

    def _path(self, url: str, axis: str) -> Path:
        return self._folder / f"{hashlib.sha256(f'{url} {axis}'.encode()).hexdigest()[:24]}.json"


def _digest(raw: Mapping[str, str]) -> str:
    return hashlib.sha256(json.dumps(sorted(raw.items())).encode()).hexdigest()
