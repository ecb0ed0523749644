"""Standstill: each sign by itself is shown to be needed, on a simulated board."""

from collections.abc import Callable
from fractions import Fraction

import pytest

from firmware_host.acts import WriteSettings
from firmware_host.clock import VirtualClock
from firmware_host.controller.axis import StandstillProof
from firmware_host.controller.connecting import connect
from firmware_host.controller.controller import Controller
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    ControllerResetError,
    InputError,
    LineRejectedError,
    LinkError,
    PositionError,
    StandstillError,
    UnexpectedReplyError,
)
from tests.support.bench import Bench, bench
from tests.support.board_faults import trip_limit_switch

UNITS = Fraction(100)
# 10 units at 50 units/s and 500 units/s^2: d/v + v/a (the trapezoid of the design description)
PLANNED_S = 10 / 50 + 50 / 500


def moved(b: Bench, coordinate: str = "10") -> tuple[Controller, float]:
    controller = b.ready()
    return controller, controller.move_to(coordinate, "3000")


def standstill_of(
    controller: Controller,
    accepted_s: float,
    *,
    steps: int = 1000,
    planned_s: float = PLANNED_S,
    on_poll: Callable[[StatusReport], None] | None = None,
) -> StandstillProof:
    return controller.wait_for_standstill(
        target_steps=steps,
        steps_per_unit=UNITS,
        accepted_at_s=accepted_s,
        planned_duration_s=planned_s,
        deadline_s=accepted_s + planned_s + 5.0,
        on_poll=on_poll,
    )


@pytest.mark.parametrize("reports", ["MPos", "WPos"])
def test_the_standstill_proof_comes_after_the_last_step_and_says_where(reports: str) -> None:
    b = bench(reports=reports)
    controller, accepted_s = moved(b)
    seen: list[AxisState] = []
    proof = standstill_of(controller, accepted_s, on_poll=lambda report: seen.append(report.state))
    assert b.steps == 1000
    assert not b.moving
    assert proof.at_s >= max(b.device.motion_log[-1].end_s, accepted_s + PLANNED_S)
    assert proof.reported_steps == pytest.approx(1000, abs=0.5)
    assert AxisState.MOVING in seen
    assert [report.state for report in proof.reports] == [AxisState.READY, AxisState.READY]
    assert controller.standstill is proof


def test_a_position_one_step_off_is_caught() -> None:
    for wrong in (999, 1001):
        b = bench()
        controller, accepted_s = moved(b)
        with pytest.raises(PositionError, match=f"planned {wrong} steps, reported 1000"):
            standstill_of(controller, accepted_s, steps=wrong)
        assert controller.standstill is None


def test_ready_is_not_believed_before_the_planned_duration() -> None:
    b = bench()
    controller, accepted_s = moved(b)
    proof = standstill_of(controller, accepted_s, planned_s=3.0)  # the axis stood after 0.3 s
    assert proof.at_s >= accepted_s + 3.0


def test_a_controller_that_always_says_ready_is_not_believed_while_it_moves() -> None:
    b = bench()
    controller, accepted_s = moved(b)
    b.port.spoil = lambda data: data.replace(b"<Run", b"<Idle")
    # Slower than planned: ready, on its way, after the planned duration.
    with pytest.raises((StandstillError, PositionError), match="stand"):
        controller.wait_for_standstill(
            target_steps=1000,
            steps_per_unit=UNITS,
            accepted_at_s=accepted_s,
            planned_duration_s=0.05,
            deadline_s=accepted_s + 0.2,
        )
    assert b.moving
    assert controller.standstill is None


def test_one_ready_report_between_moving_ones_proves_nothing() -> None:
    b = bench()
    controller, accepted_s = moved(b)
    told = iter([b"<Idle", b"<Run", b"<Idle", b"<Run"] + [b"<Run"] * 3)

    def spoil(data: bytes) -> bytes:
        if b"<Idle" in data and b"10.000" in data:
            return data.replace(b"<Idle", next(told, b"<Idle"))
        return data

    b.port.spoil = spoil
    proof = standstill_of(controller, accepted_s)
    assert next(told, None) is None
    assert [report.state for report in proof.reports] == [AxisState.READY, AxisState.READY]


def test_an_axis_that_is_held_is_not_at_its_standstill() -> None:
    b = bench()
    controller, accepted_s = moved(b)
    b.run(0.1)
    b.device.receive(b"!", b.clock.monotonic())
    with pytest.raises(StandstillError, match="did not stand still at step 1000 by its deadline"):
        standstill_of(controller, accepted_s)


class SyncingDialect(StatusQueryDialect):
    """Taken to have a state word that says nothing, so that only the sync lines show the end of motion."""

    state_tells_standstill = False


