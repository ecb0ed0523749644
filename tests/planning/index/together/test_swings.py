"""Swings and ringing of many parts in one go, against each part looked at alone and against oscillators between."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firmware_host.mechanics.train.index_swing import swing_peaks
from firmware_host.mechanics.train.oscillators import Oscillators
from firmware_host.mechanics.train.vibration import DampingRange
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.index.peaks import HAIR
from firmware_host.planning.index.ringing import longest_settling
from firmware_host.planning.index.together import peaks
from firmware_host.planning.index.together.peaks import peaks_of
from firmware_host.planning.index.together.settling import Gated, settle_times_of
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.route.moves import Purpose
from tests.planning.limits.workshop import job, machine

RATIO = 1.1 / 0.9
RANGES = [
    pytest.param(DampingRange(0.05, 0.2), id="damping assumed"),
    pytest.param(DampingRange(0.02, 0.03), id="little damping"),
    pytest.param(DampingRange(0.1, 0.3), id="much damping"),
]
# Ramp and cruise in radians of the slowest oscillator, and how far the moves of a lot differ from that.
LOTS = [
    pytest.param(2 * math.pi, 0.0, 3e-3, id="triangles of a period"),
    pytest.param(math.pi, 0.0, 3e-3, id="triangles reversed in the worst phase"),
    pytest.param(1.2, 0.4, 1e-2, id="shorter than half a period"),
    pytest.param(5.3, 6.1, 4e-3, id="trapezoids"),
    pytest.param(64.0, 14.0, 8e-3, id="long ramps"),
    pytest.param(38.0, 1900.0, 8e-3, id="long cruises"),
]


def oscillators(damping: DampingRange, frequencies: int, dampings: int) -> Oscillators:
    natural, ratio = np.meshgrid(
        np.geomspace(1.0, RATIO, frequencies), np.geomspace(damping.lowest, damping.highest, dampings)
    )
    return Oscillators(natural.ravel(), ratio.ravel())


@pytest.mark.some(6)
@pytest.mark.parametrize("damping", RANGES)
@pytest.mark.parametrize(("ramp", "cruise", "by"), LOTS)
def test_no_oscillator_swings_farther_than_what_is_told_of_any_move_of_a_lot(
    ramp: float, cruise: float, by: float, damping: DampingRange
) -> None:
    rng = np.random.default_rng(7)
    ramps, cruises = (each * (1 + by * rng.uniform(-1, 1, 40)) for each in (ramp, cruise))
    told = peaks_of(ramps, cruises, RATIO, damping)
    reached = swing_peaks(ramps, cruises, *oscillators(damping, 161, 13).before(1))
    for most, each in ((told.pushing, reached.pushing), (told.holding, reached.holding)):
        assert (each.max(axis=0) <= most).all()
        assert (most <= each.max(axis=0) * (1 + HAIR + 1e-3)).all()  # the samples miss a little


def test_moves_of_a_lot_swing_as_far_as_each_alone_to_a_thousandth() -> None:
    rng, damping = np.random.default_rng(8), DampingRange(0.05, 0.2)
    ramps = np.concatenate([at * (1 + 2e-3 * rng.uniform(-1, 1, 12)) for at in (5.3, 31.9, 64.5)])
    cruises = np.concatenate([np.zeros(24), 14.2 * (1 + 4e-3 * rng.uniform(-1, 1, 12))])
    told = peaks_of(ramps, cruises, RATIO, damping)
    alone = [peaks_of(ramps[k : k + 1], cruises[k : k + 1], RATIO, damping) for k in range(ramps.size)]
    assert told.pushing == pytest.approx(np.array([float(each.pushing[0]) for each in alone]), rel=1e-3)
    assert told.holding == pytest.approx(np.array([float(each.holding[0]) for each in alone]), rel=1e-3)


def test_what_is_told_of_a_move_does_not_depend_on_which_others_are_asked_for() -> None:
    rng, damping = np.random.default_rng(4), DampingRange(0.05, 0.2)
    ramps, cruises = rng.uniform(1.0, 70.0, 12), rng.uniform(0.0, 30.0, 12) * (rng.uniform(size=12) > 0.3)
    together = peaks_of(ramps, cruises, RATIO, damping)
    for k in range(12):
        alone = peaks_of(ramps[k : k + 1], cruises[k : k + 1], RATIO, damping)
        assert alone.pushing[0] == pytest.approx(together.pushing[k], rel=1e-9)
        assert alone.holding[0] == pytest.approx(together.holding[k], rel=1e-9)


def test_a_table_that_is_full_begins_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    damping = DampingRange(0.06, 0.19)
    before = peaks_of(np.array([6.1]), np.array([2.0]), RATIO, damping)
    monkeypatch.setattr(peaks, "_MOST", 0)
    for _ in range(2):
        assert peaks_of(np.array([6.1]), np.array([2.0]), RATIO, damping).holding == pytest.approx(before.holding)


LOADS = [
    pytest.param(load_case(machine(), job()), id="belt"),
    pytest.param(load_case(machine(gearing__0__torsional_stiffness="300 N*m/rad"), job()), id="belt that twists"),
]


@pytest.mark.parametrize("load", LOADS)
def test_parts_ring_as_long_in_one_go_as_each_alone(load: LoadCase) -> None:
    rng = np.random.default_rng(9)
    turns = np.array([[0.004, 0.06, 0.1] for _ in range(20)]) * (1 + 2e-3 * rng.uniform(-1, 1, (20, 1)))
    purposes = np.array([Purpose.TAKE_UP, Purpose.INDEX, Purpose.INDEX], np.int8)
    a, v = (each * (1 + 2e-3 * rng.uniform(-1, 1, 20)) for each in (60.0, 9.0))
    told, alone = [], []
    for own, acceleration, speed in zip(turns, a.tolist(), v.tolist(), strict=True):
        moves = index_moves(own, purposes)
        alone.append(longest_settling(load, moves, acceleration, speed)[moves.gated])
        count = int(moves.gated.sum())
        unit = load.natural_band.lowest, math.pi / (load.full_steps * load.microsteps * load.ratio)
        each = (*unit, load.torsion.first, load.torsion.rest)
        lengths = moves.shortest[moves.gated], moves.lead_longest[moves.gated]
        told.append((*lengths, *np.tile((*each, acceleration, speed), (count, 1)).T))
    *of_moves, accelerations, speeds = (np.concatenate(column) for column in zip(*told, strict=True))
    found = settle_times_of(
        Gated(*of_moves), accelerations, speeds, load.natural_band.highest / load.natural_band.lowest, load.damping
    )
    assert found == pytest.approx(np.concatenate(alone), rel=1e-4)
    assert (found >= np.concatenate(alone) * (1 - 1e-5)).all()
    assert found.min() > 0.005


def test_a_part_that_is_still_at_once_waits_for_nothing() -> None:
    load = load_case(machine(), job())
    one = np.ones(1)
    moves = Gated(0.4 * one, 0 * one, load.natural_band.lowest * one, 1e-3 * one, one, 0 * one)
    assert settle_times_of(moves, 1e-3 * one, one, RATIO, load.damping).tolist() == [0.0]
