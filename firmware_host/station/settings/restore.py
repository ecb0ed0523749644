"""Bringing back the settings that a backup holds: it knows its machine, its dialect and its port."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from firmware_host.acts import FindControllers, RestoreSettings
from firmware_host.controller.controller import Controller
from firmware_host.controller.finding import list_devices
from firmware_host.controller.settings.backup import SettingsBackup, load_backup
from firmware_host.controller.stored_settings import ControllerSettings, decimal_text
from firmware_host.errors import InputError, NotRestoredError, PortUnavailableError, UnreadableFileError
from firmware_host.model import Machine
from firmware_host.model.files.files import validate
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.settings.write import stoppable
from firmware_host.system.ports import device_key, port_key


@dataclass(frozen=True)
class KeptSettings:
    """A backup and what it needs to be restored: the machine, the file or profile it was read from, and the port."""

    path: Path
    machine: Machine
    source: str
    url: str


def kept_settings(path: Path, *, machine: Machine | None = None, source: str = "", port: str = "") -> KeptSettings:
    """What the backup at `path` needs; `machine` (read from `source`) and `port` win over what it says of itself.

    Nothing is opened. Raises `InputError` for an older backup, which doesn't say its machine, if none is given, and for
    a machine of another dialect; `PortUnavailableError` where its board is at another port now, or none is named.
    """
    saved = load_backup(path)
    if machine is None:
        described = saved.machine.get("described")
        if not isinstance(described, dict):
            problem = "does not say of which machine it is: an older program made it"
            raise InputError(problem, "Name the machine", source=str(path), key="machine")
        machine, source = validate(Machine, described, source=str(path)), str(saved.machine.get("source", ""))
    if machine.link.dialect != saved.dialect:
        problem = f"was made with dialect {saved.dialect!r}, and the machine speaks {machine.link.dialect!r}"
        raise InputError(problem, "Name the machine that it is of", source=str(path), key="machine")
    if not port:
        _require_same_board(path, saved)
    return KeptSettings(path, machine, source, port or saved.url)


def _require_same_board(path: Path, saved: SettingsBackup) -> None:
    """Raise `PortUnavailableError` if the board of the backup, known by its number, is not at its port now."""
    if not saved.port or saved.port == device_key(saved.url) or saved.port == port_key(saved.url):
        return
    now = next((device.url for device in list_devices() if port_key(device.url) == saved.port), "")
    if now:
        detail = f"the controller of the backup is at {now} now"
        raise PortUnavailableError(saved.url, detail, acts=(RestoreSettings(str(path), now),))
    raise port_gone(PortUnavailableError(saved.url, "the controller of the backup is not there"), path)


def port_gone(error: PortUnavailableError, path: Path) -> PortUnavailableError:
    """`error` with what can be done: look where the controller is now, and restore from there."""
    detail = f"{error.detail}. If it is at another port now, name that"
    return PortUnavailableError(error.url, detail, acts=(FindControllers(), RestoreSettings(str(path), "PORT")))


def restore_kept(controller: Controller, backup: Path, scales: KnownScales) -> ControllerSettings:
    """Bring back the settings of a backup, and remember the steps-per-unit where that wrote it.

    Raises as `Controller.restore_settings`; a stop finishes the setting that is being stored: `StoppedError`.
    """
    try:
        with stoppable("restoring settings", controller, backup):
            settings = controller.restore_settings(backup)
    except NotRestoredError:
        _remember(controller, scales)
        raise
    _remember(controller, scales)
    return settings


def _remember(controller: Controller, scales: KnownScales) -> None:
    number = controller.settings.stored_steps_per_unit
    if number is not None and number.is_exact:
        scales.remember(controller.url, controller.settings, written=decimal_text(number.value))


def newest_backup(folder: Path, url: str) -> Path:
    """The last file that `backup_path` named in `folder` for the controller at `url`. `InputError` if there is none."""
    key = port_key(url)
    kept: list[tuple[str, float, Path]] = []
    for path in folder.glob("*.json"):
        try:
            backup = load_backup(path)
        except UnreadableFileError:
            continue
        if (backup.port or port_key(backup.url)) == key:
            kept.append((backup.saved_at, path.stat().st_mtime, path))
    if not kept:
        raise InputError(f"contains no settings of {url}", "Name the backup file", source=str(folder))
    return max(kept)[2]
