"""Rollers against the full statics and dynamics of part and rollers, solved as one linear system (numpy.linalg)."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import constants, optimize

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.contact import rollers
from firmware_host.mechanics.contact.trough import DrivenRows, Trough, contact_half_angle, normal_at_standstill

TROUGH = Trough(
    mass=1.4,
    part_inertia=2.2e-3,
    part_diameter=0.08,
    roller_diameter=0.03,
    centre_distance=0.06,
    idle_row_inertia=3e-6,
    idle_friction_torque=1.5e-3,
    lever_arm=0.4e-3,
)


def all_bodies(
    trough: Trough, alpha: float, load: float, sense: float, pulls: tuple[float, float] = (0.0, 0.0)
) -> dict[str, float]:
    """Newton's equations of three bodies in Cartesian coordinates, driven roller left, counterclockwise positive.

    `pulls`: what pulls on the part besides its weight, to the right and upward. Unknowns: contact forces (x, y) on the
    part at both contacts, the rollers' bearing forces, the driving torque.
    """
    rp, rr = trough.part_diameter / 2, trough.roller_diameter / 2
    left, right = np.array([-trough.centre_distance / 2, 0.0]), np.array([trough.centre_distance / 2, 0.0])
    height = math.sqrt((rp + rr) ** 2 - (trough.centre_distance / 2) ** 2)
    centre = np.array([0.0, height])
    unknowns = ["lx", "ly", "rx", "ry", "blx", "bly", "brx", "bry", "drive"]
    rows, known = [], []

    def equation(value: float, **factors: float) -> None:
        rows.append([factors.get(name, 0.0) for name in unknowns])
        known.append(value)

    touch = {side: at + (centre - at) * rr / (rp + rr) for side, at in (("l", left), ("r", right))}
    normal = {side: (centre - at) / (rp + rr) for side, at in (("l", left), ("r", right))}
    weight = trough.mass * constants.g
    equation(-pulls[0], lx=1, rx=1)
    equation(weight - pulls[1], ly=1, ry=1)
    arms = {side: touch[side] - centre for side in "lr"}
    f = trough.lever_arm * sense
    equation(
        trough.part_inertia * alpha + load,
        **{f"{s}x": -arms[s][1] - f * normal[s][0] for s in "lr"},
        **{f"{s}y": arms[s][0] - f * normal[s][1] for s in "lr"},
    )
    for side, at, inertia, bearing, drives in (
        ("l", left, 0.0, 0.0, 1.0),
        ("r", right, trough.idle_row_inertia, trough.idle_friction_torque, 0.0),
    ):
        arm = touch[side] - at
        equation(0.0, **{f"{side}x": -1, f"b{side}x": 1})
        equation(0.0, **{f"{side}y": -1, f"b{side}y": 1})
        # The roller turns the other way; the part's force on it is the contact force reversed.
        factors = {f"{side}x": arm[1] + f * normal[side][0], f"{side}y": -arm[0] + f * normal[side][1]}
        equation(inertia * -alpha * rp / rr - bearing * sense, drive=drives, **factors)
    solution = dict(zip(unknowns, np.linalg.solve(np.array(rows), known), strict=True))
    for side in "lr":
        force = np.array([solution[f"{side}x"], solution[f"{side}y"]])
        solution[f"normal_{side}"] = float(force @ normal[side])
        arm = arms[side] / rp
        solution[f"traction_{side}"] = float(force @ np.array([-arm[1], arm[0]]))
    return solution


@pytest.mark.parametrize(
    ("alpha", "load", "sense"),
    [
        pytest.param(0.0, 0.0, 1.0, id="constant speed"),
        pytest.param(40.0, 0.02, 1.0, id="speeding up uphill"),
        pytest.param(-40.0, 0.02, 1.0, id="braking"),
        pytest.param(25.0, -0.01, -1.0, id="braking the other way"),
        pytest.param(-60.0, 0.0, -1.0, id="speeding up the other way"),
    ],
)
def test_contact_forces_satisfy_newton_for_part_and_both_rollers(alpha: float, load: float, sense: float) -> None:
    forces = rollers.contact_forces(TROUGH, alpha, load, sense)
    exact = all_bodies(TROUGH, alpha, load, sense)
    got = (forces.normal_driven, forces.normal_other, forces.traction_driven, forces.traction_other)
    expected = [exact[name] for name in ("normal_l", "normal_r", "traction_l", "traction_r")]
    assert [float(value) for value in got] == pytest.approx(expected, rel=1e-9)


def test_two_driven_rows_share_in_proportion_and_balance_force_and_moment() -> None:
    trough = replace(TROUGH, driven=DrivenRows.BOTH, lever_arm=0.4e-3)
    forces = rollers.contact_forces(trough, 50.0, 0.01)
    nd, no = float(forces.normal_driven), float(forces.normal_other)
    td, to = float(forces.traction_driven), float(forces.traction_other)
    s, c = math.sin(trough.half_angle), math.cos(trough.half_angle)
    assert td / nd == pytest.approx(to / no)
    assert s * (nd - no) + c * (td + to) == pytest.approx(0, abs=1e-12)
    assert c * (nd + no) + s * (to - td) == pytest.approx(trough.mass * constants.g)
    needed = trough.part_inertia * 50.0 + 0.01 + trough.lever_arm * (nd + no)
    assert (td + to) * trough.part_diameter / 2 == pytest.approx(needed)


def test_at_rest_each_row_bears_half_the_weight_over_the_cosine() -> None:
    beta = contact_half_angle(0.08, 0.03, 0.06)
    assert math.sin(beta) == pytest.approx(0.03 / 0.055)
    quiet = replace(TROUGH, idle_friction_torque=0.0, lever_arm=0.0)
    forces = rollers.contact_forces(quiet, 0.0)
    assert float(forces.normal_driven) == pytest.approx(normal_at_standstill(1.4, beta))
    assert 2 * normal_at_standstill(1.4, beta) * math.cos(beta) == pytest.approx(1.4 * constants.g)


@pytest.mark.parametrize("driven", list(DrivenRows), ids=lambda rows: rows.value)
def test_at_the_grip_acceleration_the_worst_case_is_just_used_up(driven: DrivenRows) -> None:
    trough = replace(TROUGH, driven=driven)
    mu, imbalance = 0.3, 0.02
    limit = rollers.grip_acceleration(trough, mu, imbalance)
    found = optimize.brentq(lambda a: float(rollers.friction_needed(trough, a, imbalance)) - mu, 0.1, 200.0)
    assert limit == pytest.approx(found, rel=1e-9)
    needed = rollers.friction_needed(trough, np.array([0.99, 1.01]) * limit, imbalance)
    assert needed[0] < mu < needed[1]


def test_the_worst_case_is_the_largest_of_all_senses_by_the_full_statics() -> None:
    worst = 0.0
    for alpha in (-40.0, 40.0):
        for load in (-0.02, 0.02):
            for sense in (-1.0, 1.0):
                exact = all_bodies(TROUGH, alpha, load, sense)
                worst = max(worst, abs(exact["traction_l"]) / exact["normal_l"])
    assert float(rollers.friction_needed(TROUGH, 40.0, 0.02)) == pytest.approx(worst, rel=1e-9)


def test_a_rough_grip_on_close_rollers_lifts_the_part_before_it_slips() -> None:
    trough = replace(TROUGH, centre_distance=0.032, driven=DrivenRows.BOTH)
    assert math.tan(trough.half_angle) < 0.9
    limit = rollers.grip_acceleration(trough, 0.9)
    assert (
        float(rollers.smallest_normal(trough, 0.999 * limit))
        > 0
        > float(rollers.smallest_normal(trough, 1.001 * limit))
    )
    assert math.isinf(float(rollers.friction_needed(trough, 1.001 * limit)))
    one = replace(trough, driven=DrivenRows.ONE)
    limit_one = rollers.grip_acceleration(one, 5.0)
    assert (
        float(rollers.smallest_normal(one, 1.001 * limit_one))
        < 0
        < float(rollers.smallest_normal(one, 0.999 * limit_one))
    )


def test_a_part_that_slips_at_constant_speed_has_no_grip_left() -> None:
    assert rollers.grip_acceleration(TROUGH, 0.05, imbalance_torque=0.2) == 0.0
    both = replace(TROUGH, driven=DrivenRows.BOTH)
    assert rollers.grip_acceleration(both, 0.05, imbalance_torque=0.2) == 0.0


def test_a_part_too_small_for_the_trough_is_refused_with_the_smallest_that_fits() -> None:
    with pytest.raises(FormulaRangeError, match=r"part diameter: 0\.03 m, limit 0\.03 m\. The part falls through"):
        contact_half_angle(0.03, 0.03, 0.06)


def test_the_drag_of_rolling_is_the_power_lost_over_the_part_s_speed() -> None:
    # At one rad/s of the part: every contact loses N f (part speed + roller speed), the idle bearings their torque.
    exact = all_bodies(TROUGH, 0.0, 0.0, 1.0)
    roller_speed = 0.08 / 0.03
    contact = (exact["normal_l"] + exact["normal_r"]) * 0.4e-3 * (1 + roller_speed)
    power = contact + 1.5e-3 * roller_speed
    assert rollers.rolling_drag_torque(TROUGH) == pytest.approx(power, rel=1e-9)
    assert abs(exact["drive"]) * roller_speed == pytest.approx(power, rel=1e-9)
