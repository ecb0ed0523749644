"""Numbered lines against a simulated board: opening, moving, and what a bad line does to them."""

from __future__ import annotations

import random
from collections.abc import Callable
from fractions import Fraction

import pytest

from firmware_host.controller.controller import Description
from firmware_host.controller.finding import find
from firmware_host.controller.reply import AxisState
from firmware_host.errors import (
    ControllerError,
    ControllerResetError,
    DialectError,
    FirmwareHostError,
    PositionError,
    StandstillError,
)
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from tests.contract.ports import Harm, LineHarm
from tests.contract.rig import rig
from tests.contract.spoken import PLAIN
from tests.support.bench import Bench, move_and_stand_still, numbered_bench

UNITS = Fraction(100)
PLANNED_S = 10 / 50 + 50 / 500
"""10 units at 50 units/s and 500 units/s^2: d/v + v/a (the trapezoid of the design description)."""

Board = Bench[NumberedLineDevice]
CASE = next(case for case in PLAIN if case.syncs)


def left_behind(b: Board, *lines: bytes) -> None:
    """What an earlier owner of the line sent before it went away, its greeting and answers long gone."""
    b.device.transmit(b.clock.monotonic())
    for line in lines:
        b.device.receive(line, b.clock.monotonic())
        b.run(5.0)
        b.device.transmit(b.clock.monotonic())


# --- opening -------------------------------------------------------------------------------------------------------


def test_opening_asks_and_moves_nothing() -> None:
    b = numbered_bench()
    controller = b.open()
    assert b.port.written == [
        b"N99999999 M114*23\n",  # which line do you want next?
        b"N0 M110 N0*125\n",
        b"N99999999 M114*23\n",
        b"N1 M115*39\n",
        b"N2 M114*37\n",  # are steps counted in the plain answer?
        b"N3 M400*36\n",
        b"N4 M400*35\n",
        b"N5 M114*34\n",
        b"N6 M114*33\n",
        b"N7 M503*34\n",
        b"N8 M503*45\n",
        b"N9 M211*40\n",  # how far may it travel?
        b"N10 M114*22\n",
    ]
    assert controller.greeting is not None
    assert controller.settings.steps_per_unit.value == 100
    assert controller.settings.unreadable == ()
    assert controller.status().state is AxisState.READY
    assert b.device.motion_log == ()
    assert controller.strays == ()


def test_preparing_energises_for_good_and_moves_nothing() -> None:
    b = numbered_bench(release_after_s=0.5)
    controller = b.open()
    start = len(b.port.written)
    controller.prepare()
    assert [line.split(b"*")[0].split(b" ", 1)[1] for line in b.port.written[start:]] == [
        *(b"M400", b"M400", b"M114", b"M114"),
        *(b"G21", b"G90", b"M17", b"M84 S0"),
        *(b"M114", b"M114"),
    ]
    move_and_stand_still(controller, b, 1000, UNITS, PLANNED_S)
    b.run(3600.0)
    assert not b.device.released_at(b.clock.monotonic())
    assert controller.watch().counts == {"X": 0, "Y": 0, "Z": 0, "A": 1000}


def test_a_half_line_left_behind_is_never_carried_out() -> None:
    b = numbered_bench()
    left_behind(b, b"G1 A50 F600")
    controller = b.ready()
    move_and_stand_still(controller, b, 200, UNITS, 0.2)
    assert [(log.from_steps, log.to_steps) for log in b.device.motion_log] == [(0, 200)]


def test_what_an_earlier_owner_left_in_effect_does_not_matter() -> None:
    b = numbered_bench()
    left_behind(b, b"G1 A10 F600\n", b"G91\n", b"G20\n", b"M84\n")
    controller = b.ready()
    move_and_stand_still(controller, b, 250, UNITS, 0.2)
    assert b.steps == 250


def test_a_board_that_was_not_reset_says_so_by_its_line_count() -> None:
    b = numbered_bench(greets=False)
    first = b.open()
    assert first.greeting is not None
    assert "counts lines from the beginning" in first.greeting.text
    first.close()
    second = b.open()
    assert second.greeting is None
    second.close()
    b.device.hardware_reset(b.clock.monotonic())
    third = b.open()
    assert third.greeting is not None


