"""The three boards with a state word that were recorded, under a controller: nothing waits longer than it must."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from firmware_host.acts import Unlock
from firmware_host.clock import VirtualClock
from firmware_host.controller.controller import Controller
from firmware_host.controller.learned import Beyond, Source
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.reply import AxisState
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    ControllerResetError,
    LineRejectedError,
    LinkError,
    PlanError,
)
from firmware_host.model import load_job
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.status_query.recorded import RECORDED, set_for_axis
from firmware_host.station.settings.real_move import require_step_rate
from firmware_host.units import parse_quantity
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


def quick_plan(highest: str) -> JobPlan:
    """A shipped job with many microsteps, on a machine that states `highest` as the most steps per second."""
    setup = load_job("heavy-shaft")
    link = setup.machine.link.model_copy(update={"highest_step_rate": parse_quantity(highest, "rate", "positive")})
    driver = setup.machine.driver.model_copy(update={"microsteps": 16})
    return plan_job(replace(setup, machine=setup.machine.model_copy(update={"link": link, "driver": driver})))


def test_a_machine_file_that_states_more_steps_than_the_board_was_measured_to_make_is_told() -> None:
    plan = quick_plan("48 kHz")
    with pytest.raises(PlanError, match=r'limit 22000 steps/s.*State link.highest_step_rate = "22 kHz".*hangs') as told:
        require_step_rate(plan, bench_of("status-query-b").open())
    assert 22_000 < told.value.value <= 40_000
    require_step_rate(plan, bench_of("status-query-a").open())
    require_step_rate(plan, bench_of("status-query-c").open())
    require_step_rate(quick_plan("20 kHz"), bench_of("status-query-b").open())


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


LIMITED = {"$20": 1.0, "$22": 1.0, "$1": 255.0}


def beyond_the_travel(name: str, **fields: Any) -> Bench[Any]:
    """A board with homing and soft limits on, at which a move beyond its travel has raised an alarm."""
    variant = RECORDED[name]
    bench = bench_of(name, delivered=True, settings={**variant.settings, **LIMITED}, **fields)
    controller = bench.open()
    if controller.status().state is AxisState.LOCKED:
        controller.unlock()
    controller.prepare()
    with pytest.raises(ControllerFaultError, match="beyond the soft limits"):
        controller.move_to("99", "600")
    bench.run(2.0)
    controller.close()
    return bench


@pytest.mark.parametrize("name", ["status-query-a", "status-query-b"])
def test_after_an_alarm_at_the_end_of_the_travel_a_stop_and_unlocking_are_heard(name: str) -> None:
    variant = RECORDED[name]
    bench = bench_of(name, delivered=True, settings={**variant.settings, **LIMITED})
    controller = bench.open()
    controller.unlock()
    controller.prepare()
    with pytest.raises(ControllerFaultError, match="beyond the soft limits"):
        controller.move_to("99", "600")
    began_s = bench.clock.monotonic()
    assert controller.stop().stands_still
    assert bench.clock.monotonic() - began_s < 1.5
    assert controller.unlock().state is AxisState.READY
    controller.prepare()
    assert bench.device.motion_log == ()


@pytest.mark.parametrize(
    ("name", "words"),
    [
        pytest.param("status-query-a", "nothing answers in dialect status-query", id="hears-only-a-reset"),
        pytest.param(
            "status-query-b", "it is locked, and hears no line. After an alarm", id="answers-but-hears-no-line"
        ),
    ],
)
def test_a_board_that_hears_only_a_reset_is_opened_once_it_may_be_reset(name: str, words: str) -> None:
    bench = beyond_the_travel(name, resets_on_open=False)
    with pytest.raises((ControllerError, LinkError), match=words) as caught:
        bench.open()
    assert Unlock(bench.port.url) in caught.value.acts
    controller = bench.open(drop_held_motion=True)
    assert controller.status().state is AxisState.LOCKED
    controller.unlock()
    controller.prepare()
    assert bench.device.motion_log == ()


@pytest.mark.parametrize("every", [0, 1], ids=["with-its-alarm", "only-greeted"])
def test_a_reset_in_motion_loses_the_position_whether_an_alarm_tells_of_it_or_only_a_greeting(every: int) -> None:
    ways = replace(RECORDED["status-query-c"].ways, missed_alarm_every=every)
    bench = bench_of("status-query-c", ways=ways)
    controller = bench.ready()
    controller.move_to("60", "3000")
    bench.run(0.5)
    bench.device.receive(b"\x18", bench.clock.monotonic())
    with pytest.raises((ControllerFaultError, ControllerResetError), match=r"position (is )?lost"):
        controller.hear(2.0)
    assert controller.position_lost
    with pytest.raises((ControllerFaultError, ControllerResetError), match=r"position (is )?lost"):
        controller.move_to("1", "600")


def test_a_speed_of_zero_in_a_report_is_no_standstill() -> None:
    bench = bench_of("status-query-b")
    controller = bench.ready()
    bench.port.spoil = lambda data: re.sub(rb"FS:\d+", b"FS:0", data)
    accepted_s = controller.move_to("30", "3000")
    proof = controller.wait_for_standstill(
        target_steps=round(30 * SCALE),
        steps_per_unit=SCALE,
        accepted_at_s=accepted_s,
        planned_duration_s=0.0,
        deadline_s=accepted_s + 10.0,
    )
    assert not bench.moving
    assert proof.at_s > max(travel.end_s for travel in bench.device.motion_log)
