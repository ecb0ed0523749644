"""Settings are written only when they can be kept: what would refuse the run refuses before the first is written."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.errors import (
    ControllerFaultError,
    CoordinateError,
    FirmwareHostError,
    GateError,
    LimitExceededError,
    PlanError,
    RunStoppedError,
    SettingsMismatchError,
    ZeroNotSaidError,
)
from firmware_host.model import Setup
from firmware_host.model.job.gate import ControllerOutputGateOptions
from firmware_host.model.machine.machine import Axis
from firmware_host.station.gates.controller_output import ControllerOutputGate
from firmware_host.station.run import run_job
from firmware_host.station.settings.write import write_for_plan
from firmware_host.station.zero import ZeroAt, ZeroDoubt
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import StationBench, changed_setup, quick_disk, small_setup

SETS = ("$", "M92", "M201", "M203", "M500")


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def written(bench: StationBench) -> list[str]:
    """The lines that set or store something."""
    words = [line.partition(" ")[2] if line.startswith("N") else line for line in bench.sent_lines()]
    return [word for word in words if word.startswith(SETS) and ("=" in word or word.startswith("M"))]


def unfit(tmp_path: Path, setup: Setup, **options: object) -> StationBench:
    """A station whose board's settings do not fit the plan."""
    bench = StationBench(tmp_path, setup, known=False, **options)  # type: ignore[arg-type]
    bench.device.settings[f"${120 + bench.index}"] = 1e6
    return bench


def run_writing(
    bench: StationBench, zero: ZeroAt | None = None, ask: Callable[[ZeroDoubt], ZeroAt] | None = None
) -> None:
    with bench.open() as controller:
        station = bench.station(controller)

        def write() -> None:
            write_for_plan(bench.machine, bench.plan, controller, bench.scales, bench.folder.path / "old.json")

        run_job(bench.setup, bench.plan, station, ask_zero=ask, write_settings=write)


def refused(bench: StationBench, kind: type[FirmwareHostError], words: str) -> None:
    before = dict(bench.device.settings)
    with pytest.raises(kind, match=words):
        run_writing(bench)
    assert dict(bench.device.settings) == before
    assert written(bench) == []
    assert not (bench.folder.path / "old.json").exists()
    assert len(bench.device.motion_log) == bench.motion_before


@pytest.mark.parametrize("job", ["shaft-scale", "bottle-band"], ids=["chuck", "rollers"])
def test_a_limit_that_stops_the_job_refuses_before_anything_is_written(job: str, tmp_path: Path) -> None:
    setup = changed_setup(job, index={"acceleration": "60000 deg/s^2", "speed": "600 deg/s"})
    bench = unfit(tmp_path, setup)
    before = dict(bench.device.settings)
    with bench.open() as controller:
        for accepted in (None, {"creep": "measured"}):
            with pytest.raises(LimitExceededError, match=r"torque-accelerating|grip"):
                write_for_plan(
                    bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json", accepted=accepted
                )
    assert dict(bench.device.settings) == before
    assert not (tmp_path / "old.json").exists()


def test_the_question_of_the_zero_is_answered_before_settings_are_written(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    bench.at("gate-open", lambda: bench.stop.ask("Ctrl-C"), rests=2)
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        bench.run()
    bench.new_folder()
    bench.known = False
    bench.device.settings["$1"], bench.device.settings["$113"] = 254, 500.0
    bench.motion_before = len(bench.device.motion_log)
    refused(bench, ZeroNotSaidError, "the last run")
    asked: list[list[str]] = []

    def ask(doubt: ZeroDoubt) -> ZeroAt:
        asked.append(written(bench))
        return "here"

    run_writing(bench, ask=ask)
    assert asked == [[]]
    assert "$1=255" in written(bench)


def test_a_locked_board_is_told_before_anything_is_written(tmp_path: Path) -> None:
    bench = unfit(tmp_path, small_setup(), away=0)
    bench.device.settings["$22"] = 1
    bench.device.transmit(bench.clock.monotonic())  # what it greeted with at first, nobody heard
    bench.device.hardware_reset(bench.clock.monotonic())
    refused(bench, ControllerFaultError, "it is locked")


def on_machine(setup: Setup, **parts: object) -> Setup:
    return Setup(setup.job, setup.machine.model_copy(update=parts))


def test_reports_too_coarse_for_a_step_are_told_before_anything_is_written(tmp_path: Path) -> None:
    setup = small_setup()
    fine = on_machine(setup, driver=setup.machine.driver.model_copy(update={"microsteps": 600}))
    refused(unfit(tmp_path, fine, away=0), CoordinateError, "too coarse to show a lost step")


def test_a_travel_that_is_too_short_is_told_before_anything_is_written(tmp_path: Path) -> None:
    setup = small_setup()
    travel = {"lowest": "-1 deg", "highest": "90 deg"}
    axis = Axis.model_validate(setup.machine.axis.model_dump(mode="json") | {"travel": travel})
    refused(unfit(tmp_path, on_machine(setup, axis=axis), away=2200), PlanError, "travel")


def test_a_gate_that_this_controller_cannot_serve_is_told_before_anything_is_written(tmp_path: Path) -> None:
    options = ControllerOutputGateOptions.model_validate(
        {"kind": "controller-output", "output": 0, "pin": "P", "timeout": "9 s"}
    )
    bench = NumberedBench(
        tmp_path,
        small_setup(),
        NUMBERED_LINE_BOARDS["plain"],
        gate=lambda context: ControllerOutputGate(context, options),
    )
    bench.device.settings["M201 A"] = 1e6
    refused(bench, GateError, "does not report its inputs")


def test_what_only_the_machine_s_file_states_is_told_before_anything_is_written(tmp_path: Path) -> None:
    bench = NumberedBench(tmp_path, small_setup(), NUMBERED_LINE_BOARDS["mute"], stated=True)
    stated = bench.machine.link.stated.model_copy(update={"steps_per_unit": "12.5"})
    link = bench.machine.link.model_copy(update={"stated": stated})
    bench.machine = bench.machine.model_copy(update={"link": link})
    bench.setup = Setup(bench.setup.job, bench.machine)
    refused(bench, SettingsMismatchError, "state it in the machine file")


def test_what_is_left_to_write_is_written_and_the_run_is_done(tmp_path: Path) -> None:
    bench = unfit(
        tmp_path, changed_setup("shaft-scale", mark={"arc": "30 mm", "width": "10 mm"}, segments={"count": 3})
    )
    run_writing(bench)
    assert len(bench.progress.rests) == 3
    assert written(bench) != []
    assert {true - planned for _, planned, _, true in bench.progress.rests} == {0}
