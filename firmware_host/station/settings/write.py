"""Writing the settings that a plan needs, when the user asks for it: the old ones are kept, all are read back."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from firmware_host.acts import RestoreSettings
from firmware_host.clock import Clock
from firmware_host.controller.controller import Controller
from firmware_host.controller.learned import Fact
from firmware_host.controller.stored_settings import ControllerSettings, Difference, StoredNumber, decimal_text
from firmware_host.errors import InputError, StoppedError
from firmware_host.model import Machine
from firmware_host.planning.limits.accept import require_may_move
from firmware_host.planning.plan import JobPlan
from firmware_host.station.settings.check import (
    STATED,
    require_fitting,
    require_resolution,
    require_writable,
    safe_settings,
    settings_differences,
)
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.settings.real_move import require_start, start_difference
from firmware_host.station.stop_request import StopAskedError

_RATE_STEP = Fraction(60, 1000)
"""By how much a rate may be rounded down when it is written (units/min): a thousandth of a unit per second."""


def wanted_changes(machine: Machine, plan: JobPlan, controller: Controller, scales: KnownScales) -> dict[str, str]:
    """What to write, by key: what does not fit, the plan's rate and acceleration, and the scale unless it is known.

    What the controller doesn't print is left out: it could not be read back.
    """
    return {difference.key: difference.wanted for difference in settings_changes(machine, plan, controller, scales)}


def settings_changes(
    machine: Machine, plan: JobPlan, controller: Controller, scales: KnownScales
) -> tuple[Difference, ...]:
    """`wanted_changes` for people: each with its name and what is stored, what the run may not start with first."""
    settings = controller.settings
    names, safe = settings.names, safe_settings(machine, plan)
    own = names.steps_per_unit
    found = settings_differences(machine, plan, settings)
    if (start := start_difference(machine, plan, controller)) is not None:
        found = (*found, start)
    changes = {difference.key: difference.wanted for difference in found if not difference.key.startswith(STATED)}
    notes: dict[str, str] = {}
    if settings.stored_acceleration is not None:
        changes[names.acceleration], notes[names.acceleration] = _acceleration(
            safe.acceleration, controller.learned.whole_accelerations
        )
    if settings.stored_rate is not None:
        changes[names.rate] = safe.rate
    if settings.stored_steps_per_unit is not None and scales.recall(controller.url, settings) is None:
        changes[own] = decimal_text(safe.scale)
    changes = {key: text for key, text in changes.items() if key == own or not _is_stored(settings, key, text)}
    called = {own: "steps per unit", names.acceleration: "acceleration", names.rate: "rate"}
    needed = {difference.key: difference for difference in found}
    return (
        *(replace(needed[key], wanted=changes[key], note=notes.get(key, "")) for key in needed if key in changes),
        *(
            Difference(called[key], key, settings.raw[key], text, notes.get(key, ""))
            for key, text in changes.items()
            if key not in needed
        ),
    )


def _acceleration(text: str, whole: Fact[bool]) -> tuple[str, str]:
    """The acceleration to write, never above `text`, and a note where the board keeps it as a `whole` number.

    Raises `InputError` where it is certain to keep none but 0.
    """
    wanted = Fraction(text)
    lower = math.floor(wanted)
    if not whole.value or wanted == lower:
        return text, ""
    if not lower and not whole.known:
        return text, ""
    if not lower:
        problem = f"the controller keeps accelerations as whole numbers, and the plan needs {text} units/s^2"
        raise InputError(problem, "Let a unit of the axis be a smaller angle", key="acceleration")
    keeps = "keeps" if whole.known else "may keep"
    return str(lower), f"rounded down from {text}: the controller {keeps} whole numbers only"


def _is_stored(settings: ControllerSettings, key: str, text: str) -> bool:
    """Whether `key` is printed as this value is, to the decimals that are printed (of a rate: in its own unit)."""
    if key not in settings.raw:
        return False
    wanted = Fraction(text)
    if key == settings.names.rate and settings.stored_rate is not None:
        return settings.stored_rate.low <= wanted <= settings.stored_rate.high + _RATE_STEP
    return StoredNumber.printed(settings.raw[key]).reads_as(wanted)


def write_for_plan(
    machine: Machine,
    plan: JobPlan,
    controller: Controller,
    scales: KnownScales,
    backup: Path,
    *,
    announce: Callable[[Path], None] = lambda backup: None,
    source: str = "",
    baud: int | None = None,
    accepted: Mapping[str, str] | None = None,
) -> tuple[Difference, ...]:
    """Write what the plan asks for and remember it; returns all that was written, and what was stored before.

    Nothing is written if a limit stops the plan (`LimitExceededError`; `accepted`: those accepted besides the job's),
    something that can't be written does not fit, or reports would not tell a step (`CoordinateError`). The old settings
    are in `backup` first; `announce` is told of that file before the first is written, so that the way back is known
    even if the process dies. It knows the machine, too: from which file or profile (`source`), and the line speed
    (`baud`, bits per second; None: the machine's). Where there is nothing to write, what is stored is brought into
    force if it may not be. Raises as `Controller.write_settings`, and `SettingsMismatchError`
    if the controller still does not fit; a stop finishes the setting that is being stored (`StoppedError`).
    """
    require_may_move(plan.limits.checks, accepted)
    require_writable(machine, plan, controller.settings)
    if not controller.settings.inches:  # in which no position can be told, until that is written
        planned = safe_settings(machine, plan).scale
        require_resolution(controller.resolution_steps(controller.status(), planned))
    written = settings_changes(machine, plan, controller, scales)
    changes = wanted_changes(machine, plan, controller, scales)
    if not changes:
        controller.bring_into_force()
    else:
        known = scales.recall(controller.url, controller.settings)
        kept = kept_machine(machine, source, baud)
        with stoppable("writing settings", controller, backup):
            settings = controller.write_settings(changes, backup=backup, known=known, machine=kept, announce=announce)
        scale = changes.get(settings.names.steps_per_unit) or (None if known is None else decimal_text(known))
        scales.remember(controller.url, settings, written=scale)
    require_fitting(machine, plan, controller.settings, written=True)
    require_start(machine, plan, controller, written=True)
    return written


def changed_along(controller: Controller, written: Iterable[Difference]) -> tuple[str, ...]:
    """What else the controller has changed by itself when `written` was, and how it stands now."""
    keys = {difference.key for difference in written}
    left = controller.left if keys else None
    return () if left is None else tuple(left.told(key for key in left.changed if key not in keys))


def kept_machine(machine: Machine, source: str, baud: int | None) -> dict[str, Any]:
    """What a backup keeps of the machine: enough to open its controller again, whatever becomes of its file."""
    link = machine.link if baud is None else machine.link.model_copy(update={"baud": baud})
    described = machine.model_copy(update={"link": link}).model_dump(mode="json", exclude_none=True)
    return {"source": str(Path(source).absolute()) if Path(source).is_file() else source, "described": described}


@contextmanager
def stoppable(doing: str, controller: Controller, backup: Path) -> Iterator[None]:
    """What a wish to stop leaves of an act that stores settings; `backup` has those of before."""
    before = controller.left
    try:
        yield
    except StopAskedError as error:
        left = controller.left
        if left is before or left is None or not left.changed:
            raise StoppedError(str(error), doing, "no setting was changed") from error
        told = f"the one being stored was finished. {left}"
        raise StoppedError(str(error), doing, told, acts=(RestoreSettings(str(backup)),)) from error


def backup_path(folder: Path, url: str, clock: Clock) -> Path:
    """A new file's path for the old settings of the controller at `url`. Raises `InputError` if there is no folder."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot be made ({error.strerror})", "Name another folder", source=str(folder)) from error
    slug = re.sub(r"[^A-Za-z0-9]+", "-", url).strip("-")[-40:]
    stem = f"{clock.now():%Y%m%d-%H%M%S}-{slug}"
    paths = (folder / f"{stem}{'' if number == 1 else f'-{number}'}.json" for number in range(1, 1000))
    return next(path for path in paths if not path.exists())
