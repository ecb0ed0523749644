"""Bringing back the settings of a backup: in an order that is taken, as they were listed, and told where it fails."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

from firmware_host.acts import RestoreSettings
from firmware_host.controller.axis import Axis
from firmware_host.controller.reply import AxisState
from firmware_host.controller.settings.backup import SettingsBackup, load_backup
from firmware_host.controller.settings.storing import begin, bring_into_force, keep, put_back, read, rescaling_among
from firmware_host.controller.stored_settings import WRITTEN_DECIMALS, ControllerSettings, SettingsLeft
from firmware_host.errors import (
    ControllerResetError,
    FirmwareHostError,
    InputError,
    NotRestoredError,
    StandstillError,
)

_ROUNDS = 3
"""How often what still differs is written again: one word may be refused because of another that is written later."""


def restore_settings(axis: Axis, backup: Path) -> ControllerSettings:
    """Store again what differs from the backup, and return the settings as listed then; the backup is left as it is.

    Rules and errors as `write_settings`: nothing is sent to an axis that doesn't stand still, or doesn't stand where
    its steps-per-unit may be changed. Texts go back as they were listed, or as the backup keeps them in full; other
    decimals that the controller had stored but doesn't print are gone. In the end the listing is read afresh, and
    NotRestoredError tells each setting whose text is another than before; all others are restored even so. Broken off,
    it is completed by restoring again; a note of the error, and `axis.left`, tell what is in force and stored then.
    """
    saved = load_backup(backup)
    if saved.dialect != axis.dialect.name:
        remedy = "Take a backup of this controller."
        raise InputError(f"was made with dialect {saved.dialect!r}", remedy, source=str(backup))
    left, refused = begin(axis), dict[str, str]()
    try:
        axis.standing(allow=frozenset({AxisState.READY, AxisState.LOCKED}))
        stored = axis.read_settings()
        bring_into_force(axis, left)
        stored = _put_all_back(axis, saved, _due(axis, saved, stored), left, refused)
    except FirmwareHostError as error:
        if isinstance(error, ControllerResetError):
            left.loads()
        error.add_note(str(left))
        error.acts = (RestoreSettings(str(backup)),)
        raise
    if told := _told(saved, stored, refused):
        raise NotRestoredError(str(backup), told, acts=(RestoreSettings(str(backup)),))
    return stored


def _put_all_back(
    axis: Axis, saved: SettingsBackup, due: set[str], left: SettingsLeft, refused: dict[str, str]
) -> ControllerSettings:
    stored = axis.settings
    for _ in range(_ROUNDS):
        if not due:
            break
        stored = put_back(axis, saved, due, left, refused)
        remaining = set(_differing(saved, stored))
        if remaining == due:
            break
        due = remaining
    if not axis.lists_stored:
        keep(axis, left)
        read(axis, left)
    return stored


def _differing(saved: SettingsBackup, stored: ControllerSettings) -> list[str]:
    """What the controller lists otherwise than the backup has it; not what it doesn't list at all."""
    return [key for key, text in saved.settings.items() if stored.raw.get(key, text) != text]


def _due(axis: Axis, saved: SettingsBackup, stored: ControllerSettings) -> set[str]:
    """What to write first. Raises StandstillError where a change of steps per unit isn't safe now.

    Where the listing shows what is stored, all is written that may be. A scale that is printed as before is written
    again where it is known in full, and is another one than the backup's.
    """
    due = set(_differing(saved, stored))
    own = stored.names.steps_per_unit
    if own in stored.raw and axis.known not in (None, Fraction(saved.text(own))) and own in saved.settings:
        due.add(own)
    elif own in saved.in_full and axis.known is None and _hides_decimals(stored, own):
        due.add(own)
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


def _hides_decimals(stored: ControllerSettings, key: str) -> bool:
    """True if fewer decimals are printed than are written: another value may look the same."""
    return len(stored.raw.get(key, ".000").partition(".")[2]) < WRITTEN_DECIMALS


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
