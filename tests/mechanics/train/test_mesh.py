"""Forces of belts, gears and worms on their shafts, against published examples."""

from __future__ import annotations

import math

import pytest

from firmware_host.mechanics.train import mesh

# Shigley's Mechanical Engineering Design, published solutions of chapter 17 (flexible elements), in lbf. Initial
# tension F_i and centrifugal tension F_c together are what the mounted belt has in each strand.
BELTS = [
    # Problem 17-1 (of example 17-2): F_i 396.6, F_c 73.4, F_1 - F_2 = 664; printed F_1 802, F_2 138.
    pytest.param(396.6 + 73.4, 664.0, 802.0, 138.0, id="problem 17-1"),
    # Problem 17-19, per belt: F_i 169.3, F_c 25.9, F_a 225.8; printed F_1 308.1, F_2 82.3.
    pytest.param(169.3 + 25.9, 225.8, 308.1, 82.3, id="problem 17-19"),
]


@pytest.mark.parametrize(("mounted", "effective", "tight", "slack"), BELTS)
def test_strands_of_a_mounted_belt_share_the_effective_force(
    mounted: float, effective: float, tight: float, slack: float
) -> None:
    assert mesh.belt_tensions(mounted, effective) == pytest.approx((tight, slack), abs=0.06)


@pytest.mark.parametrize(("mounted", "effective", "tight", "slack"), BELTS)
@pytest.mark.parametrize("wrap", [pytest.param(w, id=f"{w} rad") for w in (math.pi, 3.037, 2.4)])
def test_shaft_force_is_the_sum_of_two_strands_as_vectors(
    mounted: float, effective: float, tight: float, slack: float, wrap: float
) -> None:
    # Each strand leaves the pulley (pi - wrap)/2 off the line of centres.
    off = (math.pi - wrap) / 2
    along, across = (tight + slack) * math.cos(off), (tight - slack) * math.sin(off)
    assert mesh.belt_shaft_force(tight, slack, wrap) == pytest.approx(math.hypot(along, across))
    assert mesh.belt_shaft_force(tight, slack, wrap) <= mesh.belt_shaft_force(tight, slack)


def test_wrap_of_an_open_belt_is_the_printed_one() -> None:
    # Shigley, solutions of chapter 17, problem 17-4: pulleys of 6 and 18 in, 96 in apart: 3.016511 rad, and 3.266674 on
    # the larger one.
    assert mesh.belt_wrap(6, 18, 96) == pytest.approx(3.016511, abs=5e-7)
    assert mesh.belt_wrap(18, 6, 96) == pytest.approx(3.266674, abs=5e-7)


def test_a_belt_that_is_too_loose_carries_all_in_one_strand() -> None:
    assert mesh.belt_tensions(10.0, 50.0) == (50.0, 0.0)


def test_forces_of_a_worm_are_the_printed_ones() -> None:
    # Shigley, Mechanical Engineering Design, example 13-10 (from memory): 1 hp at 1200 rpm, two starts, 2 in pitch
    # diameter, 0.5236 in axial pitch, 30 teeth on 5 in, normal pressure angle 14.5 deg, f = 0.03. Printed: lead angle
    # 9.46 deg, W = 278 lbf; worm: tangential 52.5, radial 69.6, axial 264 lbf.
    worm_torque = 63025 * 1.0 / 1200  # lbf in
    lead = 2 * 0.5236
    tangent = lead / (math.pi * 2)
    phi = math.radians(14.5)
    efficiency = (math.cos(phi) - 0.03 * tangent) / (math.cos(phi) + 0.03 / tangent)
    forces = mesh.worm_forces(
        worm_torque * 15 * efficiency,
        wheel_diameter=5.0,
        worm_diameter=2.0,
        lead=lead,
        efficiency=efficiency,
        pressure_angle=phi,
    )
    assert math.degrees(math.atan(tangent)) == pytest.approx(9.46, abs=0.005)
    assert forces.tangential == pytest.approx(52.5, abs=0.05)
    assert forces.axial == pytest.approx(264, abs=0.5)
    assert forces.radial == pytest.approx(69.6, abs=0.1)
    assert forces.across == pytest.approx(math.hypot(52.5, 69.6), abs=0.1)


def test_spur_teeth_press_along_their_line_of_action() -> None:
    # Shigley, example 13-7 (from memory): 2.5 kW at 1750 rpm on a 20-tooth pinion of module 2.5 mm, 20 deg: printed
    # W_t = 0.546 kN, radial 0.199 kN, W = 0.581 kN.
    torque = 2500 / (1750 * 2 * math.pi / 60)
    tangential = mesh.tangential_force(torque, mesh.pitch_diameter(math.pi * 2.5e-3, 20))
    assert tangential == pytest.approx(546, abs=0.5)
    assert mesh.spur_shaft_force(tangential) == pytest.approx(581, abs=0.6)
    assert mesh.spur_shaft_force(tangential) == pytest.approx(math.hypot(546, 199), abs=1.0)
