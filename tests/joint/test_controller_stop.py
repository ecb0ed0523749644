"""Stopping, on a simulated board."""

from fractions import Fraction

import pytest

from firmware_host.controller.controller import Controller
from firmware_host.controller.reply import AxisState
from firmware_host.errors import ControllerFaultError, StandstillError
from tests.support.bench import Bench, bench, move_and_stand_still
from tests.support.board_faults import trip_limit_switch

UNITS = Fraction(100)


def under_way(b: Bench) -> Controller:
    controller = b.ready()
    controller.move_to("100", "3000")
    b.run(0.5)
    assert b.moving
    return controller


def test_a_stop_holds_first_then_drops_the_rest_and_loses_no_step() -> None:
    b = bench()
    controller = under_way(b)
    written = len(b.port.written)
    report = controller.stop()
    assert report.stands_still
    sent = b.port.written[written:]
    assert sent[0] == b"!"
    assert sent.count(b"!") == 1
    assert sent.count(b"\x18") == 1
    assert not b.moving
    at = b.steps
    assert 0 < at < 10_000
    b.run(60.0)
    assert b.steps == at
    assert controller.position_steps(controller.status()) == pytest.approx(at, abs=0.5)
    controller.prepare()
    move_and_stand_still(controller, b, 10_000, UNITS, 2.1)
    assert b.steps == 10_000


def test_the_reset_goes_out_only_after_standstill() -> None:
    b = bench({"$123": 20.0})  # slow to stop
    controller = under_way(b)
    moving_at_reset: list[bool] = []
    b.port.on_write = lambda data: moving_at_reset.append(b.moving) if data == b"\x18" else None
    assert controller.stop().stands_still
    assert moving_at_reset == [False]


def test_a_second_stop_sends_nothing_and_tells_the_same() -> None:
    b = bench()
    controller = under_way(b)
    first = controller.stop()
    written = len(b.port.written)
    assert controller.stop() is first
    assert len(b.port.written) == written


def test_a_stop_that_was_interrupted_is_not_begun_again() -> None:
    b = bench()
    controller = under_way(b)

    def interrupt(data: bytes) -> None:
        if data == b"?":
            raise KeyboardInterrupt("second Ctrl-C")

    b.port.on_write = interrupt
    with pytest.raises(KeyboardInterrupt, match="second Ctrl-C"):
        controller.stop()
    b.port.on_write = lambda data: None
    written = list(b.port.written)
    assert not controller.stop().stands_still
    assert b.port.written == written
    b.run(5.0)
    assert not b.moving  # the hold had gone out


def test_after_preparing_again_a_stop_acts_again() -> None:
    b = bench()
    controller = under_way(b)
    controller.stop()
    controller.prepare()
    controller.move_to("0", "3000")
    b.run(0.05)
    assert b.moving
    assert controller.stop().stands_still
    assert not b.moving
    assert b.port.written.count(b"!") == 2


@pytest.mark.parametrize("when", ["before", "during"])
def test_a_stop_never_raises_when_the_port_is_gone(when: str) -> None:
    b = bench()
    controller = under_way(b)
    if when == "before":
        b.port.pull_cable()
    else:
        b.port.on_write = lambda data: b.port.pull_cable() if data == b"?" else None
    report = controller.stop()
    assert not report.stands_still
    assert "the cable is pulled" in report.detail
    assert controller.stop() is report
    controller.close()
    controller.close()


def test_a_stop_of_a_standing_axis_keeps_its_position() -> None:
    b = bench()
    controller = b.ready()
    move_and_stand_still(controller, b, 500, UNITS, 0.3)
    assert controller.stop().stands_still
    assert b.steps == 500
    assert controller.position_steps(controller.status()) == pytest.approx(500, abs=0.5)
    with pytest.raises(StandstillError, match="has not been prepared"):
        controller.move_to("1", "600")


def test_a_stop_that_does_not_come_to_a_standstill_in_time_does_not_reset() -> None:
    b = bench({"$123": 1.0, "$113": 3000})
    controller = b.ready()
    controller.move_to("900", "3000")
    b.run(20.0)
    report = controller.stop(timeout_s=1.0)
    assert not report.stands_still
    assert "standstill" in report.detail
    assert b"\x18" not in b.port.written


def test_a_stop_during_an_alarm_or_after_a_reset_tells_that_it_stands() -> None:
    b = bench({"$21": 1})
    controller = under_way(b)
    trip_limit_switch(b.device, b.clock.monotonic())
    report = controller.stop()
    assert report.stands_still
    assert report.status is not None
    assert report.status.state is AxisState.LOCKED
    assert b"\x18" not in b.port.written


def test_a_stop_hears_noise_and_a_greeting_and_still_finds_the_standstill() -> None:
    b = bench()
    controller = under_way(b)
    b.device.hardware_reset(b.clock.monotonic())
    noise = [b"\xff\xff\r\n"]
    b.port.spoil = lambda data: (noise.pop() + data) if noise and data else data
    assert controller.stop().stands_still
    assert not b.moving


def test_a_stop_while_homing_resets_at_once_and_gives_the_position_up() -> None:
    b = bench({"$22": 1}, home_switches={"A": 3000})
    controller = b.open()
    reads = 0
    real = b.port.read

    def interrupted(timeout_s: float) -> bytes:
        nonlocal reads
        reads += 1
        if reads > 1:
            raise KeyboardInterrupt("Ctrl-C")
        return real(0.5)

    b.port.read = interrupted  # type: ignore[method-assign]
    with pytest.raises(KeyboardInterrupt, match="Ctrl-C"):
        controller.home()
    b.port.read = real  # type: ignore[method-assign]
    assert b.moving
    written = len(b.port.written)
    controller.stop()
    assert b.port.written[written : written + 2] == [b"!", b"\x18"]
    b.run(1.0)
    assert not b.moving
    with pytest.raises(ControllerFaultError, match=r"homing|reset while"):
        controller.prepare()


def test_leaving_by_an_exception_stops_and_gives_the_port_back() -> None:
    b = bench()

    def job() -> None:
        with b.ready() as controller:
            controller.move_to("100", "3000")
            b.run(0.5)
            raise ValueError("a bug")

    with pytest.raises(ValueError, match="a bug"):
        job()
    assert b.port.closed
    assert not b.moving
    assert b"!" in b.port.written
