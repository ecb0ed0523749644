"""What turns once the motor pulls no more, beside SciPy's integration and closed forms."""

from __future__ import annotations

import math

import pytest
from scipy import constants
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from firmware_host.simulator.true_machine.loose import Loose, Weight


def test_dry_friction_stops_it_at_an_even_rate() -> None:
    times = (0.5, 1.0, 1.5, 4.0)
    told = Loose(1e-3, 0.02, 0.0).speeds(60.0, times)
    assert told == pytest.approx([max(60.0 - 20.0 * each, 0.0) for each in times], abs=0.05)


@pytest.mark.parametrize("half_width", [0.05, 0.4])
def test_a_weight_swings_as_scipy_integrates_it(half_width: float) -> None:
    inertia, mass, arm = 6e-4, 0.3, 0.06
    whole = inertia + mass * arm**2

    def turning(_: float, state: list[float]) -> float:
        return state[1]

    made = solve_ivp(
        lambda _, state: [state[1], -mass * constants.g * arm * math.sin(state[0]) / whole],
        (0, 20),
        [half_width, 0.0],
        events=turning,
        rtol=1e-9,
        atol=1e-12,
    )
    turned = [each for each in made.t_events[0] if each > 1e-6]
    found = Loose(inertia, 0.0, 0.0).swing_time(Weight(mass, arm, 0.8), half_width, 5)
    assert found == pytest.approx(turned[9], abs=4e-3)


def test_friction_leaves_the_time_of_a_swing_and_ends_it_early() -> None:
    weight = Weight(0.3, 0.06, 0.0)
    free, rubbed = (Loose(6e-4, friction, 0.0).swing_time(weight, 0.15, 5) for friction in (0.0, 5e-4))
    assert free == pytest.approx(rubbed, rel=3e-3)
    assert Loose(6e-4, 0.01, 0.0).swing_time(weight, 0.15, 5) is None


def rests_by_energy(friction: float, imbalance: float, angle: float) -> float:
    """Turning point by turning point, each where friction has taken what the heavy side fell (roots by SciPy)."""
    while abs(imbalance * math.sin(angle)) > friction:
        began, way = angle, -math.copysign(1.0, math.sin(angle))
        angle = brentq(
            lambda x, of=began: imbalance * (math.cos(x) - math.cos(of)) - friction * abs(x - of),
            began + way * 1e-6,
            began + way * 2 * math.pi,
        )
    return angle


@pytest.mark.parametrize("friction", [0.004, 0.02, 0.05, 0.12])
@pytest.mark.parametrize("began", [0.9, 1.6, 2.5, -2.9])
def test_a_heavy_side_swings_to_and_fro_and_comes_to_rest_where_friction_holds_it(
    friction: float, began: float
) -> None:
    loose = Loose(2e-3, friction, 0.2)
    rests = loose.comes_to_rest(began)
    assert rests == pytest.approx(rests_by_energy(friction, 0.2, began), abs=0.02)
    assert abs(0.2 * math.sin(rests)) <= friction * (1 + 1e-9)


def test_it_stays_where_friction_holds_it() -> None:
    assert Loose(2e-3, 0.05, 0.2).comes_to_rest(0.2) == 0.2


def test_it_turns_under_what_is_more_than_friction_and_its_heavy_side() -> None:
    loose = Loose(1e-3, 0.05, 0.02)
    assert [loose.turns_under(each, math.pi / 2) for each in (0.069, 0.071, -0.029, -0.031)] == [
        False, True, False, True
    ]  # fmt: skip
