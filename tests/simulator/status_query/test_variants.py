"""Boards that differ: each moves truly, and those that speak too early do so by their figure."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from firmware_host.simulator.status_query.device import StatusQueryDevice
from tests.simulator.bench import Bench
from tests.support.board_faults import counter_at
from tests.support.status_query_boards import STATUS_QUERY_BOARDS, single_differences

ALL = {**STATUS_QUERY_BOARDS, **single_differences()}


def test_a_word_idle_said_early_comes_so_long_before_the_last_step() -> None:
    bench = Bench({"$113": 6000}, idle_early_s=0.15)
    bench.write("G1A10F600\n")
    bench.wait(0.5)
    assert bench.state() == "Run"
    bench.wait(1.02 - 0.16 - bench.now_s)  # d/v + v/a = 10/10 + 10/500 s
    assert bench.state() == "Run"
    bench.wait(0.02)
    assert bench.state() == "Idle"
    assert bench.device.moving_at(bench.now_s)
    assert bench.steps() < 1000


def test_a_board_that_always_says_idle_still_refuses_settings_while_it_moves() -> None:
    bench = Bench(idle_early_s=math.inf)
    bench.write("G1A10F600\n")
    bench.wait(0.1)
    assert bench.state() == "Idle"
    assert bench.device.moving_at(bench.now_s)
    assert bench.ask("$$") == ["error:8"]
    bench.write("!")
    bench.settle()
    assert bench.state() == "Hold:0"


def test_the_reported_position_may_be_the_planned_one() -> None:
    actual, planned = Bench(), Bench(position_report="planned")
    for bench in (actual, planned):
        bench.write("G1A10F600\n")
        bench.wait(0.5)
    assert actual.position() == pytest.approx(4.9, abs=0.1)
    assert planned.position() == 10.0
    assert planned.steps() < 500


def test_a_dwell_answered_when_queued_says_nothing_but_the_next_line_waits() -> None:
    bench = Bench(sync_answered="when-queued")
    assert bench.ask("G1A10F600") == ["ok"]
    assert bench.ask("G4P0.01", 0.01) == ["ok"]
    assert bench.ask("G90", 0.5) == []
    assert bench.device.moving_at(bench.now_s)
    assert bench.settle() == ["ok"]
    assert bench.now_s > bench.last_step_s()


def test_a_dwell_answered_when_queued_is_answered_once_even_if_its_move_is_refused() -> None:
    bench = Bench({"$20": 1, "$22": 1}, sync_answered="when-queued", home_switches={"A": 0})
    bench.run("$H")
    assert bench.run("G4P0.1G0A5") == ["ok", "ALARM:2"]


def test_idle_may_not_be_said_a_negative_time_early() -> None:
    with pytest.raises(ValueError, match="idle_early_s -1 must be 0 or more"):
        Bench(idle_early_s=-1)


@pytest.mark.parametrize("name", sorted(ALL))
def test_every_variant_moves_to_the_step_and_ends_a_line_behind_a_dwell_only_when_it_stands(name: str) -> None:
    variant = ALL[name]
    device, now_s = StatusQueryDevice(replace(variant)), variant.boot_s
    axis = "A" if "A" in variant.axes else "X"
    device.transmit(now_s)
    for line in ("$X", f"G1{axis}7.5F600", "G4P0.01", "G90"):
        device.receive(line.encode() + b"\n", now_s)
        said = b""
        while b"ok" not in said:
            assert b"error" not in said
            event_s = device.next_event_s()
            assert event_s is not None, (line, said)
            now_s = max(now_s, event_s)
            said += device.transmit(now_s)
    assert not device.moving_at(now_s)
    assert counter_at(device, axis, now_s) == 750
    assert abs(device.steps_at(axis, now_s)) == 750
    assert device.released_at(now_s) == (device.settings["$1"] == 25)
