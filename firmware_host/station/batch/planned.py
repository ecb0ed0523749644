"""What a part of a batch changes of the job, and its plan: made anew for each part, limits and all."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.model.files.parts import DIAMETER, PartRow
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.station.run import require_limits

_CHANGEABLE = ("part", "mark", "window", "segments", "index", "tolerances")
"""Tables of the job that a table of parts may change; how the gate works and what is accepted holds for all parts."""
_KEPT_PLANS = 8


@dataclass(frozen=True)
class PlannedPart:
    """A part with what it is run with. `diameter`: as measured, with its unit; empty where it is the job's."""

    row: PartRow
    setup: Setup
    plan: JobPlan
    diameter: str

    @property
    def turning_s(self) -> float:
        """What turning and settling take by its plan, s."""
        return float(self.plan.program.durations.sum()) + self.plan.segments.count * self.plan.settle_s


def part_setup(setup: Setup, row: PartRow, diameter: str = "", *, source: str = "") -> Setup:
    """The setup of a part: the job with what its row changes, and with its `diameter` as measured (with a unit).

    Raises `InputError` with the row's line for a key that the job does not have or a part may not change, and for a
    value that no job may hold.
    """
    values: dict[str, Any] = {**row.values, **({DIAMETER: diameter} if diameter else {})}
    if DIAMETER in values and setup.job.part.circumference is not None:
        values["part.circumference"] = None  # a measured diameter says more than a tape
    for key in values:
        if key.split(".")[0] not in _CHANGEABLE:
            known = ", ".join(f"{table}.*" for table in _CHANGEABLE)
            problem = "is no key that a part may change"
            raise InputError(problem, f"A part may change {known}", source, key, row.line or None)
    try:
        return setup.with_values(values, source=source or "the part") if values else setup
    except InputError as error:
        raise replace(error, source=source or error.source, line=row.line or error.line) from error


class PartPlans:
    """Makes the plan of each part; parts that are alike share theirs. `source`: where the table of parts stands."""

    def __init__(
        self, setup: Setup, accepted: Iterable[str] = (), source: str = "", check: Callable[[], None] = lambda: None
    ) -> None:
        self.setup, self._accepted, self._source, self._check = setup, tuple(accepted), source, check
        self._plans: OrderedDict[Any, tuple[Setup, JobPlan]] = OrderedDict()

    def require_readable(self, rows: Iterable[PartRow]) -> None:
        """Raise `InputError` for the first row that makes no job; plans nothing."""
        seen: set[Any] = set()
        for row in rows:
            if (alike := _alike(row.values)) not in seen:
                part_setup(self.setup, row, source=self._source)
                seen.add(alike)
            self._check()

    def plan(self, row: PartRow, diameter: str = "") -> PlannedPart:
        """Plan a part. Raises `InputError`, `PlanError`, and `LimitExceededError` where a limit stops it."""
        key = _alike({**row.values, DIAMETER: diameter or row.diameter})
        if key not in self._plans:
            setup = part_setup(self.setup, row, diameter, source=self._source)
            self._plans[key] = setup, plan_job(setup, check=self._check)
            while len(self._plans) > _KEPT_PLANS:
                self._plans.popitem(last=False)
        setup, plan = self._plans[key]
        require_limits(plan.limits, self._accepted)
        return PlannedPart(row, setup, plan, diameter or row.diameter)


def _alike(values: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """What two rows have in common that change the job in the same way."""
    return tuple(sorted((key, repr(value)) for key, value in values.items()))
