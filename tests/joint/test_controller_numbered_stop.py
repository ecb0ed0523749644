"""Stopping, homing and halting a simulated board that takes numbered lines."""

from __future__ import annotations

from fractions import Fraction

import pytest

from firmware_host.controller.controller import Controller
from firmware_host.controller.reply import AxisState
from firmware_host.errors import (
    ControllerFaultError,
    ControllerResetError,
    FirmwareHostError,
    StandstillError,
)
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from tests.support.bench import Bench, move_and_stand_still, numbered_bench
from tests.support.board_faults import fail

UNITS = Fraction(100)


def under_way(b: Bench[NumberedLineDevice]) -> Controller:
    controller = b.ready()
    controller.move_to("100", "3000")
    b.run(0.5)
    assert b.moving
    return controller


@pytest.mark.parametrize("at_once", [True, False], ids=["acts-at-once", "waits-its-turn"])
def test_a_stop_short_says_that_the_position_is_lost(at_once: bool) -> None:
    b = numbered_bench(acts_at_once=at_once)
    controller = under_way(b)
    start = len(b.port.written)
    report = controller.stop()
    assert b.port.written[start] == b"N0 M110 N0*125\nN1 M410*39\n"
    assert report.stands_still
    assert report.detail == "stopped short; steps may be lost"
    at = b.steps
    assert 0 < at < 10_000
    b.run(60.0)
    assert b.steps == at
    with pytest.raises(ControllerFaultError, match="stopped short: steps may be lost"):
        controller.prepare()
    controller.unlock()
    controller.prepare()
    counted = round(controller.position_steps(controller.status()))
    move_and_stand_still(controller, b, counted + 100, UNITS, 0.1)
    assert b.steps == at + 100


def test_a_stop_during_a_wait_for_rest_goes_out_at_once() -> None:
    b = numbered_bench(count_report="planned", position_report="planned", busy_every_s=None)
    controller = b.ready()
    accepted_s = controller.move_to("100", "3000")

    def interrupt(data: bytes) -> None:
        if b"M400" in data:
            b.port.on_write = lambda data: None
            raise KeyboardInterrupt("Ctrl-C")

    b.port.on_write = interrupt
    with pytest.raises(KeyboardInterrupt, match="Ctrl-C"):
        controller.wait_for_standstill(
            target_steps=10_000,
            steps_per_unit=UNITS,
            accepted_at_s=accepted_s,
            planned_duration_s=0.0,
            deadline_s=accepted_s + 30.0,
        )
    assert b.moving
    at_s = b.clock.monotonic()
    assert controller.stop().stands_still
    assert b.device.motion_log[-1].end_s == pytest.approx(at_s, abs=0.01)
    assert b.steps < 10_000


def test_a_stop_at_standstill_sends_no_stop_and_keeps_the_position() -> None:
    b = numbered_bench()
    controller = b.ready()
    move_and_stand_still(controller, b, 500, UNITS, 0.3)
    start = len(b.port.written)
    assert controller.stop().stands_still
    assert all(b"M114" in line for line in b.port.written[start:])
    controller.prepare()
    move_and_stand_still(controller, b, 501, UNITS, 0.1)
    assert b.steps == 501


def test_a_standing_axis_that_somebody_else_moves_is_stopped() -> None:
    b = numbered_bench()
    controller = b.ready()
    move_and_stand_still(controller, b, 500, UNITS, 0.3)
    b.device.receive(b"G1 A100 F3000\n", b.clock.monotonic())
    b.run(0.2)
    assert controller.stop().stands_still
    assert not b.moving
    assert b.steps < 10_000


def test_an_axis_that_somebody_else_moves_is_said_to_be_moving() -> None:
    b = numbered_bench()
    controller = b.ready()
    move_and_stand_still(controller, b, 500, UNITS, 0.3)
    assert controller.status().state is AxisState.READY
    b.device.receive(b"G1 A100 F3000\n", b.clock.monotonic())
    b.run(0.2)
    b.device.transmit(b.clock.monotonic())  # the answer goes to whoever sent that line
    assert controller.status().state is AxisState.MOVING
    with pytest.raises(StandstillError, match="it is moving, not ready"):
        controller.watch()


@pytest.mark.parametrize("sync_answered", ["when-done", "when-queued"])
def test_homing_ends_at_the_switch_and_the_position_is_known_again(sync_answered: str) -> None:
    b = numbered_bench(home_switches={"A": -500}, sync_answered=sync_answered)
    controller = b.ready()
    move_and_stand_still(controller, b, 300, UNITS, 0.2)
    controller.stop()
    report = controller.home()
    assert b.steps == -500
    assert controller.position_steps(report) == 0
    controller.prepare()
    move_and_stand_still(controller, b, 100, UNITS, 0.1)
    assert b.steps == -400


@pytest.mark.parametrize("after_halt", ["waits for reset", "restarts"])
@pytest.mark.parametrize("style", ["error", "bangs", "fatal"])
def test_a_halt_is_told_and_nothing_continues_before_a_reset(after_halt: str, style: str) -> None:
    b = numbered_bench(after_halt=after_halt, halt_style=style)
    controller = under_way(b)
    fail(b.device, b.clock.monotonic())
    with pytest.raises(ControllerFaultError, match="alarm: halted"):
        controller.status()
    at = b.steps
    with pytest.raises(FirmwareHostError, match=r"halted|reset"):
        controller.prepare()
    assert b.steps == at
    if after_halt == "waits for reset":
        with pytest.raises(FirmwareHostError, match=r"halted|nothing answers"):
            controller.unlock()
        b.device.hardware_reset(b.clock.monotonic())
        with pytest.raises(FirmwareHostError, match=r"halted|reset"):
            controller.unlock()
    else:
        with pytest.raises(ControllerResetError, match="it was reset"):
            controller.unlock()
    controller.unlock()
    controller.prepare()
    move_and_stand_still(controller, b, 100, UNITS, 0.1)
    assert b.steps == at + 100