def test_where_the_state_word_says_nothing_the_sync_line_and_one_after_it_do() -> None:
    b = bench()
    b.port.spoil = lambda data: data.replace(b"<Run", b"<Idle")
    controller = connect(b.port, SyncingDialect(), b.clock, b.trace, axis="A")
    controller.prepare()
    accepted_s = controller.move_to("10", "3000")
    proof = standstill_of(controller, accepted_s, planned_s=0.05)  # too short: only the sync lines wait for the motor
    assert b.port.written.count(b"G4 P0.01\n") == 2
    assert proof.at_s > b.device.motion_log[-1].end_s
    assert b.steps == 1000


def test_reports_too_coarse_for_half_a_step_are_refused() -> None:
    b = bench({"$103": 1000.0, "$113": 600})
    controller = b.ready()
    accepted_s = controller.move_to("1", "600")
    with pytest.raises(StandstillError, match=r"only to 0\.5 steps at 1000 steps per unit, limit below 0\.5"):
        controller.wait_for_standstill(
            target_steps=1000,
            steps_per_unit=Fraction(1000),
            accepted_at_s=accepted_s,
            planned_duration_s=0.1,
            deadline_s=accepted_s + 5.0,
        )


def test_a_position_in_inches_is_refused() -> None:
    b = bench({"$13": 1})
    controller = b.open()
    start = b.port.sent
    with pytest.raises(ControllerError, match=r"reports in inches \(\$13\).*Fix: write the settings") as caught:
        controller.prepare()
    assert caught.value.acts == (WriteSettings(),)
    assert b.port.sent[len(start) :].strip(b"?") == b""


# --- what is refused sends nothing ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("coordinate", "feed"), [("1\nG1 A99", "600"), ("1e2", "600"), ("1", "0"), ("1", "600 S1")], ids=repr
)
def test_a_refused_move_sends_nothing(coordinate: str, feed: str) -> None:
    b = bench()
    controller = b.ready()
    before = list(b.port.written)
    with pytest.raises(InputError, match="is not a decimal number"):
        controller.move_to(coordinate, feed)
    assert b.port.written == before


def test_a_move_before_preparing_sends_nothing() -> None:
    b = bench()
    controller = b.open()
    before = list(b.port.written)
    with pytest.raises(StandstillError, match="has not been prepared"):
        controller.move_to("1", "600")
    assert b.port.written == before


# --- watching while the gate is open ----------------------------------------------------------------------------


def watched(b: Bench) -> Controller:
    controller, accepted_s = moved(b)
    standstill_of(controller, accepted_s)
    assert controller.watch().state is AxisState.READY
    return controller


def at_rest_then(b: Bench, what: bytes) -> Controller:
    controller = watched(b)
    b.device.receive(what, b.clock.monotonic())
    return controller


def assert_void(controller: Controller) -> None:
    """After one contradiction the proof is gone for good, even if the axis looks well again."""
    assert controller.standstill is None
    with pytest.raises(StandstillError, match="there is no proof that it stands still"):
        controller.watch()


def test_motion_while_the_gate_is_open_is_seen() -> None:
    b = bench()
    controller = at_rest_then(b, b"G1 A0 F600\n")
    b.run(0.05)
    b.device.transmit(b.clock.monotonic())  # the answer goes to whoever sent that line
    with pytest.raises(StandstillError, match="it is moving, not ready"):
        controller.watch()
    assert_void(controller)


def test_an_axis_moved_and_stopped_unseen_is_seen_at_its_new_place() -> None:
    b = bench()
    controller = at_rest_then(b, b"G1 A9.99 F600\n")
    b.run(5.0)
    b.device.transmit(b.clock.monotonic())
    with pytest.raises(PositionError, match="planned 1000 steps, reported 999"):
        controller.watch()
    assert_void(controller)


def test_an_answer_that_nobody_asked_for_is_seen() -> None:
    b = bench()
    controller = at_rest_then(b, b"G90\n")
    b.run(1.0)
    with pytest.raises(UnexpectedReplyError, match="no line waits for"):
        controller.watch()
    assert controller.standstill is None


def test_a_reset_while_the_gate_is_open_is_seen_and_moves_are_refused_after_it() -> None:
    b = bench()
    controller = watched(b)
    b.device.hardware_reset(b.clock.monotonic())
    with pytest.raises(ControllerResetError, match="its position is lost"):
        controller.watch()
    assert controller.standstill is None
    before = list(b.port.written)
    for refused in (lambda: controller.move_to("1", "600"), controller.prepare):
        with pytest.raises(ControllerResetError, match="its position is lost"):
            refused()
    assert b.port.written == before
    controller.unlock()
    controller.prepare()
    controller.move_to("1", "600")


def test_sleep_is_seen() -> None:
    b = bench()
    controller = at_rest_then(b, b"$SLP\n")
    b.run(0.1)
    b.device.transmit(b.clock.monotonic())
    with pytest.raises(StandstillError, match="it is asleep, not ready"):
        controller.watch()
    assert_void(controller)


