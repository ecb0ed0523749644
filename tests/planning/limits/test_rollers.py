"""Limits of a part on rollers: it falls through, creeps and walks; cones on two places of contact."""

import itertools
import math
from typing import Any

import numpy as np
import pytest
from scipy import constants

from firmware_host.errors import InputError
from firmware_host.mechanics.contact.creep import creep_ratio, walk_per_turn
from firmware_host.mechanics.contact.rollers import friction_needed, unevenness
from firmware_host.planning.index.extremes import index_extremes
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.limit_report import check_limits
from firmware_host.planning.limits.check import LimitCheck, Verdict
from firmware_host.planning.load.case import load_case
from tests.mechanics.contact.test_rollers import all_bodies
from tests.planning.limits.report import INDEXES, named, names, report
from tests.planning.limits.workshop import DELETE, job, roller_machine

INDEX = 2 * math.pi / 12
CONE: dict[str, Any] = {
    "kind": "cone",
    "diameter": "60 mm",
    "large_diameter": "64 mm",
    "small_diameter": "56 mm",
    "length": "160 mm",
    "mass": "3.5 kg",
    "mass_offset": "0.1 mm",
    "contact_from": ["40 mm", "120 mm"],
}


def cone_report(rig: Any = None, **changes: Any) -> Any:
    part = {key: value for key, value in (CONE | changes).items() if value is not None}
    return report(rig or roller_machine(axial_stop=False), job(part=part), acceleration=20.0)


def check_of(name: str, rig: Any, **changes: Any) -> LimitCheck:
    return named(report(rig, job(**changes), acceleration=20.0), name)


def test_the_trough_is_wide_enough_for_parts_above_a_least_diameter() -> None:
    check = check_of("falls-through", roller_machine())
    assert check.value == pytest.approx(0.045)
    assert check.limit == pytest.approx(0.060 + 0.025)


def test_a_cone_s_thin_end_falls_through_where_its_mean_would_lie() -> None:
    # Contact at 40 mm and 120 mm of a cone from 90 to 10 mm over 160 mm: 70 and 30 mm; rollers 25 mm, 60 mm apart.
    found = cone_report(
        roller_machine(centre_distance="60 mm"),
        diameter="50 mm",
        large_diameter="90 mm",
        small_diameter="10 mm",
    )
    check = named(found, "falls-through")
    assert check.limit == pytest.approx(0.055)
    assert check.verdict is Verdict.FAILS
    assert load_case(roller_machine(), job(part=CONE)).ratio == pytest.approx(60 / 25)


def test_a_cone_on_rollers_needs_to_say_where_they_touch_it() -> None:
    with pytest.raises(InputError, match=r"part\.contact_from: where the rollers touch a tapered part is not known"):
        cone_report(contact_from=None)


def test_measured_slip_is_the_creep_of_the_longest_index() -> None:
    check = check_of("creep", roller_machine(slip=0.0008))
    assert check.value == pytest.approx(0.0008 * 0.03 * INDEX)
    assert check.limit == pytest.approx(0.05e-3 / 2)
    assert check.verdict is Verdict.HOLDS
    assert "0.151 mm in a revolution" in check.formula  # 0.0008 * pi * 60 mm


def test_without_measured_slip_creep_is_estimated_at_constant_speed_and_stops_nothing() -> None:
    rig = roller_machine(slip=0.0, contact_width="1.5 mm")
    trough = load_case(rig, job()).trough
    assert trough is not None
    used = float(friction_needed(trough, 0.0, 2.2 * 9.80665 * 0.0002)) / 0.4
    check = check_of("creep", rig)
    assert check.value == pytest.approx(creep_ratio(used, 0.4, 1.5e-3, 0.06, 0.025) * 0.03 * INDEX)
    wide = check_of("creep", roller_machine(slip=0.0, contact_width="4 mm", rolling_resistance="1 mm"))
    assert wide.margin is not None
    assert wide.margin < 0
    assert wide.verdict is Verdict.EXCEEDED
    assert not wide.stops
    assert "estimate" in wide.source


def test_two_places_of_contact_of_a_cone_scrub_by_half_their_difference() -> None:
    # 62 and 58 mm: plus-minus 2/60 of the travel.
    rig = roller_machine(slip=1e-6)
    spread = named(cone_report(rig), "creep").value
    single = named(cone_report(rig, contact_from=["80 mm"]), "creep").value
    assert spread is not None
    assert single is not None
    assert spread - single == pytest.approx(2 / 60 * 0.03 * INDEX)


def test_a_cone_walks_by_the_rows_unevenness_unless_something_stops_it() -> None:
    check = named(cone_report(), "axial-walk")
    trough = load_case(roller_machine(), job(part=CONE)).trough
    assert trough is not None
    uneven = unevenness(trough, 20.0, 3.5 * 9.80665 * 0.0001)
    per_turn = walk_per_turn(0.06, 4e-3 / 0.16, trough.half_angle, uneven)
    assert check.value == pytest.approx(per_turn / 12)
    assert per_turn > 0
    assert "axial-walk" not in names(cone_report(roller_machine(axial_stop=True)))
    assert "axial-walk" not in names(report(roller_machine(), acceleration=20.0))


