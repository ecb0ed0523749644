"""A table of parts beside the same parts planned one by one: `python -m tests.benchmarks.table [PARTS [JOB]]`.

Says what a part takes either way, in one run: time of the processor, which no other program changes much, and by the
wall clock; whether 200 samples are equal; and the memory.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import psutil

from firmware_host import JobPlan, load_job, plan_job
from firmware_host.model import Setup
from firmware_host.planning.many.part import PartLayout, PartMotion
from firmware_host.planning.many.parts import PartPlans, plan_many
from firmware_host.system.workers import processors, workers

SAMPLES = 200
SAME = 1e-9
LOADED = ("firmware_host.planning.many.parts", "firmware_host.planning.limit_report")


def write_table(setup: Setup, count: int, file: Path) -> None:
    """Parts whose measured diameter and length differ by up to two hundredths, each in its own way."""
    drawn, part = random.Random(1), setup.job.part
    lines = ["serial,part.diameter mm,part.length mm"]
    for number in range(count):
        sizes = [size.si * 1e3 * (1 + drawn.uniform(-0.004, 0.004)) for size in (part.diameter, part.whole_length)]
        lines.append(f"S{number:05},{sizes[0]:.4f},{sizes[1]:.4f}")
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")


class Apart(NamedTuple):
    """How samples planned one by one and as rows of the table differ: `said` counts those of which the table says else.

    What is said: verdict, what it comes from, the tightest limit, what stops the motion, the segments. `slower` and
    `quicker`: the most that an index of the table takes more and less, as a part of it; `margin`: the most that any
    margin differs, as a part of its limit; `equal`: to 1e-9 in all of these.
    """

    said: int
    equal: int
    slower: float
    quicker: float
    margin: float


def one_by_one(setup: Setup, plans: PartPlans, samples: list[int]) -> tuple[float, float, Apart]:
    """Wall and processor time (s) of the samples, and how they differ from the table's."""
    wall, cpu = time.perf_counter(), time.process_time()
    alone = [plan_job(setup.with_values(plans[place].part.values)) for place in samples]
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    said = equal = 0
    times, margins = [0.0], [0.0]
    for place, plan in zip(samples, alone, strict=True):
        found, laid_out, limits = plans[place].motion, plans[place].layout, plan.limits
        if found is None or laid_out is None or limits.tightest is None or _said(plan) != _told(found, laid_out):
            said += 1
            continue
        times.append(found.index_s / plan.index_s - 1)
        pairs = [(found.margins[check.name], check.margin) for check in limits.checks]
        off = [abs(mine - own) for mine, own in pairs if mine is not None and own is not None]
        margins.append(max(off))
        equal += abs(times[-1]) <= SAME and margins[-1] <= SAME
    return wall, cpu, Apart(said, equal, max(times), -min(times), max(margins))


def _said(plan: JobPlan) -> tuple[object, ...]:
    limits, tightest = plan.limits, plan.limits.tightest
    known = {check.name for check in limits.checks if check.margin is not None}
    least = tightest.name if tightest is not None else ""
    return limits.verdict, limits.reasons, least, limits.motion.binding, known, plan.segments.count


def _told(motion: PartMotion, layout: PartLayout) -> tuple[object, ...]:
    known = {name for name, margin in motion.margins.items() if margin is not None}
    return motion.verdict, motion.reasons, motion.tightest, motion.binding, known, layout.segments


def main(count: int, job: str) -> None:
    setup = load_job(job)
    plan_job(setup)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "parts.csv"
        write_table(setup, count, file)
        wall = time.perf_counter()
        with workers(processors(), loaded=LOADED) as spread:
            plans = plan_many(setup, file, spread=spread)
            wall = time.perf_counter() - wall
            me = psutil.Process()
            all_of_them = (me, *me.children(recursive=True))
            memory = sum(each.memory_full_info().uss for each in all_of_them)
            busiest = max(sum(each.cpu_times()[:2]) for each in all_of_them[1:])
    samples = sorted(random.Random(2).sample(range(count), min(SAMPLES, count)))
    alone_wall, alone_cpu, apart = one_by_one(setup, plans, samples)
    each, alone = busiest / count * 1e3, alone_cpu / len(samples) * 1e3
    by_the_clock = alone_wall / len(samples) / (wall / count)
    sys.stdout.write(
        f"{job}: {count} parts in {wall:.1f} s; {each:.2f} ms each of the busiest of {processors()} processors, "
        f"one by one {alone:.2f} ms: {alone / each:.1f} times as quick (by the wall clock {by_the_clock:.1f})\n"
        f"{len(samples)} samples: {apart.said} told otherwise, {apart.equal} equal in every figure; an index takes at "
        f"most {apart.slower:.1e} longer, {apart.quicker:.1e} less (parts of it), a margin {apart.margin:.1e} off; "
        f"{memory / 1e6:.0f} MB in all processes\n"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000, sys.argv[2] if len(sys.argv) > 2 else "shaft-scale")
