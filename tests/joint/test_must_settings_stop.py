"""Stored settings that would hurt: each stops the run before any motion and says what fixes it."""

import json
from pathlib import Path

import pytest

from firmware_host.acts import WriteSettings
from firmware_host.controller.port.trace import TraceKind
from firmware_host.errors import EXIT_CHECK_FAILED, CoordinateError, SettingsMismatchError
from firmware_host.station.settings.check import safe_settings
from firmware_host.station.settings.write import write_for_plan
from tests.support.station_bench import StationBench, changed_setup, quick_disk, small_setup
from tests.support.traces import of_kind

FIX = "Fix: .*write the settings that the plan needs"
READING = frozenset({b"?", b"$$\n", b"$I\n"})


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


BAD: dict[str, tuple[dict[str, float], str]] = {
    "unsafe-acceleration": ({"$123": 1e6}, r"acceleration \(\$123\): is 1000000\.000 .*above the highest safe one"),
    "acceleration-just-above": ({"$123": 0.0}, r"acceleration \(\$123\)"),
    "half-the-steps-per-unit": ({"$103": 13.333}, r"steps per unit \(\$103\): is 13\.333, wanted 26\.667"),
    "steps-per-unit-off-by-a-thousandth": ({"$103": 26.668}, r"is 26\.668, wanted 26\.667"),
    "motor-released-at-rest": ({"$1": 25}, r"motor release delay \(\$1\): is 25 ms, wanted 255"),
    "more-steps-per-second-than-can-be-made": ({"$113": 70000}, r"rate \(\$113\): is 70000\.000"),
    "reports-in-inches": ({"$13": 1}, r"reports in inches \(\$13\): is 1, wanted 0"),
    "soft-limits-on-an-endless-axis": ({"$20": 1}, r"soft limits \(\$20\): is 1, wanted 0"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_setting_that_does_not_fit_stops_the_run_before_anything_moves(case: str, tmp_path: Path) -> None:
    settings, complaint = BAD[case]
    setup = small_setup()
    bench = StationBench(tmp_path, setup, away=0, known=False)
    for key, value in settings.items():
        safe = float(safe_settings(bench.machine, bench.plan).acceleration)
        bench.device.settings[key] = value or safe * 1.001
    with pytest.raises(SettingsMismatchError, match=rf"(?s){complaint}.*{FIX}") as caught:
        bench.run()
    assert caught.value.exit_status == EXIT_CHECK_FAILED
    assert caught.value.acts == (WriteSettings(),)
    assert bench.device.motion_log == ()
    assert set(of_kind(bench.trace, TraceKind.SENT)) <= READING
    assert bench.gate.opened == []
    saved = json.loads(bench.folder.record.read_text("utf-8"))
    assert saved["outcome"] == "failed"
    assert {entry["status"] for entry in saved["passes"]} == {"to do"}


def test_all_that_does_not_fit_is_told_at_once(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(), stored={"$1": 25, "$103": 100, "$123": 1e6}, away=0, known=False)
    with pytest.raises(SettingsMismatchError, match="do not fit") as caught:
        bench.run()
    assert [text.split(" (")[0] for text in caught.value.mismatches] == [
        "steps per unit",
        "motor release delay",
        "acceleration",
    ]


@pytest.mark.parametrize("settings", [settings for settings, _ in BAD.values()], ids=list(BAD))
def test_writing_the_settings_does_fix_it(settings: dict[str, float], tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(), away=0, known=False)
    for key, value in settings.items():
        bench.device.settings[key] = value or 1e5
    with bench.open() as controller:
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
    assert bench.device.motion_log == ()
    assert bench.run().outcome == "done"


@pytest.mark.parametrize("reports", [1, 0], ids=["machine-position", "work-position-and-offset"])
def test_reports_in_inches_are_put_right_away_from_zero_and_brought_back(reports: int, tmp_path: Path) -> None:
    """1234 steps of 26.667 are 46.275 units: read as inches, the axis would seem to stand 25.4 times nearer to zero."""
    stored = {"$13": 1, "$10": reports, "$103": 26.667}
    bench = StationBench(tmp_path, small_setup(), stored=stored, known=False)
    with bench.open() as controller:
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
        assert controller.position_steps(controller.status()) == pytest.approx(1234, abs=0.03)
    assert len(bench.device.motion_log) == bench.motion_before
    record = bench.run()
    assert record.origin_steps == 1234
    assert set(record.step_errors) == {0}
    with bench.open() as controller:
        controller.restore_settings(tmp_path / "old.json")
    assert bench.device.settings["$13"] == 1


def test_the_motor_stays_energised_from_the_first_rest_to_the_last_pass(tmp_path: Path) -> None:
    """A release delay that is put right is not enough on boards where it takes effect only after the next motion."""
    bench = StationBench(tmp_path, small_setup(), stored={"$1": 25}, known=False)
    bench.raw("$1=255")
    held: list[bool] = []
    sleep = bench.clock.on_sleep

    def look() -> None:
        sleep()
        if bench.gate.is_open:
            held.append(not bench.device.released_at(bench.clock.monotonic()))

    bench.clock.on_sleep = look
    bench.run()
    assert len(held) > 20
    assert all(held)


@pytest.mark.some(3)
@pytest.mark.parametrize("job", ["shaft-scale", "heavy-shaft", "sleeve-label", "bottle-band"])
@pytest.mark.parametrize("finish", ["stay", "next-turn"])
def test_what_the_settings_command_writes_reads_back_as_it_was_written(job: str, finish: str, tmp_path: Path) -> None:
    """Large numbers are where a 32-bit float printed with three decimals differs from what was sent."""
    setup = changed_setup(job, segments={"count": 40}, index={"finish": finish})
    bench = StationBench(tmp_path, setup, known=False)
    index = bench.index
    bench.device.settings[f"${120 + index}"] = 9e5
    bench.device.settings[f"${110 + index}"] = 100.0
    with bench.open() as controller:
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
    safe = safe_settings(bench.machine, bench.plan)
    assert bench.device.settings[f"${120 + index}"] == pytest.approx(float(safe.acceleration), rel=1e-6)
    assert bench.run().outcome == "done"


def test_a_scale_too_fine_for_the_reports_is_refused_before_anything_moves(tmp_path: Path) -> None:
    """1000 steps per unit: the third decimal of a report hides half a step, so a lost step could not be seen."""
    setup = small_setup()
    driver = setup.machine.driver.model_copy(update={"microsteps": 600})
    machine = setup.machine.model_copy(update={"driver": driver})
    bench = StationBench(tmp_path, type(setup)(setup.job, machine), away=0)
    with pytest.raises(CoordinateError, match="too coarse to show a lost step"):
        bench.run()
    assert bench.device.motion_log == ()
    assert bench.sent_moves() == []