def test_finding_a_board_does_not_hide_that_it_was_reset_or_was_not() -> None:
    b = numbered_bench(greets=False)

    def look() -> Description:
        b.port.closed = False
        (found,) = find(["board"], b.clock, open_url=lambda url: b.port, confirm=lambda url: True)
        assert found.dialect == "numbered-line"
        assert found.description is not None
        return found.description

    assert look().axes == "XYZA"
    first = b.open()
    assert first.greeting is not None  # it has not been used since it was switched on
    first.close()
    assert look().settings["M92 A"] == "100.00"
    assert b.open().greeting is None
    assert b.device.motion_log == ()


def test_an_offset_left_behind_is_refused_until_zero_is_set_anew() -> None:
    b = numbered_bench()
    left_behind(b, b"G1 A10 F600\n", b"G92 A3\n")
    controller = b.open()
    assert controller.position_steps(controller.status()) == 1000
    with pytest.raises(ControllerError, match=r"differ by 700\.0 steps: an offset or another scale is in effect"):
        controller.prepare()
    with pytest.raises(StandstillError, match="has not been prepared"):
        controller.move_to("1", "600")
    controller.clear_offset()
    controller.prepare()
    assert controller.position_steps(controller.status()) == 1000
    move_and_stand_still(controller, b, 1500, UNITS, 0.3)
    assert b.steps == 1500


def test_motion_left_behind_is_awaited_and_too_much_of_it_is_refused() -> None:
    b = numbered_bench()
    b.device.receive(b"G1 A30 F600\n", 0.0)
    controller = b.open()
    assert b.device.motion_log[-1].end_s < b.clock.monotonic()
    assert controller.position_steps(controller.status()) == 3000
    controller.close()
    b.device.receive(b"G1 A1000 F600\n", b.clock.monotonic())
    with pytest.raises(StandstillError, match="did not come to a standstill within 10 s"):
        b.open()
    assert b.port.closed


def test_a_missing_axis_is_told_by_its_letter() -> None:
    b = numbered_bench(axes="XYZE")
    b.axis = "X"
    with pytest.raises(ControllerError, match="counts steps of axes XYZ; axis A is not among them"):
        b.open(axis="A")


def test_a_board_that_takes_lines_of_any_number_is_not_trusted() -> None:
    b = numbered_bench()
    real = b.device.receive

    def unnumbered(data: bytes, now_s: float) -> None:
        lines = [line.split(b" ", 1)[-1].split(b"*")[0] for line in data.splitlines()]
        real(b"".join(line + b"\n" for line in lines), now_s)

    b.device.receive = unnumbered  # type: ignore[method-assign]
    with pytest.raises(DialectError, match="accepts lines with a wrong number"):
        b.open()


# --- moving over a bad line ----------------------------------------------------------------------------------------


def test_lines_that_reach_the_board_damaged_are_asked_for_again_and_done_once() -> None:
    chance = random.Random(7)
    damaged = 0
    for _ in range(30):
        b = numbered_bench()
        controller = b.ready()
        real = b.device.receive

        def noisy(data: bytes, now_s: float, real: Callable[[bytes, float], None] = real) -> None:
            nonlocal damaged
            if chance.random() < 0.3:
                where = chance.randrange(len(data))
                data = data[:where] + bytes([data[where] ^ (1 << chance.randrange(8))]) + data[where + 1 :]
                damaged += 1
            real(data, now_s)

        b.device.receive = noisy  # type: ignore[method-assign]
        try:
            for steps in (500, -300):
                move_and_stand_still(controller, b, steps, UNITS, 0.3)
        except FirmwareHostError:
            controller.stop()  # three damages in a row are told, not guessed at
            continue
        assert b.steps == -300
        assert [(log.from_steps, log.to_steps) for log in b.device.motion_log] == [(0, 500), (500, -300)]
    assert damaged > 100


