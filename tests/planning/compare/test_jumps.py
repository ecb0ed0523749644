"""Jumps of a sweep: where they are and what explains them, on points whose cause is known beforehand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firmware_host.model import Setup, load_job
from firmware_host.planning.compare.jumps import jumps_of
from firmware_host.planning.compare.sweep import SweepPoint, sweep_limits
from tests.planning.limits.workshop import job, machine


def test_what_stops_a_value_explains_the_jump_to_it() -> None:
    """A shaft of given density and diameter weighs 1.85 kg at 50 mm: beside that its mass contradicts it."""
    points = sweep_limits(load_job("shaft-scale"), "part.diameter=42 mm..54 mm:3")
    assert [(jump.before, jump.after, jump.what) for jump in jumps_of(points)] == [
        ("42 mm", "48 mm", "fails -> holds narrowly"),
        ("48 mm", "54 mm", "holds narrowly -> fails"),
    ]
    assert [jump.why for jump in jumps_of(points)] == ["42 mm is stopped by mass", "54 mm is stopped by mass"]


def test_a_value_that_cannot_be_planned_says_why() -> None:
    points = sweep_limits(load_job("tumbler-wrap"), "drive.friction=0.05..0.5:2")
    (jump,) = jumps_of(points)
    assert (jump.before, jump.after) == ("0.05", "0.5")
    assert jump.why == "with 0.05 nothing can be planned: see its trouble"
    assert points[0].trouble.startswith("the plan exceeds its limits: grip")


def steady() -> list[SweepPoint]:
    """Five values with the same motion."""
    (point, *_) = sweep_limits(Setup(job(), machine()), "part.length=80 mm..90 mm:2")
    return [replace(point, value=f"{number}") for number in range(5)]


def with_index(point: SweepPoint, factor: float, binding: tuple[str, ...], segments: int | None = None) -> SweepPoint:
    assert point.report is not None
    motion = point.report.motion
    timing = replace(motion.timing, move_s=motion.timing.move_s * factor, settle_s=motion.timing.settle_s * factor)
    report = replace(point.report, motion=replace(motion, timing=timing, binding=binding))
    return replace(point, report=report, segments=point.segments if segments is None else segments)


def test_the_limit_that_took_over_is_named_and_a_steady_trend_is_no_jump() -> None:
    points = steady()
    assert jumps_of(points) == ()
    points[3:] = [with_index(point, 2.0, ("supply-voltage",)) for point in points[3:]]
    (jump,) = jumps_of(points)
    assert (jump.before, jump.after) == ("2", "3")
    assert jump.why.startswith(f"supply-voltage took over from {' and '.join(points[0].binding)}; acceleration ")
    trend = [with_index(point, 1.3**number, point.binding) for number, point in enumerate(steady())]
    assert jumps_of(trend) == (), "each value is 1.3 times slower than the one before: a trend"


def test_segments_laid_out_new_explain_a_jump() -> None:
    points = steady()
    assert points[0].segments is not None
    more = points[0].segments + 1
    points[1:] = [with_index(point, 0.7, point.binding, more) for point in points[1:]]
    (jump,) = jumps_of(points)
    assert jump.why.startswith(f"{more - 1} -> {more} segments; ")


@pytest.mark.parametrize("text", ["part.length=80 mm..90 mm:2", "index.speed=100 deg/s..110 deg/s:3"])
def test_what_binds_is_told_at_each_value(text: str) -> None:
    for point in sweep_limits(Setup(job(), machine()), text):
        assert point.report is not None
        assert point.binding == point.report.motion.binding
