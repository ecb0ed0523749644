"""The variable-acceleration bound against toppra and against adaptive quadrature (SciPy)."""

import math

import numpy as np
import pytest
from scipy import integrate, optimize

from firmware_host.planning.index.bound import move_bound
from firmware_host.planning.load.case import load_case
from tests.planning.index.workshop import random_machine, safe_motion
from tests.planning.limits.workshop import job, machine

toppra = pytest.importorskip("toppra", reason="toppra has no wheels for this system")
algorithm, constraint = toppra.algorithm, toppra.constraint


def toppra_seconds(length: float, top: float, steady: float, fall: float, friction: float, inertia: float) -> float:
    """Duration that toppra finds: inertia*a + friction + fall*v^2 <= steady up and down, v <= top. All at the part."""
    toppra.setup_logging("ERROR")
    path = toppra.SplineInterpolator([0, 1], np.array([[0.0], [length]]))

    def pushing(q: np.ndarray, v: np.ndarray, a: np.ndarray) -> np.ndarray:
        return inertia * a + friction + fall * v**2

    def holding(q: np.ndarray, v: np.ndarray, a: np.ndarray) -> np.ndarray:
        return -inertia * a - friction + fall * v**2

    def one(q: np.ndarray) -> np.ndarray:
        return np.ones((1, 1))

    def most(q: np.ndarray) -> np.ndarray:
        return np.array([steady])

    limits = [
        constraint.SecondOrderConstraint(pushing, one, most, dof=1),
        constraint.SecondOrderConstraint(holding, one, most, dof=1),
        constraint.JointVelocityConstraint(np.array([[-top, top]])),
    ]
    grid = (1 - np.cos(np.linspace(0, math.pi, 801))) / 2
    solver = algorithm.TOPPRA(limits, path, gridpoints=grid, solver_wrapper="seidel")
    _, speeds, _ = solver.compute_parameterization(0, 0)
    along = np.diff(grid) / ((speeds[1:] + speeds[:-1]) / 2)
    return float(along.sum())


@pytest.mark.parametrize("machines", [12, pytest.param(50, marks=pytest.mark.slow)])
def test_the_bound_is_toppra_s_on_random_machines_and_no_choice_is_quicker(machines: int) -> None:
    # A torque that falls with the square of the speed is a limit that toppra takes as it is.
    rng = np.random.default_rng(20260110)
    ratios, above = [], []
    for _ in range(machines):
        highest, fall_at = rng.uniform(0.4, 1.2), rng.uniform(30, 200)
        v = np.linspace(0, 0.995 * fall_at, 190)
        points = [
            {"speed": f"{s + 1e-3:.9f} rad/s", "torque": f"{highest * (1 - (s / fall_at) ** 2):.9f} N*m"} for s in v
        ]
        friction, rate = rng.uniform(0.01, 0.3), 10 ** rng.uniform(4, 5)
        rig = machine(
            motor__torque_curve__points=points,
            gearing__0__efficiency=1.0,
            gearing__0__driving_inertia="0 kg*m^2",
            drive__friction_torque=f"{friction:.9f} N*m",
            link__highest_step_rate=f"{rate:.6f} Hz",
        )
        load = load_case(rig, job(part__mass_offset="0 mm"))
        length = 10 ** rng.uniform(-1.5, 1.0)
        inertia = 2e-5 * 16 + 3e-4 + 5e-4 + 2.2 * 0.03**2 / 2
        top = min(0.8 * rate / 3200 * 2 * math.pi / 4, 0.99 * fall_at / 4)
        steady = 4 * highest * 0.8 / 2
        expected = toppra_seconds(length, top, steady, steady / (fall_at / 4) ** 2, friction, inertia)
        ratios.append(float(move_bound(load, np.array([length]), reserve=0.2)[0]) / expected)
        above.append(safe_motion(load, np.array([length / (2 * math.pi)])).timing.move_s / expected)
    assert ratios == pytest.approx(np.ones(machines), rel=1e-3)
    assert min(above) >= 1 - 1e-3
    # One constant acceleration costs a long index little, and a short one waits for its ringing.
    assert min(above) < 1.15 < max(above)


@pytest.mark.parametrize("turns", [pytest.param(1 / 12, id="short index"), pytest.param(2.0, id="long index")])
def test_the_bound_is_the_adaptive_quadrature_of_the_phase_plane(turns: float) -> None:
    work = job(part__mass_offset="0 mm")
    load = load_case(machine(gearing__0__efficiency=1.0, drive__friction_torque="1e-6 N*m"), work)
    inertia = (2.2e-5 * 16 + 3e-4 + 5e-4 + 2.2 * 0.03**2 / 2) / 4

    def acceleration(v: float) -> float:
        return float(np.interp(4 * v, [10, 40, 100], [0.8, 0.6, 0.12], right=0.0)) / 2 / inertia

    def way(peak: float) -> float:
        return 2 * float(integrate.quad(lambda v: v / acceleration(v), 0, peak, points=[2.5, 10.0], limit=200)[0])

    length, highest = 2 * math.pi * turns, 25.0 * (1 - 1e-9)
    peak = highest if way(highest) < length else optimize.brentq(lambda v: way(v) - length, 1e-3, highest)
    ramps = 2 * float(integrate.quad(lambda v: 1 / acceleration(v), 0, peak, points=[2.5, 10.0], limit=200)[0])
    expected = ramps + (length - way(peak)) / peak
    assert float(move_bound(load, np.array([length]), reserve=0.0)[0]) == pytest.approx(expected, rel=1e-4)


def test_no_chosen_move_is_quicker_than_the_bound() -> None:
    rng = np.random.default_rng(8)
    for _ in range(20):
        rig = random_machine(rng)
        found = safe_motion(rig.load, rig.turns)
        bound = float(move_bound(rig.load, 2 * math.pi * rig.turns[:1], reserve=0.2)[0])
        assert found.timing.move_s >= bound * (1 - 1e-4)


def test_a_load_that_does_not_move_takes_forever() -> None:
    load = load_case(machine(drive__friction_torque="2 N*m"), job())
    assert math.isinf(float(move_bound(load, np.array([1.0]), reserve=0.2)[0]))


def test_a_weak_supply_slows_the_ramp_up_only_for_braking_feeds_it() -> None:
    # By quadrature: 24 V * 0.25 A * 0.8 less the 4 W of the winding turns it; braking has all the torque.
    load = load_case(machine(driver__supply_current="0.25 A", link__highest_step_rate="12 kHz"), job())
    top = 0.8 * 12e3 / float(load.step_rate(1.0))
    at_rest, with_one = load.torque(np.array([0.0, 1.0])).accelerating

    def allowed(v: float) -> float:
        return 0.8 * float(load.pull_out(v)) / load.safety_factor

    def up(v: float) -> float:
        torque = min(allowed(v), 0.8 / (v * load.ratio) if v > 0 else math.inf)
        return float((torque - at_rest) / (with_one - at_rest))

    def down(v: float) -> float:
        return float(optimize.brentq(lambda a: float(load.torque(a).braking) - allowed(v), 0.0, 1e4))

    corners = [part for part in load.pull_out_corners.tolist() if part < top]
    options = {"limit": 400, "points": corners}
    time, way = (
        sum(integrate.quad(lambda v, a=a, n=n: v**n / a(v), 0.0, top, **options)[0] for a in (up, down)) for n in (0, 1)
    )
    length = 40 * math.pi
    assert way < length
    assert up(top) < 0.7 * down(top)
    assert float(move_bound(load, np.array([length]), reserve=0.2)[0]) == pytest.approx(
        time + (length - way) / top, rel=1e-4
    )
