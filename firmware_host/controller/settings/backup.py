"""A file with the settings a controller had; a crash at any instant leaves a whole file or none."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firmware_host.errors import InputError, UnreadableFileError
from firmware_host.system.files import read_regular, write_whole
from firmware_host.system.parsing import parse_json
from firmware_host.system.ports import port_key

_KIND = "controller-settings"
_VERSION = 1
_DAMAGED = "It is damaged or was changed by hand: name another backup"
_LARGEST = 1 << 20
"""Bytes; a backup of a few hundred settings has some ten thousand."""


@dataclass(frozen=True)
class SettingsBackup:
    """Settings as printed (key -> text), of which dialect, on which port, and when (ISO 8601, UTC).

    `in_full` holds those that are known with more decimals than are printed. `port` is the `port_key` of the time, by
    which it is found again; empty in a file of an earlier version. `machine` is kept for whoever made the backup.
    """

    dialect: str
    url: str
    saved_at: str
    settings: Mapping[str, str]
    in_full: Mapping[str, str] = field(default_factory=dict)
    port: str = field(default="", compare=False)
    machine: Mapping[str, Any] = field(default_factory=dict)

    def text(self, key: str) -> str:
        """What to write to bring back this setting."""
        return self.in_full.get(key, self.settings[key])


def save_backup(path: Path, backup: SettingsBackup) -> None:
    """Write `backup` to `path`: temporary file, flushed to the disk, put in place, folder flushed.

    An existing file is never overwritten (InputError): it may be the only record of older values. OSError becomes
    UnreadableFileError.
    """
    if path.exists():
        remedy = "Choose another name; the old one is kept."
        raise InputError("a backup of this name exists already", remedy, source=str(path))
    document = {
        "kind": _KIND,
        "version": _VERSION,
        "dialect": backup.dialect,
        "url": backup.url,
        "port": backup.port or port_key(backup.url),
        "saved_at": backup.saved_at,
        "settings": dict(backup.settings),
        "in_full": dict(backup.in_full),
        "machine": dict(backup.machine),
    }
    try:
        write_whole(path, json.dumps(document, indent=2, ensure_ascii=True) + "\n")
    except OSError as error:
        remedy = "See the room and the rights in that folder, and do it again"
        raise UnreadableFileError(f"the backup cannot be written: {error}", remedy, source=str(path)) from error


def load_backup(path: Path) -> SettingsBackup:
    """Read a backup. Raises UnreadableFileError if it is missing or isn't one."""
    document: Any = parse_json(read_regular(path, _LARGEST), str(path))
    if not isinstance(document, dict) or document.get("kind") != _KIND or document.get("version") != _VERSION:
        what = f"is not a {_KIND} file of version {_VERSION}"
        raise UnreadableFileError(what, "Name the backup's file", source=str(path))
    settings, in_full, machine = document.get("settings"), document.get("in_full", {}), document.get("machine", {})
    texts = [*(document.get(key) for key in ("dialect", "url", "saved_at")), document.get("port", "")]
    if not isinstance(settings, dict) or not isinstance(in_full, dict) or not in_full.keys() <= settings.keys():
        raise UnreadableFileError("contains no settings", _DAMAGED, source=str(path))
    if not all(isinstance(text, str) for text in [*settings.values(), *in_full.values(), *texts]):
        raise UnreadableFileError("its settings are not texts", _DAMAGED, source=str(path))
    if not isinstance(machine, dict):
        raise UnreadableFileError("its machine is no table", _DAMAGED, source=str(path))
    port = document.get("port", "")
    return SettingsBackup(document["dialect"], document["url"], document["saved_at"], settings, in_full, port, machine)
