"""Single moves quicker than the rest: the controller's acceleration is written before such a move and put back after.

A controller has one acceleration for all moves, as a stored setting. So each move at a pace of its own is told to it in
the way that settings are written: the old ones are in a backup before the first is, whoever watches is told of that,
and they are in force again before anything else moves. Where the program dies in between, the backup brings them back.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from firmware_host.acts import RestoreSettings
from firmware_host.controller.controller import Controller
from firmware_host.controller.stored_settings import WRITTEN_DECIMALS, decimal_text
from firmware_host.errors import FirmwareHostError, InputError
from firmware_host.planning.by_hand import HandPlan, Pace
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.route.moves import time_moves
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.settings.write import settings_changes

_MADE_AS_ASKED = 1e-6


class Paces:
    """Makes the controller keep a pace for one move. `backup`: where its settings of before are kept, once.

    `announce` is told of that file before the first setting is written; `machine`: what the backup keeps of it.
    """

    def __init__(
        self,
        controller: Controller,
        plan: HandPlan,
        scales: KnownScales,
        backup: Path,
        *,
        announce: Callable[[Path], None],
        machine: dict[str, Any],
    ) -> None:
        self._controller, self._plan, self._scales = controller, plan, scales
        self._backup, self._announce, self._machine = backup, announce, machine
        self._again = backup.with_suffix(".again.json")
        self._before: dict[str, str] = {}

    @contextmanager
    def kept(self, pace: Pace) -> Iterator[None]:
        """Inside, moves have the acceleration of the pace, and may have its speed.

        Behind it the settings are as before, and the axis is made ready. Where it is left by an error they are not yet:
        `put_back` does that once the axis stands. Raises as `Controller.write_settings`; `InputError` where the
        acceleration is no stored setting.
        """
        changes = self._changes(pace)
        if not changes:
            yield
            return
        listed = self._controller.settings.raw
        self._before = {key: _writable(listed[key]) for key in changes}
        self._write(changes)
        self._controller.prepare()
        yield
        self.put_back()
        self._controller.prepare()

    def put_back(self) -> bool:
        """Write what was in force before, also after a wish to stop; whether it was not so. Raises as a write does."""
        if not self._before:
            return False
        with self._controller.carrying_through():
            self._write(self._before)
        self._before = {}
        return True

    def _changes(self, pace: Pace) -> dict[str, str]:
        """What to write, by key, so that a move has the pace: acceleration and rate, where they are not so already."""
        settings, plan = self._controller.settings, self._plan
        if abs(pace.acceleration / plan.acceleration - 1) < _MADE_AS_ASKED:
            return {}
        if settings.stored_acceleration is None:
            problem = "this controller has no acceleration that can be written: it cannot be tried"
            raise InputError(problem, "Leave the acceleration as it is", key="pace")
        names = settings.names
        found = settings_changes(plan.machine, _as_quick(plan.plan, pace), self._controller, self._scales)
        changes = {each.key: each.wanted for each in found if each.key in (names.acceleration, names.rate)}
        wanted = changes.get(names.acceleration, "0")
        general = next((key for key in names.general_accelerations if key in settings.raw), "")
        if general and Fraction(settings.raw[general]) < Fraction(wanted):
            changes[general] = wanted  # of all axes together: what is lower counts
        return changes

    def _write(self, changes: dict[str, str]) -> None:
        controller = self._controller
        known = self._scales.recall(controller.url, controller.settings)
        first = not self._backup.exists()
        try:
            settings = controller.write_settings(
                changes,
                backup=self._backup if first else self._again,
                known=known,
                machine=self._machine,
                announce=self._announce if first else lambda backup: None,
            )
        except FirmwareHostError as error:
            error.acts = (RestoreSettings(str(self._backup)),) if error.acts else ()
            raise
        finally:
            if not first:
                self._again.unlink(missing_ok=True)  # the first one has what is to come back
        self._scales.remember(controller.url, settings, written=None if known is None else decimal_text(known))


def at_pace(pace: Pace | None, plan: HandPlan, paces: Paces | None) -> AbstractContextManager[None]:
    """Inside, the controller keeps `pace`; nothing is changed for a move without one, or with the plan's acceleration.

    `InputError` where `paces` is None and something would have to be.
    """
    if pace is None or pace.acceleration == plan.acceleration:
        return nullcontext()
    if paces is None:
        problem = "a move at an acceleration of its own needs the controller's settings written, and put back"
        raise InputError(problem, "Open the hand so that it may write them", key="pace")
    return paces.kept(pace)


def _as_quick(plan: JobPlan, pace: Pace) -> JobPlan:
    return replace(plan, program=time_moves(plan.route, pace.speed, pace.acceleration))


def _writable(text: str) -> str:
    """A listed number as it may be written: with the decimals that are written, and never more of it."""
    size = 10**WRITTEN_DECIMALS
    return decimal_text(Fraction(math.floor(Fraction(text) * size), size))
