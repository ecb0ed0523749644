"""Sending settings one after the other, in an order that is taken; how they are left is known at every instant."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from fractions import Fraction

from firmware_host.controller.axis import Axis
from firmware_host.controller.deadlines import STORE_S
from firmware_host.controller.settings.backup import SettingsBackup
from firmware_host.controller.stored_settings import ControllerSettings, SettingsLeft
from firmware_host.errors import InputError, LineRejectedError


def begin(axis: Axis) -> SettingsLeft:
    """The record of an act that sends settings, which the axis shows as `left`. The settings must have been read."""
    listing = axis.settings.raw
    as_stored, lists_stored = axis.as_stored, axis.lists_stored
    axis.left = SettingsLeft(
        listing, at_once=axis.stores_at_once, in_force=as_stored or not lists_stored, stored=as_stored or lists_stored
    )
    return axis.left


def bring_into_force(axis: Axis, left: SettingsLeft) -> None:
    """Where settings are read as they are stored, and what is in force may be another: load what is stored."""
    if axis.lists_stored and not axis.as_stored:
        left.loads()
        axis.bring_into_force()
        left.loaded()


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
    with ExitStack() as to_the_end:
        for key in order:
            axis.sender.listen(0.0)
            if key in rescaling:
                to_the_end.enter_context(axis.sender.carrying_through())
            with axis.sender.carrying_through():
                store_one(key)
        yield rescaling


def require_scale(axis: Axis, key: str, text: str) -> None:
    """Raise InputError for 0 steps per unit: boards take that, and can't tell where they stand then."""
    if axis.dialect.rescales(key) and not text.strip("0."):
        raise InputError("0 steps per unit can't be worked with", "Write a number above 0", key=key)


def send_setting(axis: Axis, left: SettingsLeft, key: str, text: str, line: bytes) -> None:
    """Send the line that sets `key` to `text`. Raises as `ask`.

    Where a refusal may come behind the answer, it may be another line's: the setting then may have been taken.
    """
    before = left.in_force(key)
    axis.as_stored = axis.stores_at_once
    if key == axis.settings.names.steps_per_unit:
        axis.known = None
    left.sends(key, text)
    try:
        axis.ask(line, STORE_S)
    except LineRejectedError:
        if axis.refusals_are_certain:
            left.refused(key, before)
        raise
    left.took(key, text)


def keep(axis: Axis, left: SettingsLeft) -> None:
    """Store all that is in force, where that is an act of its own. Raises as `ask`."""
    if axis.stores_at_once:
        return
    before = left.all_stored
    left.stores()
    try:
        axis.store()
    except LineRejectedError:
        if axis.refusals_are_certain:
            left.not_kept(before)
        raise
    left.kept()
    axis.as_stored = True


def read(axis: Axis, left: SettingsLeft) -> ControllerSettings:
    """Read all settings, and take note of what they say."""
    settings = axis.read_settings()
    left.listed(settings.raw, stored=axis.lists_stored)
    if axis.as_stored:
        left.listed(settings.raw, stored=not axis.lists_stored)
    return settings


def put_back(
    axis: Axis, saved: SettingsBackup, keys: Iterable[str], left: SettingsLeft, refused: dict[str, str]
) -> ControllerSettings:
    """Write `keys` as they were saved, a stop being found between two of them, and list afresh.

    They are stored at once only where else they would not show. `refused`: which the controller refused, and why.
    """
    changes = {key: saved.text(key) for key in saved.settings if key in keys}
    own = axis.settings.names.steps_per_unit
    with storing(axis, changes, lambda key: _put_one(axis, left, key, changes[key], refused)) as rescaling:
        if axis.lists_stored:
            keep(axis, left)
        settings = read(axis, left)
        if own in changes and own not in refused and axis.reads_back(settings, own, changes[own]):
            axis.known = Fraction(changes[own])
            settings = axis.read_settings()
        if rescaling:
            axis.after_rescale(rescaling)
        return settings


def _put_one(axis: Axis, left: SettingsLeft, key: str, text: str, refused: dict[str, str]) -> None:
    refused.pop(key, None)
    try:
        require_scale(axis, key, text)
        send_setting(axis, left, key, text, axis.listed_line(key, text))
    except LineRejectedError as error:
        refused[key] = f"refused ({error.detail})"
    except InputError as error:
        refused[key] = f"not written ({error.problem})"