def test_a_motor_that_lets_go_at_standstill_may_not_be_watched() -> None:
    b = bench({"$1": 25})
    controller, accepted_s = moved(b)
    standstill_of(controller, accepted_s)
    with pytest.raises(StandstillError, match=r"released 25 ms after a move \(setting \$1\)"):
        controller.watch()
    assert_void(controller)


def test_a_silent_line_is_no_rest() -> None:
    b = bench()
    controller = watched(b)
    b.port.spoil = lambda data: b""
    with pytest.raises(OSError, match="the state of the axis is unknown"):
        controller.watch()
    b.port.spoil = lambda data: data
    assert_void(controller)


# --- alarms in each state ------------------------------------------------------------------------------------------


def trip(b: Bench) -> None:
    trip_limit_switch(b.device, b.clock.monotonic())


@pytest.mark.parametrize("state", ["ready", "moving", "slowing", "holding", "watched"])
def test_an_alarm_is_told_in_whatever_state_it_comes(state: str) -> None:
    b = bench({"$21": 1})
    controller, accepted_s = moved(b)
    if state in {"ready", "watched"}:
        standstill_of(controller, accepted_s)
    elif state != "moving":
        b.run(0.1)
        b.device.receive(b"!", b.clock.monotonic())
        b.run(1.0 if state == "holding" else 0.01)
        assert controller.status().state.value == state
    trip(b)
    acts: dict[str, Callable[[], object]] = {
        "watched": controller.watch,
        "ready": lambda: controller.move_to("0", "60"),
    }
    act = acts.get(state, lambda: standstill_of(controller, accepted_s))
    with pytest.raises(ControllerFaultError, match="a limit switch was hit") as caught:
        act()
    assert caught.value.code == 1
    assert controller.standstill is None
    with pytest.raises(ControllerFaultError, match="a limit switch was hit"):
        controller.prepare()


def test_a_move_beyond_the_soft_limits_is_an_alarm_and_nothing_moves() -> None:
    b = bench({"$20": 1, "$22": 1, "$133": 50}, home_switches={"A": 300})
    controller = b.open()
    controller.home()
    controller.prepare()
    start = b.steps
    with pytest.raises(ControllerFaultError, match="beyond the soft limits"):
        controller.move_to("500", "600")
    assert b.steps == start
    with pytest.raises(ControllerFaultError, match="beyond the soft limits"):
        controller.move_to("1", "600")
    assert controller.unlock().state is AxisState.READY


class MistakenDialect(StatusQueryDialect):
    """Writes a word that no board knows when asked for feed 666."""

    def move_line(self, axis: str, coordinate: str, feed: str) -> bytes:
        return b"G53 G1 Q1 F666\n" if feed == "666" else super().move_line(axis, coordinate, feed)


def test_a_line_refused_by_the_controller_moves_nothing_and_the_next_is_understood() -> None:
    b = bench(block_whole_line_after_error=True)
    controller = connect(b.port, MistakenDialect(), b.clock, b.trace, axis="A")
    controller.prepare()
    with pytest.raises(LineRejectedError, match="a word the controller does not know"):
        controller.move_to("1", "666")
    controller.prepare()
    controller.move_to("1", "600")
    b.run(5.0)
    assert b.steps == 100


def test_a_board_that_crashes_from_too_high_a_rate_is_told_as_a_reset() -> None:
    b = bench({"$103": 1000.0, "$113": 60000}, when_too_fast="crash", highest_step_rate=30_000.0)
    controller = b.ready()
    accepted_s = controller.move_to("100", "6000")
    with pytest.raises(ControllerResetError, match="its position is lost"):
        controller.wait_for_standstill(
            target_steps=100_000,
            steps_per_unit=Fraction(999),
            accepted_at_s=accepted_s,
            planned_duration_s=1.2,
            deadline_s=accepted_s + 20.0,
        )


def test_the_deadline_is_kept_by_the_clock() -> None:
    b = bench()
    controller, accepted_s = moved(b, "1000")
    assert isinstance(b.clock, VirtualClock)
    with pytest.raises(StandstillError, match="by its deadline"):
        controller.wait_for_standstill(
            target_steps=100_000,
            steps_per_unit=UNITS,
            accepted_at_s=accepted_s,
            planned_duration_s=20.1,
            deadline_s=accepted_s + 2.0,
        )
    assert b.clock.monotonic() == pytest.approx(accepted_s + 2.0, abs=0.1)


def test_a_report_that_does_not_come_is_not_waited_for_beyond_the_deadline() -> None:
    b = bench()
    controller, accepted_s = moved(b)
    b.port.spoil = lambda data: b""
    with pytest.raises(LinkError, match="no answer to 'status'"):
        controller.wait_for_standstill(
            target_steps=1000,
            steps_per_unit=UNITS,
            accepted_at_s=accepted_s,
            planned_duration_s=PLANNED_S,
            deadline_s=accepted_s + 0.4,
        )
    assert b.clock.monotonic() == pytest.approx(accepted_s + 0.4, abs=0.1)