@pytest.mark.parametrize("repeated", ["resend", "skip"])
@pytest.mark.parametrize("resend_ok", [True, False], ids=["ok-behind", "no-ok-behind"])
def test_a_move_whose_answer_is_lost_is_sent_again_under_its_number_and_made_once(
    repeated: str, resend_ok: bool
) -> None:
    b = numbered_bench(repeated_number=repeated, resend_ok=resend_ok)
    controller = b.ready()
    lost: list[bytes] = []

    def spoil(data: bytes) -> bytes:
        if data and not lost and b"G1" in b.port.written[-1]:
            lost.append(data)
            return b""
        return data

    b.port.spoil = spoil
    move_and_stand_still(controller, b, 1000, UNITS, PLANNED_S)
    moves = [line for line in b.port.written if b"G1" in line]
    assert lost == [b"ok\r\n"]
    assert len(moves) == 2
    assert moves[0] == moves[1]
    assert [(log.from_steps, log.to_steps) for log in b.device.motion_log] == [(0, 1000)]


def test_a_reset_that_is_not_greeted_shows_in_the_line_count() -> None:
    b = numbered_bench(greets=False)
    controller = b.ready()
    move_and_stand_still(controller, b, 1000, UNITS, PLANNED_S)
    b.device.hardware_reset(b.clock.monotonic())
    with pytest.raises(ControllerResetError, match=r"it wants line 1 where line \d+ is next: it was reset"):
        controller.watch()
    assert controller.standstill is None
    for refused in (controller.prepare, lambda: controller.move_to("1", "600")):
        with pytest.raises(ControllerResetError, match="its position is lost"):
            refused()
    assert len(b.device.motion_log) == 1
    controller.unlock()
    controller.prepare()
    move_and_stand_still(controller, b, 100, UNITS, 0.1)
    assert b.steps == 1100  # it counts from 0 again, where it stood


def test_only_the_sync_lines_wait_for_the_motor_of_a_board_that_reports_its_plans() -> None:
    b = numbered_bench(sync_answered="when-queued", position_report="planned", count_report="planned")
    controller = b.ready()
    accepted_s = controller.move_to("10", "3000")
    proof = controller.wait_for_standstill(
        target_steps=1000,
        steps_per_unit=UNITS,
        accepted_at_s=accepted_s,
        planned_duration_s=0.0,  # a plan that knows nothing: the first report says the target
        deadline_s=accepted_s + 10.0,
    )
    assert b.device.motion_log[-1].end_s < proof.at_s
    assert sum(b"M400" in line for line in b.port.written[-8:]) == 2


@pytest.mark.parametrize("repeated", ["resend", "skip"])
def test_a_sync_line_that_was_only_received_proves_nothing(repeated: str) -> None:
    """A move of 30 s on a board without signs of life: its sync line is sent again meanwhile, and known at once."""
    b = numbered_bench(repeated_number=repeated, position_report="planned", count_report="planned", busy_every_s=None)
    controller = b.ready()
    accepted_s = controller.move_to("1500", "3000")
    proof = controller.wait_for_standstill(
        target_steps=150_000,
        steps_per_unit=UNITS,
        accepted_at_s=accepted_s,
        planned_duration_s=0.0,
        deadline_s=accepted_s + 60.0,
    )
    assert b.steps == 150_000
    assert b.device.motion_log[-1].end_s - accepted_s == pytest.approx(1500 / 50 + 50 / 500, abs=0.01)
    assert proof.at_s > b.device.motion_log[-1].end_s


def test_a_wrong_scale_shows_after_the_first_move() -> None:
    b = numbered_bench(settings_report="none")
    controller = b.ready()
    accepted_s = controller.move_to("10", "3000")
    with pytest.raises(PositionError, match="planned 800 steps, reported 1000"):
        controller.wait_for_standstill(
            target_steps=800,
            steps_per_unit=Fraction(80),
            accepted_at_s=accepted_s,
            planned_duration_s=PLANNED_S,
            deadline_s=accepted_s + 10.0,
        )


@pytest.mark.some(1)
@pytest.mark.parametrize("harm", ["drop", "garble", "noise"])
def test_every_lost_or_damaged_reply_of_a_job_is_made_good(harm: Harm) -> None:
    whole = rig(CASE)
    count = LineHarm(whole.clock, {})
    whole.port.spoil = count
    assert whole.outcome() is None
    for number in range(count.count):
        r = rig(CASE)
        r.port.spoil = LineHarm(r.clock, {number: harm})
        assert r.outcome() is None
