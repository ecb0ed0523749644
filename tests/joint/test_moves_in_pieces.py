"""Long moves in pieces, on boards that no word stops without lost steps: they go as one, and can be stopped."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.controller.controller import Controller
from firmware_host.controller.pieces import Piece
from firmware_host.controller.reply import StatusReport
from firmware_host.errors import ControllerFaultError, FirmwareHostError
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.planning.route.pieces import cut_move, prove_pieces, ramp_in_steps
from firmware_host.planning.route.velocity import plan_index
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.numbered_line.recorded import RECORDED, set_for_axis
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from tests.support.bench import Bench, bench_of

SCALE = Fraction("26.667")
FEED, ACCELERATION = "3000", 200.0
"""50 units/s and 200 units/s^2: the ramp takes a quarter of a second."""
PLANNED: dict[str, Any] = {"count_report": "planned", "position_report": "planned"}
BOARDS: dict[str, dict[str, Any]] = {
    "answers-the-sync-when-queued": {**PLANNED, "sync_answered": "when-queued", "busy_every_s": None},
    "answers-the-sync-when-done": PLANNED,
    "counts-the-steps-made": {},
    "answers-slowly": {**PLANNED, "ok_delay_s": 0.02},
}
Board = Bench[NumberedLineDevice]
boards = pytest.mark.parametrize("board", [*RECORDED, *BOARDS])


class StoppedHereError(Exception):
    """Somebody wishes to stop."""


class Mover:
    """Moves the axis of a board as a run does, and looks whether a stop is wished for at `stop_at_s` (monotonic s)."""

    def __init__(self, board: str) -> None:
        made = RECORDED.get(board) or NumberedLineVariant(**BOARDS[board])
        set_up = set_for_axis(made, "X", steps_per_unit=float(SCALE), rate=100.0, acceleration=ACCELERATION, homes={})
        self.bench: Board = bench_of(replace(set_up, more_settings={**set_up.more_settings, "max X": 1e5}))
        self.stop_at_s: float | None = None
        self.controller: Controller = self.bench.ready(check=self._check, steps_per_unit_known=SCALE)
        self.at = 0
        self.planned_s = 0.0
        self.reports: list[StatusReport] = []
        self.look: Callable[[], None] = lambda: None

    def _seen(self, report: StatusReport) -> None:
        self.reports.append(report)
        self.look()

    def _check(self) -> None:
        if self.stop_at_s is not None and self.bench.clock.monotonic() >= self.stop_at_s:
            raise StoppedHereError

    def move(self, target: int, *, whole: bool = False) -> None:
        jump = self.controller.learned.start_jump_units_per_s.value or 0.0
        ramp = ramp_in_steps(float(FEED), ACCELERATION, SCALE, jump)
        steps = abs(target - self.at)
        sent = prove_pieces(
            self.at,
            target,
            cut_move(steps, ramp, self.controller.learned.shortest_move_steps.value),
            StoredScale.exactly(SCALE),
        )
        self.planned_s = float(plan_index(float(steps), ramp.acceleration, ramp.speed).duration)
        pieces = [Piece(*each) for each in sent]
        if whole:
            accepted_s = self.controller.move_to(pieces[-1].coordinate, FEED)
        else:
            accepted_s = self.controller.move_in_pieces(pieces, FEED, self._seen)
        self.controller.wait_for_standstill(
            target_steps=target,
            steps_per_unit=SCALE,
            accepted_at_s=accepted_s,
            planned_duration_s=self.planned_s,
            deadline_s=accepted_s + 2 * self.planned_s + 10,
            on_poll=self._seen,
        )
        self.at = target


def went(board: Board) -> float:
    """How long the last travel took that went on without a pause (s)."""
    last = board.device.motion_log[-1]
    return last.end_s - last.start_s


@pytest.mark.some(1)
@boards
def test_a_move_of_34_s_is_stopped_within_a_second_and_its_position_is_known(board: str) -> None:
    """1687.5 units at 50 units/s and 200 units/s^2: d/v + v/a = 34 s."""
    mover = Mover(board)
    for after_s in (0.02, 0.3, 7.3, 20.0, 33.2, 33.7):
        begun_s = mover.bench.clock.monotonic()
        mover.stop_at_s = begun_s + after_s
        with pytest.raises(StoppedHereError):
            mover.move(mover.at + round(1687.5 * SCALE))
        assert mover.planned_s == pytest.approx(34.0, abs=1e-3)
        asked_s = mover.stop_at_s
        report = mover.controller.stop()
        mover.stop_at_s = None
        assert report.stands_still, report.detail
        assert mover.bench.device.motion_log[-1].end_s - asked_s < 1.0
        true = mover.bench.steps
        assert 0 < true - mover.at <= round(1687.5 * SCALE)
        assert (true - mover.at < 1687 * SCALE) == (after_s < 33.5)
        assert not mover.controller.position_lost
        mover.controller.prepare()
        assert mover.controller.position_steps(mover.controller.status()) == true
        mover.bench.run(40.0)
        assert mover.bench.steps == true, "what had not been sent never comes"
        mover.at = true
        mover.move(0)
        assert mover.bench.steps == 0


@pytest.mark.some(1)
@boards
@settings(max_examples=4, deadline=None)
@given(places=st.lists(st.integers(-3_999, 4_000), min_size=1, max_size=3, unique=True))
def test_pieces_end_on_the_same_step_after_the_same_time_as_the_one_move(board: str, places: list[int]) -> None:
    mover, one = Mover(board), Mover(board)
    for place in places:
        target = 10 * place + 40_000  # no way is shorter than the boards make
        way = target - mover.at
        mover.move(target)
        one.move(target, whole=True)
        assert mover.bench.steps == target
        assert not mover.bench.moving
        last = mover.bench.device.motion_log[-1]
        assert last.to_steps - last.from_steps == way, "it never stands on its way"
        # one ramp up and one down is the quickest way there is: any dip takes longer
        assert 0.98 < went(mover.bench) / went(one.bench) < 1.002


def test_reports_are_looked_at_all_along_the_way() -> None:
    mover = Mover("counts-the-steps-made")
    mover.move(26_667)
    places = [mover.controller.position_steps(report) for report in mover.reports]
    assert len(places) > 200
    assert max(there - here for here, there in itertools.pairwise(places)) < 0.15 * 50 * SCALE


@boards
def test_a_piece_that_comes_late_only_makes_the_move_longer(board: str) -> None:
    """The computer is busy for 2 s in the middle: the axis slows down and stands, and then goes on to its end."""
    mover = Mover(board)
    mover.look = lambda: mover.bench.run(2.0) if len(mover.reports) == 100 else None
    mover.move(round(1000 * SCALE))
    assert mover.bench.steps == round(1000 * SCALE)
    assert not mover.bench.moving
    first, *_, last = mover.bench.device.motion_log
    assert mover.planned_s + 1.0 < last.end_s - first.start_s < mover.planned_s + 2.6


def test_a_stop_on_a_lost_line_leaves_the_position_known() -> None:
    """The answer to a piece is lost on the line, and a stop comes while it is awaited."""
    mover = Mover("answers-the-sync-when-done")
    pieces = 0

    def lose(data: bytes) -> None:
        nonlocal pieces
        if b" G1 " in data:
            pieces += 1
        if pieces == 30:
            mover.bench.port.spoil = lambda said: b""
            mover.stop_at_s = mover.bench.clock.monotonic() + 0.2

    mover.bench.port.on_write = lose
    with pytest.raises(StoppedHereError):
        mover.move(round(1000 * SCALE))
    mover.bench.port.on_write = lambda data: None
    mover.bench.port.spoil = lambda data: data
    mover.stop_at_s = None
    assert mover.controller.stop().stands_still
    mover.controller.prepare()
    assert mover.controller.position_steps(mover.controller.status()) == mover.bench.steps


def test_a_move_that_was_sent_whole_is_still_stopped_short() -> None:
    mover = Mover("answers-the-sync-when-done")
    mover.controller.move_to("500", FEED)
    mover.bench.run(1.0)
    asked_s = mover.bench.clock.monotonic()
    assert mover.controller.stop().detail == "stopped short; steps may be lost"
    assert mover.bench.device.motion_log[-1].end_s - asked_s < 0.1
    assert mover.controller.position_lost
    with pytest.raises(ControllerFaultError, match="stopped short: steps may be lost"):
        mover.controller.prepare()


@pytest.mark.parametrize("board", RECORDED)
def test_noise_on_the_line_may_make_a_move_longer_and_never_loses_the_position(
    board: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One byte in a thousand has a bit flipped, either way."""
    drawn = random.Random(7)

    def flipped(data: bytes) -> bytes:
        return bytes(byte ^ 1 << drawn.randrange(8) if drawn.random() < 1e-3 else byte for byte in data)

    for steps in (6_000, 11_000, 16_000):
        mover = Mover(board)
        heard = mover.bench.device.receive
        with monkeypatch.context() as noise:
            noise.setattr(mover.bench.device, "receive", lambda data, now_s, heard=heard: heard(flipped(data), now_s))
            noise.setattr(mover.bench.port, "spoil", flipped)
            try:
                mover.move(steps)
            except FirmwareHostError:
                noise.undo()
                assert mover.controller.stop().stands_still
                mover.controller.prepare()
        assert not mover.bench.moving
        true = mover.bench.steps
        assert true == steps or mover.at == 0
        assert mover.controller.position_steps(mover.controller.status()) == true
