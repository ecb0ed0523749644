"""The three boards with a state word that were recorded, under a controller: nothing waits longer than it must."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.controller import Controller
from firmware_host.controller.learned import Beyond, Source
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.reply import AxisState
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.errors import ControllerError, ControllerFaultError, LineRejectedError
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.status_query.recorded import RECORDED, set_for_axis
from tests.support.bench import Bench
from tests.support.memory_port import MemoryPort

ROTARY = {"status-query-a": "X", "status-query-b": "A", "status-query-c": "A"}
SCALE = Fraction(26667, 1000)


def bench_of(name: str, *, delivered: bool = False, homes: dict[str, int] | None = None, **fields: Any) -> Bench[Any]:
    """A recorded board, set for its rotary axis unless as delivered, whose port has just been opened."""
    variant, axis = RECORDED[name], ROTARY[name]
    if not delivered:
        variant = set_for_axis(
            variant, axis, steps_per_unit=float(SCALE), rate=3600.0, acceleration=200.0, homes=homes or {}
        )
    clock = VirtualClock()
    device = StatusQueryDevice(replace(variant, **fields), clock.monotonic())
    clock.advance_to(10.0)
    device.transmit(10.0)  # what it said when it was switched on, nobody heard
    device.client_opened(10.0)
    return Bench(clock, device, MemoryPort(device, clock), MemoryTrace(clock), StatusQueryDialect(), axis)


def opened(bench: Bench[Any], **options: Any) -> tuple[Controller, float]:
    """The controller, and how long opening took (s)."""
    began_s = bench.clock.monotonic()
    controller = bench.open(**options)
    return controller, bench.clock.monotonic() - began_s


@pytest.mark.parametrize("name", ROTARY)
def test_a_board_is_open_as_soon_as_it_has_greeted_or_answered(name: str) -> None:
    bench = bench_of(name)
    controller, took_s = opened(bench)
    assert (controller.greeting is not None) == bench.device.variant.resets_on_open
    answers_s = 6 * (bench.device.variant.status_delay_s + bench.device.variant.ok_delay_s)
    assert took_s < max(bench.device.variant.boot_s, 0.4) + 0.35 + answers_s
    assert controller.status().state is AxisState.READY


@pytest.mark.parametrize("name", ROTARY)
def test_a_moving_axis_is_stopped_for_good_within_a_second(name: str) -> None:
    bench = bench_of(name)
    controller = bench.ready()
    controller.move_to("60", "3000")
    bench.run(1.0)
    assert bench.moving
    began_s = bench.clock.monotonic()
    report = controller.stop()
    assert report.stands_still
    assert not bench.moving
    assert bench.clock.monotonic() - began_s < 1.0
    assert controller.position_steps(controller.status()) == pytest.approx(bench.steps, abs=0.51)


@pytest.mark.parametrize("greets", [True, False], ids=["greets", "mute"])
@pytest.mark.parametrize("name", ROTARY)
def test_a_stop_takes_no_three_seconds_on_a_board_without_a_greeting_either(name: str, greets: bool) -> None:
    bench = bench_of(name, greets=greets)
    controller = bench.ready()
    controller.move_to("60", "3000")
    bench.run(1.0)
    began_s = bench.clock.monotonic()
    assert controller.stop().stands_still
    assert bench.clock.monotonic() - began_s < 1.5


def test_state_and_position_are_kept_over_an_opening_that_resets_nothing() -> None:
    bench = bench_of("status-query-c")
    controller = bench.ready()
    controller.move_to("10", "3000")
    bench.run(5.0)
    stands = bench.steps
    controller.close()
    controller, took_s = opened(bench)
    assert controller.greeting is None
    assert took_s < 1.0
    assert controller.position_steps(controller.status()) == pytest.approx(stands, abs=0.51)


@pytest.mark.parametrize("name", ROTARY)
def test_what_a_board_tells_of_itself_is_in_its_record(name: str) -> None:
    controller = bench_of(name).open()
    learned = controller.learned
    assert learned.axes.value == RECORDED[name].axes
    assert learned.answer_s.value == pytest.approx(max(RECORDED[name].status_delay_s, 0.004), abs=0.004)
    assert learned.acceleration_key.value == controller.settings.names.acceleration
    assert learned.travel_units.value is None
    assert learned.beyond_travel.value is Beyond.MADE
    assert learned.highest_step_rate.value <= RECORDED[name].highest_step_rate


def test_soft_limits_are_in_the_record_with_the_travel_that_the_board_lists() -> None:
    controller = bench_of("status-query-b", delivered=True).open()
    assert controller.learned.travel_units.value == (-360.0, 0.0)
    assert controller.learned.travel_units.source is Source.TOLD
    assert controller.learned.beyond_travel.value is Beyond.ALARM


def test_the_axis_is_found_by_the_letter_that_the_board_tells_and_not_by_its_usual_place() -> None:
    bench = bench_of("status-query-b")
    own, other = b"[AXS:5:XYZAB]\r\n", b"[AXS:5:XYZBA]\r\n[OPT:"
    bench.port.spoil = lambda data: data.replace(own, b"").replace(b"[OPT:", other)
    bench.axis = "B"
    controller = bench.open()
    assert (controller.learned.axes.value, controller.learned.axes.source) == ("XYZBA", Source.TOLD)
    assert controller.settings.names.steps_per_unit == "$103"


def test_an_axis_that_the_board_does_not_have_is_told_with_those_that_it_has() -> None:
    with pytest.raises(ControllerError, match=r"has no axis A"):
        bench_of("status-query-a").open(axis="A")


def test_a_line_after_a_refused_one_is_carried_out_on_a_board_that_goes_on_refusing() -> None:
    bench = bench_of("status-query-c")
    controller = bench.ready()
    with pytest.raises(LineRejectedError, match=r"controller refused 'G53 Q7'"):
        controller.ask(b"G53 Q7\n")
    controller.set_output(0, on=True)
    controller.set_output(0, on=False)
    assert [word for _, word in bench.device.output_log] == ["M8", "M9"]


def test_after_an_alarm_at_the_end_of_the_travel_a_stop_and_unlocking_are_heard() -> None:
    bench = bench_of("status-query-b", settings={**RECORDED["status-query-b"].settings, "$1": 255})
    controller = bench.open()
    controller.unlock()
    controller.prepare()
    with pytest.raises(ControllerFaultError, match="beyond the soft limits"):
        controller.move_to("99", "600")
    assert controller.stop().stands_still
    assert controller.unlock().state is AxisState.READY
    controller.prepare()
    assert bench.device.motion_log == ()
