"""Changing stored settings: only at rest, old values saved first, one by one, read back, and no wild move after it."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Mapping
from fractions import Fraction
from pathlib import Path

from firmware_host.controller.reply import AxisState
from firmware_host.controller.session import STORE_S, AxisSession
from firmware_host.controller.settings.backup import SettingsBackup, load_backup, save_backup
from firmware_host.controller.stored_settings import ControllerSettings, decimal_text
from firmware_host.errors import InputError, SettingsMismatchError


def write_settings(
    session: AxisSession, changes: Mapping[str, str], backup: Path, known: Fraction | None = None
) -> ControllerSettings:
    """Store `changes` (key -> text with at most three decimals) and return the settings as read back.

    Everything that can be refused is refused before a byte goes out: unknown keys and texts (InputError), an axis that
    doesn't stand still (StandstillError), a backup that can't be written. If steps-per-unit is among the changes, moves
    are refused from before the first write until its consequences have been undone: on some controllers the first move
    after such a change runs wild, on others the position becomes another one, so there it is refused (StandstillError)
    unless the axis stands at zero. `known`: steps-per-unit as held now, if known with more decimals than are printed;
    the backup keeps it. Raises SettingsMismatchError if a value reads back differently.
    """
    lines = _lines(session, changes)
    session.standing(allow=frozenset({AxisState.READY, AxisState.LOCKED}))
    held = session.read_settings()
    own_key = held.names.steps_per_unit
    _check_keys(held, changes)
    _check_rescaling(session, changes)
    saved_at = session.clock.now().isoformat(timespec="seconds")
    known = known if known is not None else session.known
    in_full = {} if known is None or own_key not in held.raw else {own_key: decimal_text(known)}
    save_backup(backup, SettingsBackup(session.dialect.name, session.sender.port.url, saved_at, held.raw, in_full))
    return _store(session, lines, changes, _way_back(backup))


def restore_settings(session: AxisSession, backup: Path) -> ControllerSettings:
    """Store again what differs from the backup; same rules and errors as `write_settings`.

    A restored value is the one kept in full, or else the printed one: other decimals that the controller had stored
    but doesn't print are gone.
    """
    saved = load_backup(backup)
    if saved.dialect != session.dialect.name:
        remedy = "Take a backup of this controller."
        raise InputError(f"was made with dialect {saved.dialect!r}", remedy, source=str(backup))
    session.standing(allow=frozenset({AxisState.READY, AxisState.LOCKED}))
    held = session.read_settings()
    changes = {key: saved.text(key) for key, text in saved.settings.items() if held.raw.get(key) != text}
    _check_keys(held, changes)
    _check_rescaling(session, changes)
    return _store(session, _lines(session, changes), changes, _way_back(backup))


def _way_back(backup: Path) -> str:
    return f"circumstep controller settings restore {shlex.quote(str(backup))}"


def _lines(session: AxisSession, changes: Mapping[str, str]) -> dict[str, bytes]:
    """The line for each key; those that change steps-per-unit last, so that the reset follows them at once."""
    keys = sorted(changes, key=session.dialect.rescales)
    return {key: session.setting_line(key, changes[key]) for key in keys}


def _check_keys(held: ControllerSettings, changes: Mapping[str, str]) -> None:
    unknown = sorted(changes.keys() - held.raw.keys())
    if unknown:
        raise InputError(f"the controller has no setting {', '.join(unknown)}", "See: circumstep controller settings.")


def _rescaling(session: AxisSession, keys: Iterable[str]) -> list[str]:
    return [key for key in keys if session.dialect.rescales(key)]


def _check_rescaling(session: AxisSession, changes: Mapping[str, str]) -> None:
    if rescaling := _rescaling(session, changes):
        session.require_rescalable(rescaling)


def _store(
    session: AxisSession, lines: Mapping[str, bytes], changes: Mapping[str, str], remedy: str
) -> ControllerSettings:
    rescaling = _rescaling(session, lines)
    session.rest = None
    if rescaling:
        session.before_rescale(rescaling)
    own = session.settings.names.steps_per_unit
    if own in changes:
        session.known = None
    for line in lines.values():
        session.ask(line, STORE_S)
    held = session.read_settings()
    wrong = [
        f"{key}: wrote {text}, reads {held.raw.get(key)}"
        for key, text in changes.items()
        if key not in held.raw or not session.reads_back(held, key, text)
    ]
    if wrong:
        raise SettingsMismatchError(tuple(wrong), remedy)
    if own in changes:
        session.known = Fraction(changes[own])
        held = session.read_settings()
    if rescaling:
        session.after_rescale(rescaling)
    session.store()
    return held
