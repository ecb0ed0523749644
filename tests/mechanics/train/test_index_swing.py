"""One oscillator at a time: peaks against step responses sampled in time, the worst residual against a dense grid."""

import math

import numpy as np
import pytest
from scipy import signal

from firmware_host.mechanics.train.index_swing import pulse_swing, swing_peaks
from firmware_host.mechanics.train.oscillators import FIRST_ALONG, FIRST_OVER, edge, few, throughout
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand

BAND, DAMPING = FrequencyBand.around(450.0, 0.1), DampingRange(0.05, 0.2)


def left(natural: np.ndarray, damping: np.ndarray, ramp: float, brake: float) -> np.ndarray:
    """Seconds until 1e-5 of the acceleration is left, of a trapezoid."""
    times = [np.float64(ramp), np.float64(brake)]
    swing = math.prod(pulse_swing(t, t, natural, damping) for t in times)  # type: ignore[arg-type]
    return np.log(np.maximum(swing / (natural**2 * np.sqrt(1 - damping**2)), 1e-300) / 1e-7) / (damping * natural)


@pytest.mark.parametrize("case", range(40))
def test_the_peaks_are_those_of_the_step_responses_added_up(case: int) -> None:
    # By SciPy: (2 zeta s + 1)/(s^2 + 2 zeta s + 1), the load's acceleration, and 1/(...), the spring's pull, made
    # discrete with the acceleration held between two instants, and run as a filter: what `lsim` does, but quickly.
    rng = np.random.default_rng(case)
    zeta, ramp = float(rng.uniform(0.03, 0.25)), float(rng.uniform(0.1, 15.0))
    cruise = 0.0 if case % 3 == 0 else float(rng.uniform(0, 15))
    end = 2 * ramp + cruise
    t = np.linspace(0, end + 14, 40_001)
    a = np.where(t < ramp, 1.0, np.where(t < ramp + cruise, 0.0, np.where(t < end, -1.0, 0.0)))
    pulls = []
    for top in ([2 * zeta, 1.0], [1.0]):
        above, below, _ = signal.cont2discrete((top, [1.0, 2 * zeta, 1.0]), t[1] - t[0])
        pulls.append(signal.lfilter(above[0], below, a))
    found = swing_peaks(np.float64(ramp), np.float64(cruise), np.float64(1.0), np.float64(zeta))
    assert float(found.holding) == pytest.approx(max(float((-pull).max()) for pull in pulls), abs=4e-3)
    speed = np.cumsum(pulls[0]) * (t[1] - t[0])
    backward = (speed < -2e-3) | (t > end)
    pushed = max(max(float(pull.max()), float((-pull[backward]).max())) for pull in pulls)
    assert pushed - 4e-3 <= float(found.pushing) <= pushed + 0.3


@pytest.mark.parametrize(("ramp", "brake"), [(0.013, 0.013), (0.0142, 0.05), (0.007, 0.031)], ids=["a", "b", "c"])
def test_no_oscillator_within_the_ranges_rings_longer_than_the_edge(ramp: float, brake: float) -> None:
    natural, damping = (
        each.ravel() for each in np.meshgrid(np.linspace(405, 495, 300), np.linspace(0.05, 0.2, 90), indexing="ij")
    )
    fine = few(BAND, DAMPING, 2001, 2001)
    on_the_edge = float(left(fine.natural, fine.damping, ramp, brake).max())
    assert float(left(natural, damping, ramp, brake).max()) <= on_the_edge * (1 + 1e-6)
    coarse = edge(BAND, DAMPING).at(FIRST_ALONG.places)
    assert 0.95 * on_the_edge < float(left(coarse.natural, coarse.damping, ramp, brake).max()) <= on_the_edge * 1.0001


def test_a_damping_inside_its_range_can_ring_longer_than_both_its_ends() -> None:
    # A triangle of whole periods, by hand: |1 - z|^2 = (1 - exp(-2 pi zeta))^2 is 0.0728, 0.156 and 0.512. Over 0.0607
    # ln(...)/zeta is then 3.6, 11.8 and 10.7: samples of the ends alone would miss the worst.
    zeta = np.array([0.05, 0.08, 0.2])
    period = 2 * math.pi / 450.0
    swing = pulse_swing(period, period, 450.0, zeta) ** 2  # type: ignore[arg-type]
    assert swing == pytest.approx((1 - np.exp(-2 * math.pi * zeta)) ** 2, rel=0.02)
    seconds = np.log(swing / 0.0607) / zeta
    assert seconds == pytest.approx([3.6, 11.8, 10.7], abs=0.3)


def test_a_cell_is_divided_without_a_gap_and_each_piece_has_its_own_corners() -> None:
    whole = throughout(BAND, DAMPING)
    pieces = whole.split(FIRST_OVER)
    assert pieces.size.prod(axis=1).sum() == pytest.approx(whole.size.prod(), rel=1e-12)
    corners = whole.start + whole.size * FIRST_OVER.places[FIRST_OVER.corners]
    assert corners.min(axis=1) == pytest.approx(pieces.start)
    assert corners.max(axis=1) == pytest.approx(pieces.end)


def test_the_edge_goes_once_round_the_ranges() -> None:
    lines, whole = edge(BAND, DAMPING).split(FIRST_ALONG), throughout(BAND, DAMPING).size[0]
    assert lines.size.sum() == pytest.approx(2 * whole.sum(), rel=1e-12)
    assert (lines.size.min(axis=1) == 0).all()


def test_the_cells_hold_the_whole_ranges() -> None:
    corners = throughout(BAND, DAMPING).at(FIRST_OVER.places)
    assert corners.natural.min() == pytest.approx(405)
    assert corners.natural.max() == pytest.approx(495)
    assert corners.damping.min() == pytest.approx(0.05)
    assert corners.damping.max() == pytest.approx(0.2)
