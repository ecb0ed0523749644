"""What load and index move the surface by: in the seam budget, in its range, and told where it is too much."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from firmware_host.model import load_job
from firmware_host.model.files.loading import Setup
from firmware_host.planning.layout.causes import SeamCause
from firmware_host.planning.plan import plan_layout
from tests.planning.workshop import job_on

MEASURED = {
    "kind": "measured", "diameter": "60 mm", "length": "120 mm", "mass": "1.85 kg", "mass_offset": "6.5 mm",
    "inertia": "1e-3 kg*m^2", "overhang": "60 mm", "density": None,
}  # fmt: skip
WINDOW = {"half_depth": "7 mm", "spot_diameter": "0.05 mm", "telecentric": True, "flat_field_corrected": True}


def measured(machine: dict[str, Any], **part: Any) -> Setup:
    """The part of 60 mm, 1.85 kg, 6.5 mm beside the axis, right around in 5 segments on the belt-reduced chuck."""
    job = job_on("60 mm", {"angle": "360 deg"}, part=MEASURED | part, segments={"count": 5}, window=WINDOW)
    on_belt = Setup(job, load_job("shaft-scale").machine)
    return on_belt.with_values({"driver.standstill_current": 0.3} | machine)


def cause(setup: Setup, key: str) -> SeamCause:
    return next(each for each in plan_layout(setup).seams.causes if each.key == key)


LOSS_FREE = {"gearing.toothed belt.efficiency": 1.0}


@pytest.mark.parametrize(("machine", "wanted_mm"), [(LOSS_FREE, 0.046), ({}, 0.049)], ids=["loss-free", "0.95"])
def test_an_imbalance_opens_and_closes_the_seams_at_standstill(machine: dict[str, Any], wanted_mm: float) -> None:
    # Torque-angle curve T = T_hold sin(p e) by hand: T_hold = 1.1/sqrt(2) * 2.4/2.8 * 0.3 = 0.2 N m, gravity 0.1179/3.
    found = cause(measured(machine), "lag-imbalance")
    assert found.high * 1e3 == pytest.approx(np.full(5, wanted_mm), abs=0.0005)
    assert (found.low == -found.high).all()


def test_friction_alone_counts_at_both_stops_of_a_seam() -> None:
    balanced = measured(LOSS_FREE, mass_offset="0 mm")
    found = cause(balanced, "lag-friction")
    assert found.worst * 1e3 == pytest.approx(2 * 0.01669, abs=1e-4)
    assert "0.017 mm either way at each stop" in found.name
    assert cause(balanced, "lag-imbalance").worst == 0


def test_the_full_current_at_standstill_lags_less() -> None:
    full, reduced = (cause(measured({"driver.standstill_current": part}), "lag-imbalance").worst for part in (1.0, 0.3))
    assert full == pytest.approx(0.3 * reduced, rel=0.01)


def test_the_lag_is_in_what_each_seam_comes_to() -> None:
    quiet, heavy = (plan_layout(measured(LOSS_FREE, mass_offset=offset)).seams for offset in ("0 mm", "6.5 mm"))
    more, less = (
        sum(
            cause(measured(LOSS_FREE, mass_offset=offset), key).high
            for key in ("lag-imbalance", "lag-friction", "twist")
        )
        for offset in ("6.5 mm", "0 mm")
    )
    assert heavy.highest - quiet.highest == pytest.approx(more - less)
    assert quiet.lowest - heavy.lowest == pytest.approx(more - less)


def test_a_load_beyond_the_holding_torque_is_told() -> None:
    told = plan_layout(measured({}, mass_offset="29 mm", mass="6 kg")).seams.warnings
    # (6 * 9.80665 * 0.029 + 0.05)/(3 * 0.95) = 0.616 N m of 0.2 N m.
    assert told[0].startswith("At standstill the load asks up to 0.616 N*m of the motor, which holds 0.2 N*m")
    assert not any("At standstill" in line for line in plan_layout(measured({})).seams.warnings)


def on_rollers(**values: Any) -> Setup:
    return load_job("bottle-band").with_values({key.replace("__", "."): value for key, value in values.items()})


def test_creep_is_signed_and_all_of_it_opens_the_closing_seam() -> None:
    creep = cause(on_rollers(), "creep")
    # Every index lags at most 0.117 mm and leads at most 0.010 mm: 12 of them stand before the closing seam.
    assert (creep.low[:-1] < 0).all()
    assert (creep.high[:-1] > 0).all()
    assert creep.high[-1] == pytest.approx(-12 * creep.low[0])
    assert creep.low[-1] == pytest.approx(-12 * creep.high[0])


def test_the_creep_beside_the_steady_one_is_what_the_acceleration_adds() -> None:
    gentle, brisk = (cause(on_rollers(index__acceleration=rate), "creep") for rate in ("20 deg/s^2", "200 deg/s^2"))
    assert gentle.high[0] - gentle.low[0] < brisk.high[0] - brisk.low[0]


def test_measured_creep_is_in_the_gap_and_no_range() -> None:
    measured_creep, none = (plan_layout(on_rollers(drive__slip=slip)).seams for slip in (0.01, 0.0))
    assert next(each for each in measured_creep.causes if each.key == "creep").worst == 0
    assert (measured_creep.gap - none.gap)[0] == pytest.approx(-0.01 * 0.0193329, rel=1e-2)


def test_creep_that_cannot_be_estimated_is_said_to_be_unknown() -> None:
    assert plan_layout(on_rollers(drive__contact_width=None)).seams.unknown == (
        "drive.contact_width, or drive.slip as measured",
    )
    slipping = plan_layout(on_rollers(drive__friction=0.01, index__acceleration="90 deg/s^2", index__speed="90 deg/s"))
    assert slipping.seams.unknown == ("creep: the part slips on its rollers at this motion",)
    assert plan_layout(load_job("shaft-scale")).seams.unknown == ()


def test_places_of_contact_of_unlike_diameter_count() -> None:
    setup = load_job("tumbler-wrap").with_values({"part.contact_from": ["40 mm", "60 mm"]})
    # 20 mm apart on 12 mm of taper over 170 mm: diameters 1.412 mm apart, +-0.857 % of 82.4 mm, of 24 mm each.
    assert cause(setup, "contact-spread").worst * 1e3 == pytest.approx(24 * 0.7059 / 82.4706, rel=1e-3)


def test_the_same_load_twists_a_belt() -> None:
    # 2 * 0.117928 sin(36 deg) = 0.1386 N m of gravity and 2 * 0.05 N m of friction, over 300 N m/rad at the motor,
    # which are 9 * 300 N m/rad at the part, on 30 mm.
    found = cause(measured({"gearing.toothed belt.torsional_stiffness": "300 N*m/rad"}), "twist")
    assert found.worst * 1e3 == pytest.approx((0.1386 + 0.1) / 2700 * 30, rel=1e-3)
    softer = cause(measured({"gearing.toothed belt.torsional_stiffness": "30 N*m/rad"}), "twist")
    assert softer.worst == pytest.approx(10 * found.worst)
    unstated = plan_layout(measured({"gearing.toothed belt.torsional_stiffness": None})).seams
    assert unstated.unknown == ("gearing.toothed belt.torsional_stiffness",)
