"""Creep over a whole index, signed, against an index followed step by step with its own equilibrium of the part."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from firmware_host.mechanics.contact.creep import creep_ratio, index_creep, signed_creep
from firmware_host.mechanics.contact.rollers import DrivenRows, Trough, friction_needed

FRICTION, WIDTH = 0.35, 1.2e-3
FREE = Trough(
    mass=0.22, part_inertia=3.4e-4, part_diameter=0.080, roller_diameter=0.0254, centre_distance=0.042,
    driven=DrivenRows.ONE,
)  # fmt: skip
DRAGGED = replace(FREE, lever_arm=0.8e-3, idle_friction_torque=5e-4)


def carter(used: float) -> float:
    """Creep of two cylinders in tractive rolling, signed: mu a/R (1 - sqrt(1 - u)), 1/R = 2/D + 2/d."""
    size = FRICTION * WIDTH / 2 * (2 / 0.080 + 2 / 0.0254) * (1 - math.sqrt(1 - abs(used)))
    return math.copysign(size, used)


def grip_used(alpha: float, gravity: float) -> float:
    """F/(mu N) at the driven row of a part without friction, from the three equations of the plane."""
    sine, radius = 0.042 / (0.080 + 0.0254), 0.040
    cosine = math.sqrt(1 - sine**2)
    # Unknown: normal of the driven row, normal of the other one, traction at the driven row (towards the middle).
    equations = [[sine, -sine, cosine], [cosine, cosine, -sine], [0, 0, radius]]
    driven, _, traction = np.linalg.solve(equations, [0, 0.22 * 9.80665, 3.4e-4 * alpha + gravity])
    return float(traction / (FRICTION * driven))


def followed(sense: float, acceleration: float, share: float, gravity: float) -> float:
    """The part of an index's travel that is lost, summed over a thousand pieces of it."""
    lost = 0.0
    for piece in np.linspace(0.0005, 0.9995, 1000):
        rate = acceleration if piece < share else -acceleration if piece > 1 - share else 0.0
        lost += sense * carter(grip_used(sense * rate, gravity)) / 1000
    return lost


@pytest.mark.parametrize("share", [0.1, 0.25, 0.5])
@pytest.mark.parametrize("acceleration", [2.0, 20.0])
def test_a_part_without_friction_loses_what_following_it_loses(acceleration: float, share: float) -> None:
    least, most = index_creep(FREE, friction=FRICTION, contact_width=WIDTH, acceleration=acceleration, ramp_share=share)
    both = [followed(sense, acceleration, share, 0.0) for sense in (1, -1)]
    assert (float(least), float(most)) == pytest.approx((min(both), max(both)), rel=1e-6, abs=1e-12)


def test_speeding_up_and_braking_partly_cancel_and_steady_friction_does_not() -> None:
    def creep(trough: Trough, acceleration: float) -> tuple[float, float]:
        ends = index_creep(trough, friction=FRICTION, contact_width=WIDTH, acceleration=acceleration, ramp_share=0.5)
        return float(ends[0]), float(ends[1])

    alone = carter(grip_used(20.0, 0.0))
    assert max(map(abs, creep(FREE, 20.0))) < 0.15 * alone
    steady = creep(DRAGGED, 0.0)
    used = float(friction_needed(DRAGGED, 0.0)) / FRICTION
    assert steady[0] == pytest.approx(0, abs=1e-15)
    assert steady[1] == pytest.approx(creep_ratio(used, FRICTION, WIDTH, 0.080, 0.0254))
    least, most = creep(DRAGGED, 20.0)
    assert least < steady[1] < most


def test_an_imbalance_widens_the_range_both_ways() -> None:
    acceleration, share, gravity = 5.0, 0.3, 2e-3
    least, most = index_creep(
        FREE, friction=FRICTION, contact_width=WIDTH, acceleration=acceleration, ramp_share=share,
        imbalance_torque=gravity,
    )  # fmt: skip
    inside = [followed(sense, acceleration, share, way * gravity) for sense in (1, -1) for way in (-1, 0, 1)]
    assert min(inside) < 0 < max(inside)
    assert float(least) == pytest.approx(min(inside), rel=1e-6)
    # Gravity the same way all through one of them is the worst there is.
    assert float(most) == pytest.approx(max(inside), rel=1e-6)


def test_creep_has_the_sign_of_the_traction_and_no_size_beyond_the_grip() -> None:
    assert signed_creep(-0.3, FRICTION, WIDTH, 0.080, 0.0254) == -signed_creep(0.3, FRICTION, WIDTH, 0.080, 0.0254)
    assert signed_creep(-1.1, FRICTION, WIDTH, 0.080, 0.0254) == -math.inf
    assert math.isnan(signed_creep(math.nan, FRICTION, WIDTH, 0.080, 0.0254))
    _, most = index_creep(FREE, friction=FRICTION, contact_width=WIDTH, acceleration=500.0, ramp_share=0.5)
    assert not np.isfinite(most)


def test_many_shares_are_looked_at_in_one_go() -> None:
    shares = np.array([0.0, 0.2, 0.5])
    least, most = index_creep(DRAGGED, friction=FRICTION, contact_width=WIDTH, acceleration=5.0, ramp_share=shares)
    for k, share in enumerate(shares.tolist()):
        one = index_creep(DRAGGED, friction=FRICTION, contact_width=WIDTH, acceleration=5.0, ramp_share=share)
        assert (float(one[0]), float(one[1])) == (least[k], most[k])
