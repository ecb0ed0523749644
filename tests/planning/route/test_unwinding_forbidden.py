"""`axis.unwind = "never"`: no turn is ever taken back, and a job that would need it is refused when it is planned."""

import re
from typing import Any

import pytest

from firmware_host.errors import PlanError
from firmware_host.planning.layout.segments import plan_segments
from firmware_host.planning.route.moves import Purpose, Route, plan_route
from tests.planning.route.test_unwinding import WIDE
from tests.planning.workshop import chuck_machine, job_on


def route_on(axis: dict[str, Any], mark: dict[str, Any], count: int) -> Route:
    """A chuck of 3200 microsteps per turn, a part of 50 mm."""
    described = job_on("50 mm", mark, window=WIDE, segments={"count": count})
    return plan_route(chuck_machine(axis=axis), described, plan_segments(described))


TRAVEL = {"lowest": "-155 deg", "highest": "195 deg"}


def test_a_cable_wound_axis_that_may_not_unwind_is_refused_where_its_travel_ends() -> None:
    # Twelve segments of 30 deg: the last one at 330 deg, step 2933 of 3200 (2933.3).
    fix = re.escape('axis.unwind = "whole-turns" in the machine file, which says "never"')
    with pytest.raises(PlanError, match=rf"outside axis\.travel: 329\.962 deg, limit 195 deg\. Move mark.*{fix}$"):
        route_on({"travel": TRAVEL, "unwind": "never"}, {"angle": "360 deg"}, 12)
    allowed = route_on({"travel": TRAVEL, "unwind": "whole-turns"}, {"angle": "360 deg"}, 12)
    assert int((allowed.purpose == Purpose.UNWIND).sum()) == 1


def test_a_travel_left_on_the_low_side_is_refused_as_well() -> None:
    axis = {"travel": {"lowest": "-10 deg", "highest": "300 deg"}, "unwind": "never"}
    with pytest.raises(PlanError, match=r"outside axis\.travel: -30\.0375 deg, limit -10 deg"):
        route_on(axis, {"angle": "90 deg", "start_angle": "-30 deg"}, 3)


@pytest.mark.parametrize("travel", [TRAVEL, "endless"], ids=["cable-wound", "endless"])
def test_a_job_that_needs_no_turn_back_is_planned_alike(travel: Any) -> None:
    mark = {"angle": "180 deg"}
    without, with_ = (route_on({"travel": travel, "unwind": word}, mark, 6) for word in ("never", "whole-turns"))
    assert without.targets.tolist() == with_.targets.tolist()
    assert not (without.purpose == Purpose.UNWIND).any()


@pytest.mark.parametrize("start", ["720000 deg", "-720000 deg"], ids=["forward", "backward"])
def test_an_endless_axis_that_may_not_unwind_is_refused_beyond_the_controllers_arithmetic(start: str) -> None:
    # 2000 turns of 3200 microsteps, and 60 deg (533.3) more; 2^22 = 4194304.
    steps = "6.40053e" if not start.startswith("-") else "6.4e"
    complaint = rf"too far from zero for the .* 32-bit arithmetic: {re.escape(steps)}\+06 steps, limit 4\.1943"
    with pytest.raises(PlanError, match=complaint + r'.*Shorten the job, or let .*axis\.unwind = "whole-turns"'):
        route_on({"unwind": "never"}, {"angle": "90 deg", "start_angle": start}, 3)
    assert route_on({}, {"angle": "90 deg", "start_angle": start}, 3).purpose[0] == Purpose.UNWIND


def test_a_finish_that_goes_back_is_no_unwinding_and_stays_allowed() -> None:
    described = job_on("50 mm", {"angle": "180 deg"}, window=WIDE, segments={"count": 6}, index={"finish": "unwind"})
    machine = chuck_machine(axis={"travel": TRAVEL, "unwind": "never"})
    route = plan_route(machine, described, plan_segments(described))
    assert (route.targets[-1], route.purpose[-1]) == (0, Purpose.FINISH)


def test_a_finish_on_the_next_turn_counts_into_the_travel() -> None:
    described = job_on("50 mm", {"angle": "180 deg"}, window=WIDE, segments={"count": 6}, index={"finish": "next-turn"})
    machine = chuck_machine(axis={"travel": TRAVEL, "unwind": "never"})
    with pytest.raises(PlanError, match=r"outside axis\.travel: 360 deg, limit 195 deg"):
        plan_route(machine, described, plan_segments(described))
