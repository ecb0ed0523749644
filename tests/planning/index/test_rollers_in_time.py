"""The chosen motion of a part on rollers run in time: an oscillator integrated with SciPy, its grip at every instant.

The part turns with the rotor on its magnetic spring, e'' + 2 zeta w e' + w^2 e = -a(t), so it is accelerated by
x'' = -2 zeta w e' - w^2 e. At each instant the driven rollers' friction follows from the plane statics.
"""

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from scipy import integrate

from firmware_host.mechanics.contact.rollers import contact_forces
from firmware_host.mechanics.contact.trough import normal_at_standstill
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.route.velocity import plan_index
from tests.planning.index.workshop import safe_motion, speed_at
from tests.planning.limits.workshop import job, roller_machine

FRICTION, DAMPING = 0.35, 0.05
BAND = (0.9, 1.0, 1.1)


def rollers(rows: int) -> LoadCase:
    rig = roller_machine(
        driven_rows=rows, friction=FRICTION, rolling_resistance="0.5 mm", idle_friction_torque="0.5 N*mm"
    )
    return load_case(rig, job())


def swing(
    natural: float, ends: list[float], acceleration: Callable[[np.ndarray], np.ndarray]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(t, x'', e') from rest through the phases that end at `ends` (s), and ten periods beyond the last."""
    state, start, parts = [0.0, 0.0], 0.0, []
    for end in [*ends, ends[-1] + 10 * 2 * np.pi / natural]:
        if end <= start:
            continue
        # Within a phase the acceleration is smooth; at its ends that of the inside counts.
        inside = (start + 1e-12, end - 1e-12)

        def rhs(t: float, y: np.ndarray, inside: tuple[float, float] = inside) -> list[float]:
            a = float(acceleration(np.asarray(min(max(t, inside[0]), inside[1]))))
            return [y[1], -a - 2 * DAMPING * natural * y[1] - natural**2 * y[0]]

        times = np.linspace(start, end, max(20, int((end - start) * natural * 8)))
        solution = integrate.solve_ivp(
            rhs, (start, end), state, t_eval=times, rtol=1e-7, atol=1e-10, max_step=0.3 / natural
        )
        lag, rate = solution.y
        parts.append((times, -2 * DAMPING * natural * rate - natural**2 * lag, rate))
        state, start = [float(lag[-1]), float(rate[-1])], end
    t, x, rate = (np.concatenate(column) for column in zip(*parts, strict=True))
    return t, x, rate


def worst(load: LoadCase, accelerations: np.ndarray, speeds: np.ndarray) -> tuple[float, float]:
    """(friction needed, least normal over that at rest): worst of all instants, both ways round, either imbalance."""
    trough = load.trough
    assert trough is not None
    used, least = 0.0, np.inf
    for way, gravity in itertools.product((1.0, -1.0), (1.0, -1.0)):
        forces = contact_forces(trough, way * accelerations, gravity * load.imbalance_torque, way * np.sign(speeds))
        used = max(used, float(forces.friction_needed.max()))
        least = min(least, float(np.minimum(forces.normal_driven, forces.normal_other).min()))
    return used, least / normal_at_standstill(trough.mass, trough.half_angle)


@pytest.mark.some(2)
@pytest.mark.parametrize("rows", [1, 2], ids=["one row driven", "both rows driven"])
@pytest.mark.parametrize("turns", [pytest.param(t, id=f"{t:g} turns") for t in (0.004, 0.02, 1 / 12, 0.5, 2.0)])
def test_the_chosen_motion_never_slips_nor_lifts_at_any_instant(rows: int, turns: float) -> None:
    load = rollers(rows)
    found = safe_motion(load, np.array([turns]))
    move = plan_index(2 * np.pi * turns, found.acceleration, found.speed)
    ramp, end = float(move.ramp_time), float(move.duration)
    used = []
    for off in BAND:
        t, x, rate = swing(
            off * load.natural_frequency,
            [ramp, end - ramp, end],
            lambda t: (
                np.where(t < ramp, 1.0, np.where(t > end - ramp, -1.0, 0.0))
                * np.where(t < end, 1.0, 0.0)
                * found.acceleration
            ),
        )
        needed, pressing = worst(load, x, speed_at(move, t) + rate)
        assert needed <= 0.8 * FRICTION * (1 + 2e-3)
        assert pressing >= 0.2
        used.append(needed)
    if "grip-peak" in found.binding:
        assert max(used) > 0.9 * 0.8 * FRICTION  # what the limit leaves is not far from what the swing takes


def test_a_ramp_nearly_twice_as_sharp_slips() -> None:
    load = rollers(1)
    found = safe_motion(load, np.array([0.5]))
    a = 1.8 * found.acceleration
    move = plan_index(np.pi, a, found.speed)
    ramp, end = float(move.ramp_time), float(move.duration)
    t, x, rate = swing(load.natural_frequency, [ramp], lambda t: np.where(t < ramp, a, 0.0))
    assert end > ramp
    assert worst(load, x, speed_at(move, t) + rate)[0] > FRICTION
