"""Changing stored settings: only at a standstill, old values saved first, each read back, and undone if that fails."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

from firmware_host.acts import RestoreSettings
from firmware_host.controller.axis import Axis
from firmware_host.controller.reply import AxisState
from firmware_host.controller.settings.backup import SettingsBackup, save_backup
from firmware_host.controller.settings.storing import (
    begin,
    bring_into_force,
    keep,
    put_back,
    read,
    require_scale,
    rescaling_among,
    send_setting,
    storing,
)
from firmware_host.controller.stored_settings import ControllerSettings, SettingsLeft, decimal_text
from firmware_host.errors import ControllerResetError, FirmwareHostError, InputError, SettingsMismatchError

_NOT_TAKEN = "see the controller's own documentation for what it takes"


def write_settings(
    axis: Axis,
    changes: Mapping[str, str],
    backup: Path,
    known: Fraction | None = None,
    machine: Mapping[str, Any] | None = None,
    announce: Callable[[Path], None] = lambda backup: None,
) -> ControllerSettings:
    """Store `changes` (key -> text with at most three decimals) and return the settings as read back.

    Everything that can be refused is refused before a byte goes out: unknown keys and texts (InputError), an axis that
    doesn't stand still (StandstillError), a backup that can't be written. If steps-per-unit is among the changes, moves
    are refused from before the first write until its consequences have been undone: on some controllers the first move
    after such a change runs wild, on others the position becomes another one, so there it is refused (StandstillError)
    unless the axis stands at zero. `known`: steps-per-unit as stored now, if known with more decimals than are printed;
    the backup keeps it, and `machine`, whatever that is. `announce` is told of the backup before the first write.

    Raises SettingsMismatchError if a value reads back as another. Whatever error breaks it off, what was written is
    undone as far as the controller can be reached; a note of the error, and `axis.left`, tell what is in force and what
    is stored then, and its acts how to bring the old settings back, if any may be another.
    """
    for key, text in changes.items():
        require_scale(axis, key, text)
    lines = {key: axis.setting_line(key, text) for key, text in changes.items()}
    left, saved = begin(axis), None
    try:
        saved = _saved(axis, changes, left, known, machine)
        save_backup(backup, saved)
        announce(backup)
        return _store(axis, lines, changes, left)
    except FirmwareHostError as error:
        if saved is not None:
            _undo(axis, saved, left, error)
        elif isinstance(error, ControllerResetError):
            left.loads()
        error.add_note(str(left))
        if left.sent and left.changed:
            error.acts = (RestoreSettings(str(backup)),)
        raise


def _saved(
    axis: Axis,
    changes: Mapping[str, str],
    left: SettingsLeft,
    known: Fraction | None,
    machine: Mapping[str, Any] | None,
) -> SettingsBackup:
    """All that the backup is to keep, once nothing speaks against the changes."""
    axis.standing(allow=frozenset({AxisState.READY, AxisState.LOCKED}))
    stored = axis.read_settings()
    own_key = stored.names.steps_per_unit
    _check_keys(stored, changes)
    if rescaling := rescaling_among(axis, changes):
        axis.require_rescalable(rescaling)
    bring_into_force(axis, left)
    saved_at = axis.clock.now().isoformat(timespec="seconds")
    known = known if known is not None else axis.known
    in_full = {} if known is None or own_key not in stored.raw else {own_key: decimal_text(known)}
    url = axis.sender.port.url
    return SettingsBackup(axis.dialect.name, url, saved_at, stored.raw, in_full, machine=machine or {})


def _check_keys(stored: ControllerSettings, changes: Mapping[str, str]) -> None:
    unknown = sorted(changes.keys() - stored.raw.keys())
    if unknown:
        raise InputError(f"the controller has no setting {', '.join(unknown)}", "Write only settings that it prints")


def _store(
    axis: Axis, lines: Mapping[str, bytes], changes: Mapping[str, str], left: SettingsLeft
) -> ControllerSettings:
    with storing(axis, changes, lambda key: send_setting(axis, left, key, changes[key], lines[key])) as rescaling:
        return _read_back(axis, changes, rescaling, left)


def _read_back(axis: Axis, changes: Mapping[str, str], rescaling: list[str], left: SettingsLeft) -> ControllerSettings:
    own = axis.settings.names.steps_per_unit
    if axis.lists_stored:
        keep(axis, left)
    stored = read(axis, left)
    wrong = [
        f"{key}: wrote {text}, reads {stored.raw.get(key)}"
        for key, text in changes.items()
        if key not in stored.raw or not axis.reads_back(stored, key, text)
    ]
    if wrong:
        raise SettingsMismatchError(tuple(wrong), _NOT_TAKEN)
    if own in changes:
        axis.known = Fraction(changes[own])
        stored = axis.read_settings()
    if rescaling:
        axis.after_rescale(rescaling)
    if not axis.lists_stored:
        keep(axis, left)
    return stored


def _undo(axis: Axis, saved: SettingsBackup, left: SettingsLeft, error: FirmwareHostError) -> None:
    """Write again what was there before `error`, wherever it may be another now, and read it back.

    What keeps that from being done is noted on `error`.
    """
    if isinstance(error, ControllerResetError):
        left.loads()
    if not left.sent:
        return
    try:
        with axis.sender.carrying_through():
            _write_again(axis, saved, left)
    except FirmwareHostError as further:
        if isinstance(further, ControllerResetError):
            left.loads()
        error.add_note(f"and while undoing it: {further}")


def _write_again(axis: Axis, saved: SettingsBackup, left: SettingsLeft) -> None:
    if axis.sender.out_of_step:
        axis.sender.resynchronise()
    axis.status()
    axis.standing(allow=frozenset({AxisState.READY, AxisState.LOCKED}))
    store_again = left.storing_changed
    listed = put_back(axis, saved, tuple(left.sent), left, {}).raw
    # A damaged line may have been taken as another setting's.
    if others := [key for key, text in saved.settings.items() if key not in left.sent and listed.get(key) != text]:
        left.sent.update(others)
        put_back(axis, saved, others, left, {})
    if store_again and not axis.lists_stored:
        keep(axis, left)
        read(axis, left)
