"""Rollers against SciPy's solution of the full plane statics, one and two driven rows, over many troughs."""

import math

import numpy as np
import pytest
from scipy import constants, optimize

from firmware_host.mechanics.contact import rollers
from firmware_host.mechanics.contact.rollers import Ramp
from firmware_host.mechanics.contact.trough import DrivenRows, Trough


def some_troughs(count: int) -> list[Trough]:
    draw = np.random.default_rng(20).uniform
    return [
        Trough(
            mass=draw(0.2, 20.0),
            part_inertia=draw(1e-4, 5e-3),
            part_diameter=draw(0.04, 0.3),
            roller_diameter=draw(0.015, 0.04),
            centre_distance=draw(0.03, 0.05),
            idle_row_inertia=draw(0, 2e-5),
            idle_friction_torque=draw(0, 1e-3),
            lever_arm=draw(0, 1e-3),
        )
        for _ in range(count)
    ]


def solved(
    trough: Trough, driven: DrivenRows, alpha: float, load: float, sense: float, pulls: tuple[float, float] = (0.0, 0.0)
) -> np.ndarray:
    """(N driven, N other, F driven, F other) by `scipy.optimize.root`, in Cartesian coordinates.

    Driven row on the left, counterclockwise positive: force balance across and upward and moment balance of the part,
    and what the other row does: an idle roller's own moment balance, or |F|/N alike on both rows.
    """
    rp, rr = trough.part_diameter / 2, trough.roller_diameter / 2
    half = trough.centre_distance / 2
    up = math.sqrt((rp + rr) ** 2 - half**2)
    inward = {"l": np.array([half, up]) / (rp + rr), "r": np.array([-half, up]) / (rp + rr)}
    lag = trough.lever_arm * sense
    weight = trough.mass * constants.g

    def residual(unknown: np.ndarray) -> list[float]:
        nl, nr, fl, fr = unknown
        force, moment = np.array([pulls[0], pulls[1] - weight]), -load
        for side, n, f in (("l", nl, fl), ("r", nr, fr)):
            arm = -rp * inward[side]
            along = np.array([-arm[1], arm[0]]) / rp
            total = n * inward[side] + f * along
            force = force + total
            moment += arm[0] * total[1] - arm[1] * total[0] - lag * n
        if driven is DrivenRows.ONE:
            turning = trough.idle_row_inertia * alpha * rp / rr + trough.idle_friction_torque * sense
            other = rr * fr + lag * nr + turning
        else:
            other = fl * nr - fr * nl
        return [force[0], force[1], moment - trough.part_inertia * alpha, other]

    found = optimize.root(residual, [weight / 2, weight / 2, 0.0, 0.0], tol=1e-13)
    assert np.abs(found.fun).max() < 1e-8
    return np.asarray(found.x)


@pytest.mark.parametrize("driven", list(DrivenRows), ids=lambda rows: rows.value)
def test_normals_and_tractions_are_the_roots_of_the_plane_statics(driven: DrivenRows) -> None:
    for trough in some_troughs(25):
        turned = Trough(**{name: getattr(trough, name) for name in trough.__dataclass_fields__} | {"driven": driven})
        strength = 0.05 * trough.mass * constants.g * trough.part_diameter / trough.part_inertia
        for alpha, sense in ((strength, 1.0), (-strength, 1.0), (strength / 2, -1.0)):
            load = 0.01 * trough.mass * constants.g * trough.part_diameter
            forces = rollers.contact_forces(turned, alpha, load, sense)
            got = [forces.normal_driven, forces.normal_other, forces.traction_driven, forces.traction_other]
            exact = solved(turned, driven, alpha, load, sense)
            scale = trough.mass * constants.g
            assert np.array(got, dtype=float) / scale == pytest.approx(exact / scale, abs=1e-9)


@pytest.mark.parametrize("driven", list(DrivenRows), ids=lambda rows: rows.value)
def test_the_unevenness_is_the_largest_over_all_senses_of_the_plane_statics(driven: DrivenRows) -> None:
    trough = Trough(1.4, 2.2e-3, 0.08, 0.03, 0.06, driven, 3e-6, 1.5e-3, 0.4e-3)
    worst = 0.0
    for alpha in (-40.0, 40.0):
        for load in (-0.02, 0.02):
            for sense in (-1.0, 1.0):
                nl, nr, _, _ = solved(trough, driven, alpha, load, sense)
                worst = max(worst, abs(nl - nr) / (nl + nr))
    assert rollers.unevenness(trough, 40.0, 0.02) == pytest.approx(worst, rel=1e-7)


def test_a_lifted_row_leaves_all_on_the_other() -> None:
    trough = Trough(1.4, 2.2e-3, 0.08, 0.03, 0.032, DrivenRows.ONE)
    assert rollers.unevenness(trough, 1e4) == 1.0
    assert rollers.unevenness(trough, 0.0) == pytest.approx(0.0, abs=1e-12)


RAMPS = [
    pytest.param(60.0, 20.0, id="more speeding up"),
    pytest.param(20.0, 60.0, id="more braking"),
    pytest.param(40.0, 46.0, id="friction tips the scales"),
]


@pytest.mark.parametrize(("up", "down"), RAMPS)
@pytest.mark.parametrize("driven", list(DrivenRows), ids=lambda rows: rows.value)
def test_braking_harder_than_speeding_up_needs_what_the_plane_statics_say(
    driven: DrivenRows, up: float, down: float
) -> None:
    trough = Trough(1.4, 2.2e-3, 0.08, 0.03, 0.06, driven, 3e-6, 1.5e-3, 0.4e-3)
    used, least = [], []
    for sense in (-1.0, 1.0):
        for alpha in (sense * up, -sense * down):
            for load in (-0.02, 0.02):
                nl, nr, fl, _ = solved(trough, driven, alpha, load, sense)
                used.append(abs(fl) / nl)
                least.append(min(nl, nr))
    needed = float(rollers.friction_needed(trough, up, 0.02, braking=down))
    assert needed == pytest.approx(max(used), rel=1e-7)
    assert float(rollers.smallest_normal(trough, up, 0.02, braking=down)) == pytest.approx(min(least), rel=1e-7)
    assert needed < float(rollers.friction_needed(trough, max(up, down), 0.02)) or up > down


@pytest.mark.parametrize("ramp", list(Ramp), ids=lambda ramp: ramp.value)
@pytest.mark.parametrize("driven", list(DrivenRows), ids=lambda rows: rows.value)
def test_a_single_ramp_uses_its_grip_up_where_the_root_of_its_friction_lies(driven: DrivenRows, ramp: Ramp) -> None:
    trough = Trough(1.4, 2.2e-3, 0.08, 0.03, 0.06, driven, 3e-6, 1.5e-3, 0.4e-3)

    def left(a: float) -> float:
        up, down = (a, 0.0) if ramp is Ramp.UP else (0.0, a)
        return 0.3 - float(rollers.friction_needed(trough, up, 0.02, braking=down))

    found = rollers.grip_acceleration(trough, 0.3, 0.02, ramp=ramp)
    assert found == pytest.approx(optimize.brentq(left, 0.1, 300.0), rel=1e-9)
    both = rollers.grip_acceleration(trough, 0.3, 0.02)
    assert (found == both) == (ramp is Ramp.UP)
