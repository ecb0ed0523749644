"""Motors compared on a job: the shipped library on three jobs, what limits cost, and the Pareto set by brute force."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from firmware_host.errors import FormulaRangeError
from firmware_host.model import Motor, Setup, load_job, load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.compare.cost import limit_costs
from firmware_host.planning.compare.motors import MotorCandidate, compare_motors, machine_with, pareto_set
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.index.safe_motion import motion_for
from firmware_host.planning.index.search import IndexSearch
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.limits.limit import TENFOLD
from firmware_host.planning.limits.motor.torque import TorquePeak
from firmware_host.planning.load.case import load_case
from firmware_host.planning.plan import plan_job
from tests.planning.limits.workshop import DELETE, MOTOR, changed, job, machine, roller_machine

USABLE = (Verdict.HOLDS, Verdict.NARROW, Verdict.EXCEEDED)


def shipped() -> dict[str, Motor]:
    return {p.name: load_motor(str(p.path)) for p in list_profiles("motors") if p.shipped}


def motor(**changes: Any) -> Motor:
    return Motor.model_validate(changed(MOTOR, {key.replace("__", "."): value for key, value in changes.items()}))


def compared(setup: Setup, motors: dict[str, Motor]) -> dict[str, MotorCandidate]:
    return {each.name: each for each in compare_motors(setup, motors)}


@pytest.mark.parametrize(
    ("name", "kind"),
    [("tumbler-wrap", "rollers"), ("heavy-shaft", "chuck"), ("sleeve-label", "chuck")],
    ids=["light cup on rollers", "14 kg steel shaft", "thin tube"],
)
def test_the_shipped_motors_are_ranked_and_fall_short_for_three_different_reasons(name: str, kind: str) -> None:
    setup = load_job(name)
    assert setup.machine.drive.kind == kind
    found = compare_motors(setup, shipped())
    assert len(found) >= 10
    failing = [set(each.reasons) for each in found if each.verdict is Verdict.FAILS]
    for reasons in ({"torque-accelerating"}, {"heat-holding", "heat-cycle"}):
        assert reasons in failing, "each is some motor's only reason"
    assert any("inertia-ratio" in each.reasons for each in found if each.verdict is Verdict.EXCEEDED)
    usable = [each for each in found if each.verdict in USABLE]
    assert len(usable) >= 3
    assert [each.verdict for each in found] == sorted((each.verdict for each in found), key=list(Verdict).index)
    for verdict in USABLE:
        times = [each.timing.index_s for each in usable if each.verdict is verdict and each.timing is not None]
        assert times == sorted(times, key=lambda seconds: round(seconds, 4))


def test_a_row_is_the_plan_of_that_motor_in_the_machine() -> None:
    setup = load_job("shaft-scale")
    row = compared(setup, shipped())["nema34-short"]
    # 5 A rated, but this machine's driver can be set to 4.5 A.
    assert row.current_text == "4.5 A"
    own = replace(setup, machine=machine_with(setup.machine, shipped()["nema34-short"]))
    report = plan_job(own).limits
    assert own.machine.driver.current.si == 4.5
    assert row.motion == report.motion
    assert row.verdict is report.verdict
    margins = {check.name: check.margin for check in report.checks if check.name.startswith("torque-")}
    assert set(margins) == {"torque-accelerating", "torque-braking", "torque-peak"}
    assert row.torque_margin == min(margins.values(), key=lambda margin: margin if margin is not None else 9.0)


def test_the_machine_s_own_motor_at_its_rated_current_is_one_of_the_rows() -> None:
    setup = Setup(job(), machine())
    row = compared(setup, {"own": motor()})["own"]
    report = plan_job(setup).limits
    assert row.timing == report.motion.timing
    assert row.current_text == "2.0 A"


@pytest.mark.parametrize(
    ("most", "set_to"), [(None, "2.0 A"), ("3 A", "2.0 A"), ("1.5 A", "1.5 A")], ids=["not stated", "above", "below"]
)
def test_the_driver_is_set_to_the_rated_current_or_to_the_most_it_can(most: str | None, set_to: str) -> None:
    rig = machine(driver__highest_current=most, driver__current="0.5 A")
    assert str(machine_with(rig, motor()).driver.current) == set_to


def test_less_current_than_rated_leaves_less_torque_margin() -> None:
    work = job(index={"speed": "8 rad/s", "acceleration": "60 rad/s^2"})
    margins = []
    for most in ("1 A", "2 A"):
        rig = machine(driver__highest_current=most, driver__current="1 A")
        margins.append(compared(Setup(work, rig), {"own": motor()})["own"].torque_margin)
    weak, strong = margins
    assert weak is not None
    assert strong is not None
    # Torque goes with the current (first order), so what is needed takes twice the share of it.
    assert 1 - weak == pytest.approx(2 * (1 - strong), rel=0.05)


def test_a_motor_of_which_only_the_label_is_known_is_ranked_by_the_slowest_of_its_size() -> None:
    label = motor(
        torque_curve=DELETE, resistance=DELETE, inductance=DELETE, rotor_inertia=DELETE, thermal_resistance=DELETE
    )
    found = compared(Setup(job(), machine()), {"label": label, "whole": motor()})
    assert found["label"].motion is not None
    assert found["whole"].motion is not None
    assert found["label"].motion.timing.index_s > found["whole"].motion.timing.index_s


def test_a_motor_without_thermal_data_or_shaft_loads_is_ranked_on_what_is_known() -> None:
    without = motor(thermal_resistance=DELETE, radial_load=DELETE)
    found = compared(Setup(job(), machine()), {"whole": motor(), "without": without})
    rated, bare = found["whole"], found["without"]
    assert (rated.on_what_is_known, rated.not_known, rated.assumed) == (False, (), ())
    assert bare.on_what_is_known
    assert bare.not_known == ("motor-shaft-load",)
    assert bare.assumed == ("motor.thermal_resistance",)
    assert bare.timing == rated.timing
    assert bare.verdict in USABLE
    assert bare.best


def test_a_part_that_falls_through_is_no_motor_s_fault() -> None:
    setup = Setup(job(part__diameter="19 mm"), roller_machine())
    with pytest.raises(FormulaRangeError, match="falls through"):
        compare_motors(setup, {"own": motor()})


# --- what limits cost -------------------------------------------------------------------------------------------------


def costs_of(setup: Setup) -> tuple[dict[str, float], float]:
    plan = plan_job(setup)
    load = load_case(setup.machine, setup.job)
    moves = index_moves(plan.route.index_turns, plan.route.purpose)
    found = limit_costs(load, moves, plan.limits.motion, setup.job.index)
    return {cost.name: cost.index_s for cost in found}, plan.limits.motion.timing.index_s


def test_lifting_the_board_s_step_rate_costs_what_a_machine_with_a_faster_board_shows() -> None:
    slow = Setup(job(), machine(link__highest_step_rate="4 kHz"))
    costs, taken = costs_of(slow)
    fast = plan_job(Setup(job(), machine(link__highest_step_rate="40 kHz"))).limits.motion.timing.index_s
    assert costs["step-rate-controller"] == pytest.approx(fast, rel=1e-12)
    assert costs["step-rate-controller"] < 0.8 * taken


def test_lifting_the_grip_costs_what_a_machine_with_grippier_rollers_shows() -> None:
    work = job(part__mass_offset="0 mm")
    costs, taken = costs_of(Setup(work, roller_machine(friction=0.05)))
    sticky = load_case(roller_machine(friction=0.5), work)
    plan = plan_job(Setup(work, roller_machine(friction=0.5)))
    wanted = motion_for(sticky, index_moves(plan.route.index_turns, plan.route.purpose)).timing.index_s
    assert costs["grip"] == pytest.approx(wanted, rel=1e-9)
    assert costs["grip"] < 0.8 * taken


@pytest.mark.parametrize(
    ("by_points", "current"), [(True, "0.2 A"), (False, "0.3 A")], ids=["torque points", "electrical data"]
)
def test_lifting_the_torque_costs_what_a_motor_of_ten_times_the_torque_shows(by_points: bool, current: str) -> None:
    rig = machine(
        driver__current=current, drive__inertia="2e-2 kg*m^2", **({} if by_points else {"motor__torque_curve": DELETE})
    )
    setup = Setup(job(), rig)
    costs, taken = costs_of(setup)
    load = load_case(rig, setup.job)
    plan = plan_job(setup)
    moves = index_moves(plan.route.index_turns, plan.route.purpose)
    # The definition: what may be asked for rises tenfold at every speed, all else stays.
    lifted = IndexSearch([load], moves, 0.2)
    before = lifted.pull_out(np.array([1.0, 3.0]))
    after = IndexSearch([TorquePeak().lifted(load)], moves, 0.2).pull_out(np.array([1.0, 3.0]))
    assert after == pytest.approx(TENFOLD * before, rel=1e-3)
    assert costs["torque"] < 0.95 * taken


def test_a_stated_motion_costs_the_difference_to_the_free_choice() -> None:
    stated = Setup(job(index={"speed": "1 rad/s", "acceleration": "5 rad/s^2"}), machine())
    costs, taken = costs_of(stated)
    free = plan_job(Setup(job(), machine())).limits.motion.timing.index_s
    assert costs == {"as-stated": pytest.approx(free, rel=1e-12)}
    assert free < taken / 2


@pytest.mark.some(2)
@pytest.mark.parametrize("name", ["tumbler-wrap", "heavy-shaft", "sleeve-label", "bottle-band", "shaft-scale"])
def test_no_index_gets_slower_when_a_limit_is_lifted(name: str) -> None:
    for row in compare_motors(load_job(name), shipped()):
        if row.timing is None:
            continue
        assert len({cost.name for cost in row.costs}) == len(row.costs)
        for cost in row.costs:
            assert 0 < cost.index_s <= row.timing.index_s * (1 + 1e-3), (row.name, cost)


# --- the Pareto set ---------------------------------------------------------------------------------------------------


def beaten(i: int, times: np.ndarray, margins: np.ndarray) -> bool:
    """Brute force, straight from the definition."""
    no_worse = (times <= times[i]) & (margins >= margins[i])
    better = (times < times[i]) | (margins > margins[i])
    return bool((no_worse & better).any())


@pytest.mark.parametrize("ties", [False, True], ids=["all different", "many ties"])
def test_the_pareto_set_is_that_of_brute_force(ties: bool) -> None:
    rng = np.random.default_rng(8)
    for _ in range(300):
        n = int(rng.integers(1, 40))
        times, margins = rng.random(n), rng.random(n)
        if ties:
            times, margins = np.round(times, 1), np.round(margins, 1)
        assert pareto_set(times, margins).tolist() == [not beaten(i, times, margins) for i in range(n)]


def test_only_motors_that_hold_are_best_and_no_other_that_holds_beats_them() -> None:
    found = compare_motors(load_job("shaft-scale"), shipped())
    rows = [each for each in found if each.verdict in USABLE and each.timing is not None]
    times = np.array([round(each.timing.index_s, 4) for each in rows if each.timing is not None])
    margins = np.array([each.torque_margin for each in rows])
    assert [each.best for each in rows] == [not beaten(i, times, margins) for i in range(len(rows))]
    assert sum(each.best for each in rows) >= 2
    assert not any(each.best for each in found if each.verdict not in USABLE)


@pytest.mark.parametrize(
    ("name", "weak", "strong"),
    [
        pytest.param("supply-current", {"supply_current": "0.25 A"}, {"supply_current": "2.5 A"}, id="current"),
        pytest.param("supply-voltage", {"supply_capacitance": "10 uF"}, {"supply_capacitance": "100 uF"}, id="voltage"),
    ],
)
def test_lifting_a_supply_tenfold_costs_what_a_machine_with_that_supply_shows(
    name: str, weak: dict[str, str], strong: dict[str, str]
) -> None:
    rigs = [machine(**{f"driver__{key}": value for key, value in keys.items()}) for keys in (weak, strong)]
    plans = [plan_job(Setup(job(), rig)) for rig in rigs]
    costs, taken = costs_of(Setup(job(), rigs[0]))
    assert name in plans[0].limits.motion.binding
    assert costs[name] == pytest.approx(plans[1].limits.motion.timing.index_s, rel=1e-12)
    assert costs[name] < taken
