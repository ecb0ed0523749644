"""A million indexes in one direction with a ratio that no decimal holds, unwinding where it must. Prints what it took.

Run it with the Python of an environment that has the project: python -m tests.joint.million_indexes [COUNT]
It ends with status 1 if any rest is a step off, if memory grew by 5 MB, or if the run is not refused without unwinding.
"""

from __future__ import annotations

import os
import sys
import time
from fractions import Fraction
from pathlib import Path

from firmware_host.errors import CoordinateError
from firmware_host.model.machine.machine import Axis
from tests.joint.long_run_bench import LongRun, error_steps, off_by

COUNT = 1_000_000
MOST_GROWTH_MB = 5.0
_LOOK_EVERY = 10_000
_WARM_UP = 1_000


def resident_mb() -> float:
    """Memory of this process that is resident, MB (Linux: /proc/self/statm, second field, in pages)."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def refused_without_unwinding(count: int) -> str:
    """The reason for which the same run is refused when it may not unwind; "" if it is not, or if anything moved."""
    run = LongRun(count, axis=Axis(unwind="never"))
    try:
        run.mover.prove()
    except CoordinateError as error:
        return "" if run.moved else str(error)
    return ""


def main(count: int) -> int:
    """Run `count` indexes; the status to end with."""
    reason = refused_without_unwinding(count)
    run = LongRun(count)
    started_s = time.perf_counter()
    run.mover.prove()
    proved_s = time.perf_counter() - started_s
    wrong, worst, begun_mb, most_mb = 0, Fraction(0), 0.0, 0.0
    for segment, turns, true in run.rests():
        wrong += error_steps(run, segment, turns, true) != 0
        worst = max(worst, off_by(run, segment, turns, true))
        if segment == _WARM_UP:
            begun_mb = most_mb = resident_mb()
        elif segment % _LOOK_EVERY == 0 or segment == count:
            most_mb = max(most_mb, resident_mb())
    taken_s = time.perf_counter() - started_s
    growth_mb = most_mb - begun_mb
    sys.stdout.write(
        f"{count} indexes, {run.mover.turns} turns taken back in {run.unwindings} unwindings, at most {run.farthest} "
        f"steps from machine zero: {wrong} rests a step off, worst {float(worst):.6f} microsteps from the exact "
        f"angle; memory grew by {growth_mb:.2f} MB; {taken_s:.0f} s ({proved_s:.1f} s to prove), "
        f"{run.clock.monotonic() / 3600:.1f} h of virtual time\nwithout unwinding: {reason or 'not refused'}\n"
    )
    return 0 if wrong == 0 and worst <= Fraction(1, 2) and growth_mb < MOST_GROWTH_MB and reason else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else COUNT))
