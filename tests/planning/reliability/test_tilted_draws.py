"""Draws of parts with bodies beside the axis, and of tilted rollers: by hand, and as rollers described that way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import constants

from firmware_host.mechanics.uncertainty import FactorRange
from firmware_host.model import Job, Machine
from firmware_host.model.files.loading import Setup
from firmware_host.planning.load.case import load_case
from firmware_host.planning.reliability.draws import IndexDraws
from tests.planning.limits.workshop import ROLLERS, job, machine
from tests.planning.reliability.test_estimate import MOTION, extremes_of


def draws_of(rig: Machine, work: Job) -> IndexDraws:
    return IndexDraws(Setup(work, rig), load_case(rig, work), extremes_of(rig, work), FactorRange(1, 1))


@pytest.mark.parametrize("tilt", ["0 deg", "40 deg"], ids=["level", "tilted"])
def test_an_offset_that_varies_leaves_the_bodies_where_they_are(tilt: str) -> None:
    # By hand: 0.1 kg at 50 mm beside 2.1 kg whose own 0.2 mm may be anything up to that.
    body = {"kind": "box", "outward": "9 mm", "across": "9 mm", "along": "9 mm", "distance": "50 mm", "mass": "0.1 kg"}
    rig, work = machine(axis={"tilt": tilt}), job(part__bodies=[body], **MOTION)
    drawn = draws_of(rig, work)._part({"mass_offset": np.array([0.0, 0.5, 1.0])})
    across = constants.g * math.cos(math.radians(float(tilt.split()[0])))
    assert drawn.imbalance == pytest.approx(across * (0.1 * 0.05 + 2.1 * 0.2e-3 * np.array([0.0, 0.5, 1.0])))
    assert drawn.imbalance[-1] == pytest.approx(load_case(rig, work).imbalance_torque)


def test_on_tilted_rollers_a_drawn_friction_leaves_the_grip_of_rollers_with_that_friction() -> None:
    tilted, rollers = {"axis": {"tilt": "12 deg"}, "gearing": []}, ROLLERS | {"contact_width": "0.2 mm"}
    rig = machine(drive=rollers, **tilted)
    work = job(index={"speed": "4 rad/s", "acceleration": "5 rad/s^2"})
    drawn = draws_of(rig, work)._drawn({"friction": np.array([1.0, 0.8])}).friction
    wanted = [load_case(machine(drive=rollers | {"friction": mu}, **tilted), work).friction for mu in (0.4, 0.32)]
    assert drawn == pytest.approx(wanted)
