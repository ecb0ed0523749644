"""How warm copper and case get, beside SciPy's integration and the steady state of the plan's own formula."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from firmware_host.errors import InputError
from firmware_host.mechanics.motor.heat import winding_rise
from firmware_host.simulator.true_machine.heat import Bodies, Warm, Warmth
from tests.simulator.true_machine.machines import BELT, true_machine

MOTOR = {"thermal_resistance": "5 K/W", "thermal_time": "20 min", "ambient": "21 degC", "winding_inside": 0.25,
         "winding_time": "50 s"}  # fmt: skip
BODIES = Bodies.of(true_machine(motor=MOTOR), BELT)
LOSS = 2.4**2 * 0.95


def by_scipy(before: Warm, loss: float, lasts: float) -> np.ndarray:
    """Both heat balances, integrated."""

    def rates(_: float, warm: np.ndarray) -> list[float]:
        winding, case = warm
        inward = (winding - case) / 1.0
        heats = loss * (1 + 3.93e-3 * (winding - 20))
        return [(heats - inward) / 50.0, (inward - (case - 21) / 4.0) / (1200 / 4.0 - 50.0)]

    made = solve_ivp(rates, (0, lasts), list(before), rtol=1e-9, atol=1e-9, method="LSODA")
    return np.asarray(made.y[:, -1])


@pytest.mark.parametrize("lasts", [1.0, 60.0, 900.0, 20_000.0])
def test_a_stretch_at_one_current_is_what_the_heat_balances_integrate_to(lasts: float) -> None:
    for before in (BODIES.cold, Warm(90.0, 40.0), Warm(30.0, 60.0)):
        for loss in (LOSS, 0.0):
            assert BODIES.after(before, loss, lasts) == pytest.approx(by_scipy(before, loss, lasts), abs=1e-4)


def test_it_ends_where_the_plan_has_it_and_the_copper_is_warmer_by_its_share() -> None:
    end = BODIES.after(BODIES.cold, LOSS, 1e6)
    assert end.winding - 21 == pytest.approx(float(winding_rise(LOSS, 5.0, 21.0)))
    assert end.winding - end.case == pytest.approx(0.25 * (end.case - 21))


def test_the_copper_runs_ahead_of_its_case() -> None:
    soon = BODIES.after(BODIES.cold, LOSS, 60.0)
    assert soon.winding - 21 > 2 * (soon.case - 21)


def test_many_short_stretches_are_one_long_one() -> None:
    warm = BODIES.cold
    for _ in range(500):
        warm = BODIES.after(warm, LOSS, 3.0)
    assert warm == pytest.approx(BODIES.after(BODIES.cold, LOSS, 1500.0), abs=1e-8)


def test_it_is_cold_when_first_looked_at_warms_as_it_moves_and_stands_and_cools_when_let_go_of() -> None:
    machine = BELT.model_copy(update={"driver": BELT.driver.model_copy(update={"standstill_current": 0.5})})
    warmth = Warmth(true_machine(motor=MOTOR), machine)
    assert warmth.at(100.0) == BODIES.cold
    warmth.moved(110.0, 400.0)
    moved = BODIES.after(BODIES.after(BODIES.cold, LOSS / 4, 10.0), LOSS, 290.0)
    assert warmth.at(400.0) == pytest.approx(moved)
    assert warmth.at(700.0) == pytest.approx(BODIES.after(moved, LOSS / 4, 300.0))
    before = warmth.at(700.0)
    warmth.let_go()
    assert warmth.at(1500.0) == pytest.approx(BODIES.after(before, 0.0, 800.0))
    assert warmth.at(1500.0).winding < before.winding


def test_what_neither_file_says_is_told() -> None:
    bare = BELT.model_copy(update={"motor": BELT.motor.model_copy(update={"thermal_resistance": None})})
    with pytest.raises(InputError, match="thermal_resistance"):
        Warmth(true_machine(), bare).at(0.0)
