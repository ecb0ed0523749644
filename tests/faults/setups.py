"""Machines and jobs for every board of both dialects: the board is set as the plan asks, everything else is its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from math import floor
from typing import Any

from firmware_host.controller.stored_settings import StatedSettings
from firmware_host.model import Machine, Setup
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.simulator.numbered_line.recorded import RECORDED
from firmware_host.station.settings.check import SafeSettings, safe_settings
from tests.contract.spoken import MIXED, SINGLES, SPOKEN, Case
from tests.support.real_boards import REAL_BOARDS
from tests.support.station_bench import changed_setup

CASES: Mapping[str, Case] = {
    **{case.name: case for case in MIXED},
    **{f"{case.name} alone": case for case in SINGLES},
    **{case.name: case for case in REAL_BOARDS.values()},
    **{
        f"numbered-line/{name}": Case(f"numbered-line/{name}", SPOKEN["numbered-line"], board)
        for name, board in RECORDED.items()
    },
}
"""Every board by its name: mixed variants of each dialect, each difference alone, as late as measured, and recorded."""
_SWITCH_STEPS = -2000
_TRAVEL_UNITS = 360
_WIDE = {"min X": -180.0}
"""So wide that no job is put a turn further on, which the observer would take for another place; units."""
_HOMING = frozenset({"home switch", "resetting", "crashing"})


@dataclass(frozen=True)
class Task:
    """A job on one board, ready to be run."""

    case: Case
    setup: Setup
    plan: JobPlan
    variant: Any
    stated: StatedSettings

    @property
    def homes(self) -> bool:
        return self.setup.machine.axis.home_switch


@cache
def task_for(board: str, segments: int = 3, passes: int = 2) -> Task:
    """A job of `segments` segments on the board; one with a home switch homes, away from the side the job is on."""
    case = CASES[board]
    dialect = case.spoken.dialect().name
    homes = case.name.split("/")[1] in _HOMING and bool(case.variant.home_switches)
    setup, plan = _planned(case.axis, dialect, homes, segments, passes)
    variant, stated = as_planned(case, setup, plan)
    return Task(case, setup, plan, variant, stated)


def as_planned(case: Case, setup: Setup, plan: JobPlan) -> tuple[Any, StatedSettings]:
    """The board set as the plan asks, and what the machine's file would state of it."""
    return _set(case, setup.machine, safe_settings(setup.machine, plan))


@cache
def _planned(letter: str, dialect: str, homes: bool, segments: int, passes: int) -> tuple[Setup, JobPlan]:
    setup = changed_setup(
        "heavy-shaft" if homes else "shaft-scale",
        mark={"arc": f"{10 * segments} mm", "width": "10 mm", "passes": passes},
        segments={"count": segments},
        index={"finish": "unwind", "settle": "0.25 s"},
    )
    document = setup.machine.model_dump(mode="json", exclude_none=True)
    document["axis"]["letter"] = letter
    document["link"]["dialect"] = dialect
    setup = replace(setup, machine=Machine.model_validate(document))
    return setup, plan_job(setup)


def _set(case: Case, machine: Machine, safe: SafeSettings) -> tuple[Any, StatedSettings]:
    """The board with the settings that the plan asks for, and what the machine's file would state of them."""
    variant, letter = case.variant, case.axis
    scale = safe.scale
    rate, acceleration = floor(Fraction(safe.rate)), floor(Fraction(safe.acceleration))
    if variant.when_too_fast == "crash":  # the machine's file knows better than to ask for more
        rate = min(rate, floor(0.9 * 60 * variant.highest_step_rate / scale))
    settings: dict[str, float]
    if case.spoken.dialect().capabilities.tells_state:
        index = variant.axes.index(letter)
        per_axis = {100: float(scale), 110: rate, 120: acceleration, 130: _TRAVEL_UNITS}
        settings = {f"${base + index}": value for base, value in per_axis.items()} | {"$1": 255, "$21": 1}
        if machine.axis.home_switch:
            settings |= {"$22": 1, "$23": 1 << index}
    else:
        settings = {f"M92 {letter}": float(scale), f"M203 {letter}": rate // 60}
        settings |= {f"M201 {letter}": acceleration, "M204 T": acceleration}
        if f"M202 {letter}" in variant.more_settings:
            settings[f"M202 {letter}"] = acceleration
        settings |= {end: place for end, place in _WIDE.items() if end in variant.more_settings}
    switches = {"home_switches": {letter: _SWITCH_STEPS}} if machine.axis.home_switch else {}
    changed = replace(variant, settings={**variant.settings, **settings}, **switches)
    return changed, StatedSettings(Fraction(scale), Fraction(rate // 60 * 60), Fraction(acceleration))
