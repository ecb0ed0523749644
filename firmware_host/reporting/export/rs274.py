"""The moves as RS-274 words; see `planning.export.rs274`."""

from __future__ import annotations

from firmware_host.model import Setup
from firmware_host.planning.export.rs274 import rs274_lines
from firmware_host.planning.plan import JobPlan
from firmware_host.reporting.export.base import MoveFormat


class Rs274Format(MoveFormat):
    """Words for any interpreter that knows them, one line each."""

    name = "rs274"

    def text(self, setup: Setup, plan: JobPlan) -> str:
        lines = rs274_lines(setup.machine, plan.program, passes=setup.job.mark.passes, settle_s=plan.settle_s)
        return "".join(f"{line}\n" for line in lines)
