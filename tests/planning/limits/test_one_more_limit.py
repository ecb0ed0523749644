"""One more limit is one class and one line of the list: it shows in the report, the motion, the costs, the draws."""

from __future__ import annotations

import ast
import json
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from firmware_host.cli.main import run
from firmware_host.mechanics.guard import FloatArray
from firmware_host.model.files.loading import Setup
from firmware_host.planning.compare.cost import limit_costs
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.limits import registry
from firmware_host.planning.limits.case import DrawnCase, LimitCase
from firmware_host.planning.limits.check import LimitCheck, Verdict, drawn_margin, upper_limit
from firmware_host.planning.limits.limit import Limit, MotionBound, SpeedBound
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.planning.reliability.estimate import reliability
from tests.planning.limits.workshop import job, machine

PACKAGE = Path(__file__).resolve().parents[3] / "firmware_host"
FASTEST = 1.5


class Splash(Limit):
    """Liquid in the part must not be thrown out: a highest speed at the rim."""

    name = "splash"
    keeps = "no-splash"

    def check(self, case: LimitCase) -> LimitCheck:
        speed = case.index.peak_speed
        return upper_limit(self.name, speed, FASTEST, "rad/s", formula="v <= 1.5", source="toy", remedy="Turn slower")

    def bound(self, load: LoadCase, reserve: float) -> MotionBound:
        del load
        return SpeedBound(FASTEST * (1 - reserve))

    def drawn(self, case: DrawnCase) -> FloatArray:
        planned = np.asarray(case.index.peak_speed)
        drawn = planned * np.asarray(case.load.of_part(1.0))
        return drawn_margin(drawn, np.asarray(FASTEST))


@dataclass(frozen=True)
class _Gentle(MotionBound):
    highest: float

    def steady(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray:
        del pull_out
        return np.full(speeds.shape, self.highest)


class Slosh(Limit):
    """The same of the acceleration, with nothing said of draws or of cost."""

    name = "slosh"

    def check(self, case: LimitCase) -> LimitCheck:
        value = case.index.acceleration
        return upper_limit(self.name, value, 5.0, "rad/s^2", formula="a <= 5", source="toy", remedy="Turn more gently")

    def bound(self, load: LoadCase, reserve: float) -> MotionBound:
        del load
        return _Gentle(5.0 * (1 - reserve))


@pytest.fixture
def setup() -> Setup:
    return Setup(job(), machine())


@pytest.fixture
def before(setup: Setup) -> JobPlan:
    return plan_job(setup)


@pytest.fixture
def splash(before: JobPlan, monkeypatch: pytest.MonkeyPatch) -> Limit:
    del before  # planned without it
    limit = Splash()
    monkeypatch.setattr(registry, "LIMITS", (*registry.LIMITS, limit))
    return limit


def test_it_is_checked_with_its_margin_and_joins_the_verdict(setup: Setup, before: JobPlan, splash: Limit) -> None:
    assert splash.name not in {check.name for check in before.limits.checks}
    found = {check.name: check for check in plan_job(setup).limits.checks}[splash.name]
    assert found.margin == pytest.approx(0.2)
    fast = setup.with_values({"index.speed": "3 rad/s"})
    report = plan_job(fast).limits
    assert {check.name for check in report.checks if check.verdict is Verdict.FAILS} >= {splash.name}
    assert report.verdict is Verdict.FAILS


def test_it_makes_the_planned_motion_slower(setup: Setup, before: JobPlan, splash: Limit) -> None:
    assert before.limits.motion.speed > FASTEST
    after = plan_job(setup)
    assert after.limits.motion.speed == pytest.approx(0.8 * FASTEST)
    assert splash.name in after.limits.motion.binding
    assert after.index_s > before.index_s


def test_its_cost_is_what_an_index_takes_without_it(setup: Setup, before: JobPlan, splash: Limit) -> None:
    plan = plan_job(setup)
    moves = index_moves(plan.route.index_turns, plan.route.purpose)
    found = limit_costs(load_case(setup.machine, setup.job), moves, plan.limits.motion, setup.job.index)
    costs = {cost.name: cost.index_s for cost in found}
    assert costs[splash.name] == before.index_s


def test_it_fails_in_the_draws_by_its_own_name(setup: Setup, splash: Limit) -> None:
    near = setup.with_values({"index.speed": "1.4 rad/s", "index.acceleration": "20 rad/s^2"})
    fast = setup.with_values({"index.speed": "1.6 rad/s", "index.acceleration": "20 rad/s^2"})
    held, failed = (
        {part.name: part.probability for part in reliability(each, plan_job(each), draws=1000).parts}
        for each in (near, fast)
    )
    assert held == {"no-step-lost": 1.0, splash.keeps: 1.0}
    assert failed == {"no-step-lost": 1.0, splash.keeps: 0.0}
    assert reliability(fast, plan_job(fast), draws=1000).verdict is Verdict.FAILS


def test_one_that_says_nothing_of_draws_and_cost_binds_the_acceleration_all_the_same(
    setup: Setup, before: JobPlan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(registry, "LIMITS", (*registry.LIMITS, Slosh()))
    plan = plan_job(setup)
    assert before.limits.motion.acceleration > 5.0
    assert plan.limits.motion.acceleration == pytest.approx(4.0)
    assert plan.limits.motion.binding == ("slosh", "index-length")
    assert {part.name for part in reliability(setup, plan, draws=1000).parts} == {"no-step-lost"}


def test_every_limit_has_a_name_of_its_own() -> None:
    names = [limit.name for limit in registry.all_limits()]
    assert len(set(names)) == len(names) == 37


def test_no_other_room_says_the_name_of_a_limit() -> None:
    names = {limit.name for limit in registry.all_limits() if "-" in limit.name}
    said = {
        (path.relative_to(PACKAGE).as_posix(), node.value)
        for path in PACKAGE.rglob("*.py")
        if not path.is_relative_to(PACKAGE / "planning" / "limits")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value in names
    }
    # A procedure of commissioning is called as what it measures.
    assert said == {("commissioning/procedures/motor/power_off.py", "power-off")}


def test_the_commands_show_it_among_the_checks_and_the_costs(splash: Limit, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["limits", "shaft-scale", "--reliability", "--samples", "1000"]) == 0
    shown = capsys.readouterr().out
    assert re.search(rf"^ *{splash.name} +1\.2 ", shown, re.MULTILINE)
    assert splash.keeps in shown
    assert run(["motors", "shaft-scale", "--json"]) == 0
    quickest = json.loads(capsys.readouterr().out)["motors"][0]
    assert splash.name in quickest["binding"]
    without = {cost["limit"]: cost["index_s_without"] for cost in quickest["costs"]}
    assert without[splash.name] < quickest["index_s"]
