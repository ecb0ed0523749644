"""Changing stored settings: only at a standstill, old values saved first, each read back, and no wild move after it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from firmware_host.acts import RestoreSettings
from firmware_host.controller.axis import Axis
from firmware_host.controller.deadlines import STORE_S
from firmware_host.controller.reply import AxisState
from firmware_host.controller.settings.backup import SettingsBackup, save_backup
from firmware_host.controller.stored_settings import ControllerSettings, decimal_text
from firmware_host.errors import InputError, LineRejectedError, SettingsMismatchError

_BACK = "bring the old settings back"


def write_settings(
    axis: Axis,
    changes: Mapping[str, str],
    backup: Path,
    known: Fraction | None = None,
    machine: Mapping[str, Any] | None = None,
) -> ControllerSettings:
    """Store `changes` (key -> text with at most three decimals) and return the settings as read back.

    Everything that can be refused is refused before a byte goes out: unknown keys and texts (InputError), an axis that
    doesn't stand still (StandstillError), a backup that can't be written. If steps-per-unit is among the changes, moves
    are refused from before the first write until its consequences have been undone: on some controllers the first move
    after such a change runs wild, on others the position becomes another one, so there it is refused (StandstillError)
    unless the axis stands at zero. `known`: steps-per-unit as stored now, if known with more decimals than are printed;
    the backup keeps it, and `machine`, whatever that is. Raises SettingsMismatchError if a value reads back as another.
    """
    lines = _lines(axis, changes)
    axis.standing(allow=frozenset({AxisState.READY, AxisState.LOCKED}))
    stored = axis.read_settings()
    own_key = stored.names.steps_per_unit
    _check_keys(stored, changes)
    if rescaling := rescaling_among(axis, changes):
        axis.require_rescalable(rescaling)
    saved_at = axis.clock.now().isoformat(timespec="seconds")
    known = known if known is not None else axis.known
    in_full = {} if known is None or own_key not in stored.raw else {own_key: decimal_text(known)}
    url = axis.sender.port.url
    kept = SettingsBackup(axis.dialect.name, url, saved_at, stored.raw, in_full, machine=machine or {})
    save_backup(backup, kept)
    return _store(axis, lines, changes, backup)


def _lines(axis: Axis, changes: Mapping[str, str]) -> dict[str, bytes]:
    """The line for each key."""
    return {key: axis.setting_line(key, text) for key, text in changes.items()}


def _check_keys(stored: ControllerSettings, changes: Mapping[str, str]) -> None:
    unknown = sorted(changes.keys() - stored.raw.keys())
    if unknown:
        raise InputError(f"the controller has no setting {', '.join(unknown)}", "Write only settings that it prints")


def rescaling_among(axis: Axis, keys: Iterable[str]) -> list[str]:
    """Those of `keys` that change steps per unit, of whichever axis."""
    return [key for key in keys if axis.dialect.rescales(key)]


@contextmanager
def storing(axis: Axis, changes: Mapping[str, str], store_one: Callable[[str], None]) -> Iterator[list[str]]:
    """Store each key of `changes` by `store_one`, in the order that is taken; inside, what was stored can be read back.

    Those that change steps per unit come last, so that what undoes their consequences follows them at once.
    A stop is found between two words, and after steps per unit were changed, once their consequences are undone: that
    is for whoever is inside, who gets the keys that change them.
    """
    order = axis.dialect.storing_order(changes)
    rescaling = rescaling_among(axis, order)
    axis.standstill = None
    if rescaling:
        axis.before_rescale(rescaling)
    if axis.settings.names.steps_per_unit in order:
        axis.known = None
    with ExitStack() as to_the_end:
        for key in order:
            axis.sender.listen(0.0)
            if key in rescaling:
                to_the_end.enter_context(axis.sender.carrying_through())
            with axis.sender.carrying_through():
                store_one(key)
        yield rescaling


def _store(axis: Axis, lines: Mapping[str, bytes], changes: Mapping[str, str], backup: Path) -> ControllerSettings:
    with storing(axis, changes, lambda key: _store_one(axis, lines[key], backup)) as rescaling:
        return _read_back(axis, changes, rescaling, backup)


def _store_one(axis: Axis, line: bytes, backup: Path) -> None:
    try:
        axis.ask(line, STORE_S)
    except LineRejectedError as error:
        raise replace(error, acts=(RestoreSettings(str(backup)),)) from error  # others were stored before it


def _read_back(axis: Axis, changes: Mapping[str, str], rescaling: list[str], backup: Path) -> ControllerSettings:
    own = axis.settings.names.steps_per_unit
    if axis.lists_stored:
        axis.store()
    stored = axis.read_settings()
    wrong = [
        f"{key}: wrote {text}, reads {stored.raw.get(key)}"
        for key, text in changes.items()
        if key not in stored.raw or not axis.reads_back(stored, key, text)
    ]
    if wrong:
        raise SettingsMismatchError(tuple(wrong), _BACK, acts=(RestoreSettings(str(backup)),))
    if own in changes:
        axis.known = Fraction(changes[own])
        stored = axis.read_settings()
    if rescaling:
        axis.after_rescale(rescaling)
    if not axis.lists_stored:
        axis.store()
    return stored