@pytest.mark.parametrize(
    ("rig", "changes", "name", "asked_for"),
    [
        pytest.param(
            roller_machine(slip=0.0), {}, "creep", "drive.contact_width, or drive.slip as measured", id="contact width"
        ),
        pytest.param(
            roller_machine(), {"window__spot_diameter": DELETE}, "creep", "window.spot_diameter", id="spot, creep"
        ),
        pytest.param(
            roller_machine(),
            {"window__spot_diameter": DELETE, "part": CONE},
            "axial-walk",
            "window.spot_diameter",
            id="spot, walk",
        ),
    ],
)
def test_without_its_data_an_estimate_is_not_known_and_says_what_to_give(
    rig: Any, changes: dict[str, Any], name: str, asked_for: str
) -> None:
    check = check_of(name, rig, **changes)
    assert check.verdict is Verdict.NOT_KNOWN
    assert check.remedy == f"Give {asked_for}"


def test_the_grip_s_peak_counts_the_part_s_inertia_as_far_as_it_swings_and_its_imbalance_once() -> None:
    # Two turns at 20 rad/s^2 and 10 rad/s: long ramps and a long cruise, so that nothing rings on from one ramp to the
    # next, and each sets in at once: the step response of the least damping, 1.8587 (and half a hundredth more) times
    # its acceleration. Both rows driven, rolling friction left out: their
    # traction is u (N_1 + N_2) with cos(beta) S (1 + u^2) = m g, F = u S, so that cos(beta) (S^2 + F^2) = m g S.
    rig = roller_machine(driven_rows=2, rolling_resistance="1e-8 mm", friction=0.4)
    found = check_limits(rig, job(), index_turns=np.array([2.0]), speed=10.0, acceleration=20.0)
    weight, inertia = 2.2 * constants.g, 2.2 * (0.03**2 / 2 + 0.0002**2)
    beta = math.asin(45 / 85)

    def used(times: float) -> tuple[float, float]:
        traction = (times * inertia * 20.0 + weight * 0.0002) / 0.03
        half = weight / (2 * math.cos(beta))
        total = half + math.sqrt(half**2 - traction**2)
        return traction / total, 1 - (total - traction / math.tan(beta)) / 2 / half

    for times, names_of in ((1, ("grip", "seating")), (1.8587, ("grip-peak", "seating-peak"))):
        for name, value in zip(names_of, used(times), strict=True):
            assert 0 <= named(found, name).value - value < 0.005, name  # its centrifugal force adds a little
    assert "1.86*alpha speeding up and 1.86*alpha braking" in named(found, "grip-peak").formula
    assert named(found, "grip-peak").limit == 0.4
    assert named(found, "grip").value < named(found, "grip-peak").value < 2 * named(found, "grip").value


def test_while_braking_the_swing_is_larger_and_rolling_friction_takes_some_of_it() -> None:
    # A short triangle: braking sets in while the part still speeds up, so it swings by more than the step response.
    rig = roller_machine(rolling_resistance="0.8 mm")
    load, motion = load_case(rig, job()), report(rig, acceleration=20.0).motion
    extremes = index_extremes(load, index_moves(INDEXES), motion)
    trough, mu = load.trough, 0.0
    assert trough is not None
    assert extremes.peak_holding > 2.0 > extremes.peak_pushing > 1.8587
    for sense, size in ((1.0, extremes.peak_pushing), (-1.0, extremes.peak_holding)):
        for gravity, turning in itertools.product((1.0, -1.0), (1.0, -1.0)):
            exact = all_bodies(trough, sense * turning * size * 20.0, gravity * load.imbalance_torque, turning)
            mu = max(mu, abs(exact["traction_l"]) / exact["normal_l"])
    value = named(report(rig, acceleration=20.0), "grip-peak").value
    assert mu * (1 - 1e-9) <= value < mu * 1.01  # the part's centrifugal force adds a little
    both = float(friction_needed(trough, extremes.peak_holding * 20.0, load.imbalance_torque))
    assert mu < 0.95 * both


@pytest.mark.parametrize("rows", [1, 2], ids=["one row driven", "both rows driven"])
def test_idle_bearings_drag_on_the_grip_only_where_a_row_is_idle(rows: int) -> None:
    free = named(report(roller_machine(driven_rows=rows), acceleration=20.0), "grip").value
    dragged = named(
        report(roller_machine(driven_rows=rows, idle_friction_torque="5 N*mm"), acceleration=20.0), "grip"
    ).value
    assert free is not None
    assert dragged is not None
    assert (dragged > free * 1.05) == (rows == 1)
    assert (dragged == free) == (rows == 2)
