"""What is known of a controller beyond what it tells: its exact steps-per-unit, and which run was the last one at it.

Controllers print few decimals of their steps-per-unit; we know them all where we wrote it. A note is kept for each
port, however it is spelt: the settings as read back after writing. It holds as long as the controller still prints
exactly these; any change makes it void. Another note names the folder of the last run that set its zero there, and a
third one is of the hand that turned the axis after it.
"""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import json
import re
from collections.abc import Iterator, Mapping
from fractions import Fraction
from pathlib import Path

from firmware_host.controller.stored_settings import ControllerSettings
from firmware_host.errors import InputError, JournalError, UnreadableFileError
from firmware_host.folders import kept_folder
from firmware_host.system.files import read_regular, write_whole
from firmware_host.system.ports import device_key, port_key

_LARGEST_NOTE = 1 << 16
_MOST_NOTES = 1000
_RUN = "-run"
_HAND = "-hand"
_DECIMAL = re.compile(r"\d{1,9}(?:\.\d{1,3})?", re.ASCII)


def state_folder() -> Path:
    """Where notes on controllers are kept for this user."""
    return kept_folder("controllers")


class KnownScales:
    """The notes in one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def remember(self, url: str, settings: ControllerSettings, *, written: str | None = None) -> None:
        """Note that these settings were written and read back, steps-per-unit with at most three decimals.

        `written` is the text of steps-per-unit that was written, now or before; None: just what is printed.
        No note is kept for a controller that doesn't print it, because it could not be read back.
        Raises `UnreadableFileError` when the note can't be kept.
        """
        if settings.stored_steps_per_unit is None:
            return
        text = settings.steps_per_unit.text if written is None else written
        note = {"url": url, "settings": _digest(settings.raw), "steps_per_unit": text}
        self._keep(url, settings.axis, "", note)

    def recall(self, url: str, settings: ControllerSettings) -> Fraction | None:
        """The exact steps-per-unit, if it was written by us and nothing has changed since; else None."""
        note = self._note(url, settings.axis, "")
        if note.get("settings") != _digest(settings.raw):
            return None
        return _exact(note.get("steps_per_unit"), settings)

    def remember_run(self, url: str, axis: str, folder: Path) -> None:
        """Note that the run in `folder` is the last one that set the zero of this axis at this port.

        What a hand left there is forgotten. Raises `JournalError` when the note can't be kept.
        """
        with _journalled():
            self._keep(url, axis, _RUN, {"url": url, "run": str(folder.absolute())})
            if self.hand(url, axis) is not None:
                self._keep(url, axis, _HAND, {"url": url, "hand": None})

    def last_run(self, url: str, axis: str) -> Path | None:
        """The folder of the last run that set the zero of this axis at this port; None if none is known."""
        found = self._note(url, axis, _RUN).get("run")
        return Path(found) if isinstance(found, str) else None

    def remember_hand(self, url: str, axis: str, note: Mapping[str, object]) -> None:
        """Note what a hand leaves at this axis of this port. Raises `JournalError` when the note can't be kept."""
        with _journalled():
            self._keep(url, axis, _HAND, {"url": url, "hand": note})

    def hand(self, url: str, axis: str) -> Mapping[str, object] | None:
        """What a hand has left at this axis of this port since the last run that set a zero there; None if none has."""
        found = self._note(url, axis, _HAND).get("hand")
        return found if isinstance(found, dict) else None

    def _keep(self, url: str, axis: str, kind: str, note: Mapping[str, object]) -> None:
        key = port_key(url)
        path = self._path(key, axis, kind)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            write_whole(path, json.dumps({**note, "port": key}) + "\n")
        except OSError as error:
            remedy = "See the room and the rights in that folder"
            problem = f"the note cannot be kept ({error.strerror})"
            raise UnreadableFileError(problem, remedy, source=str(path)) from error

    def _note(self, url: str, axis: str, kind: str) -> Mapping[str, object]:
        """The note on this port; empty if there is none, or none that can be read.

        One that an earlier version kept under the port's name as it was typed is found as well, the newest of them.
        """
        key = port_key(url)
        note = _read_note(self._path(key, axis, kind))
        if note.get("port") == key:
            return note
        older = [note for note in map(_read_note, self._older(url, axis, kind)) if "port" not in note]
        return next(iter(older), {})

    def _older(self, url: str, axis: str, kind: str) -> list[Path]:
        """Files of earlier versions for this port, the newest first."""
        device = device_key(url)
        found = []
        for path in itertools.islice(self._folder.glob(f"*{kind}.json"), _MOST_NOTES):
            typed = _read_note(path).get("url")
            if isinstance(typed, str) and device_key(typed) == device and path == self._path(typed, axis, kind):
                with contextlib.suppress(OSError):  # taken away meanwhile
                    found.append((path.stat().st_mtime, path))
        return [path for _, path in sorted(found, reverse=True)]

    def _path(self, key: str, axis: str, kind: str) -> Path:
        return self._folder / f"{hashlib.sha256(f'{key} {axis}'.encode()).hexdigest()[:24]}{kind}.json"


@contextlib.contextmanager
def _journalled() -> Iterator[None]:
    """Inside, a note that can't be kept is as bad as a journal that can't be written."""
    try:
        yield
    except UnreadableFileError as error:
        raise JournalError(error.source, error.problem) from error


def _read_note(path: Path) -> Mapping[str, object]:
    """A note; empty if there is none, or none that can be read."""
    try:
        note = json.loads(read_regular(path, _LARGEST_NOTE, links=False))
    except (InputError, ValueError, RecursionError):
        return {}
    return note if isinstance(note, dict) else {}


def _exact(text: object, settings: ControllerSettings) -> Fraction | None:
    """The number that the note holds, if the controller may print it as it does: some print fewer decimals."""
    if not isinstance(text, str) or not _DECIMAL.fullmatch(text) or settings.stored_steps_per_unit is None:
        return None
    exact = Fraction(text)
    return exact if settings.stored_steps_per_unit.may_be(exact) else None


def _digest(raw: Mapping[str, str]) -> str:
    return hashlib.sha256(json.dumps(sorted(raw.items())).encode()).hexdigest()
