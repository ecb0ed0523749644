"""Clocks: virtual time moves only when told to, scaled time runs quicker, the machine's own never goes back."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from firmware_host import clock as clock_module
from firmware_host.clock import Clock, ScaledClock, SystemClock, VirtualClock


class Machine:
    """Stands in for the time module: a counter that sleeping moves on."""

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.slept: list[float] = []

    def perf_counter(self) -> float:
        return self.now_s

    def sleep(self, duration_s: float) -> None:
        self.slept.append(duration_s)
        self.now_s += duration_s


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Machine:
    stand_in = Machine()
    monkeypatch.setattr(clock_module, "time", stand_in)
    return stand_in


def test_an_hour_of_virtual_time_passes_only_by_sleeping() -> None:
    clock = VirtualClock()
    start, begun = clock.monotonic(), clock.now()
    assert clock.monotonic() == start
    clock.sleep(3600)
    assert clock.monotonic() - start == 3600
    assert clock.now() - begun == timedelta(hours=1)
    assert clock.real_seconds(3600) == 0.0


def test_virtual_time_begins_where_it_is_told_to() -> None:
    clock = VirtualClock(start_s=50.0, start=datetime(2030, 5, 1, tzinfo=UTC))
    assert clock.monotonic() == 50.0
    assert clock.now() == datetime(2030, 5, 1, tzinfo=UTC)
    clock.sleep(0.5)
    assert clock.now() == datetime(2030, 5, 1, 0, 0, 0, 500_000, tzinfo=UTC)


def test_virtual_time_never_goes_back() -> None:
    clock = VirtualClock()
    clock.advance_to(10.0)
    clock.advance_to(4.0)
    clock.sleep(-3.0)
    clock.sleep(0.0)
    assert clock.monotonic() == 10.0


def test_scaled_time_runs_as_many_times_quicker(machine: Machine) -> None:
    clock = ScaledClock(50.0)
    assert clock.monotonic() == 0.0
    begun = clock.now()
    clock.sleep(100.0)
    assert machine.slept == [2.0]
    assert clock.monotonic() == pytest.approx(100.0)
    assert clock.now() - begun == timedelta(seconds=100)
    assert clock.real_seconds(100.0) == 2.0
    assert clock.own_seconds(2.0) == 100.0


def test_scaled_time_may_run_slower_too(machine: Machine) -> None:
    clock = ScaledClock(0.5)
    clock.sleep(1.0)
    assert machine.slept == [2.0]
    assert clock.monotonic() == pytest.approx(1.0)


def test_no_clock_waits_for_a_time_that_is_over(machine: Machine) -> None:
    for clock in (SystemClock(), ScaledClock(2.0)):
        clock.sleep(0.0)
        clock.sleep(-5.0)
    assert machine.slept == []


@pytest.mark.parametrize("factor", [0.0, -1.0, float("nan")], ids=str)
def test_a_factor_that_is_not_positive_is_refused(factor: float) -> None:
    with pytest.raises(ValueError, match=rf"clock factor {factor} must be greater than 0"):
        ScaledClock(factor)


def test_the_system_clock_is_the_machine_s_own(machine: Machine) -> None:
    clock = SystemClock()
    clock.sleep(0.25)
    assert machine.slept == [0.25]
    assert clock.monotonic() == 1000.25
    assert clock.real_seconds(0.25) == 0.25


def test_real_clocks_never_go_back_and_know_their_time_zone() -> None:
    for clock in (SystemClock(), ScaledClock(1e6)):
        readings = [clock.monotonic() for _ in range(1000)]
        assert all(later >= earlier for earlier, later in pairwise(readings))
        assert clock.now().tzinfo is UTC


def test_a_clock_that_lacks_a_part_cannot_be_made() -> None:
    class Halting(Clock):
        def monotonic(self) -> float:
            return 0.0

    with pytest.raises(TypeError, match=r"abstract methods? .*now.*real_seconds.*sleep"):
        Halting()  # type: ignore[abstract]
