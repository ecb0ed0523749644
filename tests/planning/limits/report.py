"""What the tests of the limits ask a report."""

from __future__ import annotations

from typing import Any

import numpy as np

from firmware_host.planning.limit_report import LimitReport, check_limits
from firmware_host.planning.limits.check import LimitCheck
from tests.planning.limits.workshop import job, machine

INDEXES = np.full(12, 1 / 12)


def report(
    rig: Any = None, work: Any = None, *, speed: float | None = 8.0, acceleration: float | None = 60.0
) -> LimitReport:
    """The limits of twelve indexes of 30 deg on the test machine, or on others."""
    return check_limits(rig or machine(), work or job(), index_turns=INDEXES, speed=speed, acceleration=acceleration)


def named(found: LimitReport, name: str) -> LimitCheck:
    """The check of that name."""
    return next(check for check in found.checks if check.name == name)


def names(found: LimitReport) -> set[str]:
    """The names of all checks."""
    return {check.name for check in found.checks}
