"""Bringing back the settings of a backup: in an order that is taken, as they were listed, and told where it fails."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

from firmware_host.controller.axis import Axis
from firmware_host.controller.deadlines import STORE_S
from firmware_host.controller.reply import AxisState
from firmware_host.controller.settings.backup import SettingsBackup, load_backup
from firmware_host.controller.settings.write import rescaling_among, storing
from firmware_host.controller.stored_settings import ControllerSettings
from firmware_host.errors import InputError, LineRejectedError, NotRestoredError, StandstillError

_ROUNDS = 3
"""How often what still differs is written again: one word may be refused because of another that is written later."""


def restore_settings(axis: Axis, backup: Path) -> ControllerSettings:
    """Store again what differs from the backup, and return the settings as listed then; the backup is left as it is.

    Rules and errors as `write_settings`: nothing is sent to an axis that doesn't stand still, or doesn't stand where
    its steps-per-unit may be changed. Texts go back as they were listed, or as the backup keeps them in full; other
    decimals that the controller had stored but doesn't print are gone. In the end the listing is read afresh, and
    NotRestoredError tells each setting whose text is another than before; all others are restored even so. Broken off,
    it is completed by restoring again.
    """
    saved = load_backup(backup)
    if saved.dialect != axis.dialect.name:
        remedy = "Take a backup of this controller."
        raise InputError(f"was made with dialect {saved.dialect!r}", remedy, source=str(backup))
    axis.standing(allow=frozenset({AxisState.READY, AxisState.LOCKED}))
    stored = axis.read_settings()
    refused: dict[str, str] = {}
    due = _due(axis, saved, stored)
    for _ in range(_ROUNDS):
        if not due:
            break
        stored = _write(axis, saved, due, refused)
        left = set(_differing(saved, stored))
        if left == due:
            break
        due = left
    if not axis.lists_stored:
        axis.store()
    if told := _told(saved, stored, refused):
        raise NotRestoredError(str(backup), told)
    return stored


def _differing(saved: SettingsBackup, stored: ControllerSettings) -> list[str]:
    """What the controller lists otherwise than the backup has it; not what it doesn't list at all."""
    return [key for key, text in saved.settings.items() if stored.raw.get(key, text) != text]


def _due(axis: Axis, saved: SettingsBackup, stored: ControllerSettings) -> set[str]:
    """What to write first. Raises StandstillError where a change of steps per unit isn't safe now.

    Where the listing shows what is stored, what is in force may differ from it unseen: all is written that may be.
    """
    due = set(_differing(saved, stored))
    if rescaling := rescaling_among(axis, due):
        axis.require_rescalable(rescaling)
    if axis.lists_stored:
        listed = saved.settings.keys() & stored.raw.keys()
        try:
            axis.require_rescalable(rescaling_among(axis, listed))
        except StandstillError:
            listed -= set(rescaling_among(axis, listed))
        due |= listed
    return due


def _write(axis: Axis, saved: SettingsBackup, keys: set[str], refused: dict[str, str]) -> ControllerSettings:
    """Write `keys` once, a stop being found between two of them, and list afresh; `refused`: which, and why."""
    changes = {key: saved.text(key) for key in saved.settings if key in keys}
    own = axis.settings.names.steps_per_unit
    with storing(axis, changes, lambda key: _write_one(axis, key, changes[key], refused)) as rescaling:
        if axis.lists_stored:
            axis.store()
        stored = axis.read_settings()
        if own in changes and own not in refused and axis.reads_back(stored, own, changes[own]):
            axis.known = Fraction(changes[own])
            stored = axis.read_settings()
        if rescaling:
            axis.after_rescale(rescaling)
        return stored


def _write_one(axis: Axis, key: str, text: str, refused: dict[str, str]) -> None:
    refused.pop(key, None)
    try:
        axis.ask(axis.listed_line(key, text), STORE_S)
    except LineRejectedError as error:
        refused[key] = f"refused ({error.detail})"
    except InputError as error:
        refused[key] = f"not written ({error.problem})"


def _told(saved: SettingsBackup, stored: ControllerSettings, refused: Mapping[str, str]) -> tuple[str, ...]:
    """Each setting that isn't as it was, and why not, as far as that is known."""
    differing = [
        f"{key}: was {saved.settings[key]}, is {stored.raw[key]}, {refused.get(key, 'the controller keeps it')}"
        for key in _differing(saved, stored)
    ]
    unknown = [
        f"{key}: was {saved.settings[key]}, the controller has no such setting"
        for key in saved.settings
        if key not in stored.raw
    ]
    return (*differing, *unknown)
