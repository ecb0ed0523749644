"""A station opened from Python: the job's own gate unless told otherwise, and all of it closed at the end."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

import firmware_host as fh
from firmware_host.clock import ScaledClock
from firmware_host.controller.settings.backup import load_backup
from firmware_host.errors import InputError, LimitExceededError, StoppedError
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.settings.known_scale import state_folder
from firmware_host.station.settings.restore import newest_backup
from firmware_host.station.stop_request import StopRequest
from tests.support.station_bench import changed_setup, quick_disk, small_setup
from tests.support.three_segments import own_folders


@pytest.fixture(autouse=True)
def own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)
    own_folders(tmp_path, monkeypatch)


@pytest.fixture
def clock() -> ScaledClock:
    return ScaledClock(10.0)


@pytest.fixture
def port(clock: ScaledClock) -> Iterator[str]:
    """A board set for the machine, on a socket of this computer, ten times as quick."""
    device = simulated_device(fh.load_machine("belt-chuck"), delivered=False, start_s=clock.monotonic())
    with serve(device, clock, kind="socket") as server:
        yield server.url


def timed_job() -> fh.Setup:
    job = small_setup().job
    mark = job.mark.model_dump(mode="json", exclude_none=True)
    return changed_setup("shaft-scale", mark=mark, segments={"count": 3}, gate={"kind": "timed", "duration": "0.5 s"})


def test_a_station_runs_the_job_through_its_own_gate_and_is_closed(port: str, clock: ScaledClock) -> None:
    with fh.open_station(timed_job(), port, clock=clock) as opened:
        assert isinstance(opened.station.gate, TimedGate)
        record = opened.run()
    assert record.outcome == "done"
    assert record.done == 6
    assert record.step_errors == (0,) * 6
    (run,) = fh.list_runs(Path("runs"))
    assert all(finding.holds for finding in fh.verify_run(fh.RunFolder(run.path)))
    with fh.open_station(timed_job(), port, clock=clock):
        pass  # the port was given back, and a station that ran nothing leaves no folder
    assert [found.path for found in fh.list_runs(Path("runs"))] == [run.path]


def test_a_gate_of_ones_own_takes_the_place_of_the_jobs(port: str, clock: ScaledClock) -> None:
    def make(context: fh.GateContext) -> fh.Gate:
        return TimedGate(context, 0.1)

    with fh.open_station(small_setup(), port, clock=clock, gate=make, runs=Path("elsewhere")) as opened:
        assert opened.run().done == 6
    assert len(fh.list_runs(Path("elsewhere"))) == 1


def test_a_limit_that_fails_opens_nothing_unless_it_is_accepted(
    port: str, clock: ScaledClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", None)
    setup = changed_setup("shaft-scale", index={"acceleration": "60000 deg/s^2", "speed": "600 deg/s"})
    with pytest.raises(LimitExceededError, match="torque-accelerating"), fh.open_station(setup, port, clock=clock):
        pytest.fail("it was opened")
    assert not Path("runs").exists()
    failing = [check.name for check in fh.plan_job(setup).limits.checks if check.verdict is fh.Verdict.FAILS]
    with fh.open_station(setup, port, clock=clock, accept_limits=failing) as opened:
        assert opened.plan.limits.verdict is fh.Verdict.ACCEPTED
        assert set(opened.setup.job.accept) == set(failing), "the run remembers them"
        with pytest.raises(fh.GateError, match="nobody can answer"):
            opened.run()  # the limits are accepted for the run as well: it comes to the job's own gate


def test_a_machine_without_a_port_needs_one_named(clock: ScaledClock) -> None:
    with pytest.raises(InputError, match="no port is named"), fh.open_station(small_setup(), clock=clock):
        pytest.fail("it was opened")
    assert not Path("runs").exists()


def test_a_board_as_delivered_is_given_the_settings_of_the_plan_and_then_runs(
    clock: ScaledClock, tmp_path: Path
) -> None:
    device = simulated_device(fh.load_machine("belt-chuck"), delivered=True, start_s=clock.monotonic())
    with serve(device, clock, kind="socket") as server, fh.open_station(timed_job(), server.url, clock=clock) as opened:
        before = dict(opened.station.controller.settings.raw)
        differing = {difference.name for difference in opened.settings_differences()}
        assert "steps per unit" in differing
        kept = tmp_path / "old.json"
        assert differing <= {difference.name for difference in opened.write_settings(kept)}
        assert opened.settings_differences() == ()
        assert load_backup(kept).settings == before
        assert opened.run().step_errors == (0,) * 6


def test_the_old_settings_are_kept_where_the_command_line_keeps_them(clock: ScaledClock) -> None:
    device = simulated_device(fh.load_machine("belt-chuck"), delivered=True, start_s=clock.monotonic())
    with serve(device, clock, kind="socket") as server:
        with fh.open_station(timed_job(), server.url, clock=clock) as opened:
            opened.write_settings()
        assert newest_backup(state_folder() / "backups", server.url).exists()


def test_a_stop_ends_the_planning_and_nothing_is_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stop, looks = StopRequest(), 0
    look = stop.check

    def check() -> None:
        nonlocal looks
        looks += 1
        if looks == 3:
            threading.Thread(target=stop.ask, args=("by the page",)).start()
        if looks >= 3:
            while stop.reason is None:
                pass
        look()

    monkeypatch.setattr(stop, "check", check)
    words = r"^stopped \(by the page\) while planning; nothing was moved$"
    with pytest.raises(StoppedError, match=words), fh.open_station(small_setup(), "socket://127.0.0.1:1", stop=stop):
        pytest.fail("it was opened")
    assert looks == 3
    assert not Path("runs").exists()


def test_an_option_that_is_misspelt_is_refused_and_leaves_no_folder(tmp_path: Path) -> None:
    with (
        pytest.raises(TypeError, match="unexpected keyword argument 'bauds'"),
        fh.open_station(small_setup(), "socket://127.0.0.1:1", runs=tmp_path / "runs", bauds=9600),  # type: ignore[call-arg]
    ):
        pass
    assert list((tmp_path / "runs").iterdir()) == []
