"""A plan of a million segments: exact moves, durations, limit verdicts. Prints what it took.

Run it with the Python of an environment that has the project: python tests/benchmarks/million.py
"""

from __future__ import annotations

import resource
import sys
import time
from typing import Any

JOB: dict[str, Any] = {
    "version": 1,
    "name": "a million segments",
    "machine": "worm-chuck",
    "part": {
        "kind": "solid",
        "diameter": "95 mm",
        "length": "250 mm",
        "density": "7860 kg/m^3",
        "mass_offset": "0.2 mm",
        "overhang": "125 mm",
    },
    "mark": {"arc": "297 mm"},
    "window": {"half_depth": "0.5 mm", "spot_diameter": "0.05 mm"},
    "segments": {"count": 1_000_000},
}
FINE: dict[str, Any] = {"driver.microsteps": 256}
"""A machine fine enough for so many: a segment is no narrower than a microstep."""


def main() -> None:
    start = time.perf_counter()
    from firmware_host.model import Job, Setup, load_machine
    from firmware_host.planning.plan import plan_job

    plan = plan_job(Setup(Job.model_validate(JOB), load_machine("worm-chuck")).with_values(FINE))
    taken_s = time.perf_counter() - start
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6
    sys.stdout.write(
        f"{plan.route.segment_targets().size} segments, {plan.program.durations.sum():.0f} s of moves, "
        f"limits: {plan.limits.verdict.value}; {taken_s:.2f} s with imports, {peak_mb:.0f} MB\n"
    )


if __name__ == "__main__":
    main()
