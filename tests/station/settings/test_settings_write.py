"""Settings for a plan: what is written, what is kept, and that a second time there is nothing to do."""

from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.settings.backup import load_backup
from firmware_host.errors import InputError
from firmware_host.station.settings.check import safe_settings
from firmware_host.station.settings.write import backup_path, wanted_changes, write_for_plan
from tests.support.station_bench import StationBench, small_setup

URL = "memory://device"


def as_delivered(tmp_path: Path) -> StationBench:
    """Nothing fits: 100 steps/unit, 500 units/s^2, 6000 units/min, the motor released after 25 ms."""
    stored = {"$103": 100.0, "$113": 6000.0, "$123": 500.0, "$1": 25.0}
    return StationBench(tmp_path, small_setup(), stored=stored, away=0, known=False)


def test_a_board_as_delivered_gets_the_plan_s_settings_and_keeps_the_rest(tmp_path: Path) -> None:
    bench = as_delivered(tmp_path)
    before = dict(bench.device.settings)
    with bench.open() as controller:
        told = write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
        assert bench.scales.recall(URL, controller.settings) == Fraction(26667, 1000)
    changed = {key for key, value in bench.device.settings.items() if before[key] != value}
    assert changed == {"$1", "$103", "$113", "$123"} == {change.key for change in told}
    assert {change.key: float(change.wanted) for change in told} == pytest.approx(
        {key: bench.device.settings[key] for key in changed}, rel=1e-6
    )
    assert {change.name for change in told} >= {"steps per unit", "acceleration", "rate"}
    assert bench.device.settings["$103"] == pytest.approx(26.667, abs=1e-6)
    assert bench.device.settings["$1"] == 255
    assert load_backup(tmp_path / "old.json").settings["$103"] == "100.000"
    assert bench.device.motion_log == ()


def test_a_second_time_nothing_is_written_and_no_backup_made(tmp_path: Path) -> None:
    bench = as_delivered(tmp_path)
    with bench.open() as controller:
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
        lines = bench.sent_lines()
        assert wanted_changes(bench.machine, bench.plan, controller, bench.scales) == {}
        assert write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "again.json") == ()
    assert bench.sent_lines() == lines
    assert not (tmp_path / "again.json").exists()


def test_a_right_looking_scale_that_we_did_not_write_is_written_all_the_same(tmp_path: Path) -> None:
    """26.66667 prints as 26.667: only a value that we wrote is known in full."""
    bench = StationBench(tmp_path, small_setup(), stored={"$103": 80 / 3}, away=0, known=False)
    with bench.open() as controller:
        assert wanted_changes(bench.machine, bench.plan, controller, bench.scales) == {"$103": "26.667"}
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
    assert bench.device.settings["$103"] == pytest.approx(26.667, abs=1e-6)


def test_what_is_written_is_never_above_the_plan(tmp_path: Path) -> None:
    bench = as_delivered(tmp_path)
    safe = safe_settings(bench.machine, bench.plan)
    degrees = 180 / 3.141592653589793
    scale_error = float(bench.machine.steps_per_axis_unit / safe.scale)  # 26.6667 steps per degree, written as 26.667
    assert float(safe.acceleration) <= bench.plan.program.acceleration * degrees * scale_error
    assert float(safe.acceleration) == pytest.approx(bench.plan.program.acceleration * degrees, rel=1e-3)
    assert float(safe.rate) <= bench.plan.program.speed * degrees * 60 * scale_error
    # the controller's 20 kHz are less than the driver's 100 kHz
    assert safe.highest_rate == pytest.approx(20000 * 60 / 26.667, rel=1e-9)


def test_each_backup_has_a_file_of_its_own_named_by_time_and_port(tmp_path: Path) -> None:
    clock = VirtualClock()
    first = backup_path(tmp_path / "backups", "/dev/ttyUSB0", clock)
    assert first == tmp_path / "backups" / "20260101-000000-dev-ttyUSB0.json"
    first.write_text("{}", encoding="utf-8")
    assert backup_path(tmp_path / "backups", "/dev/ttyUSB0", clock).name == "20260101-000000-dev-ttyUSB0-2.json"


def test_a_place_where_no_backup_can_be_kept_is_told(tmp_path: Path) -> None:
    (tmp_path / "backups").write_bytes(b"a file in the folder's place")
    with pytest.raises(InputError, match="cannot be made"):
        backup_path(tmp_path / "backups", URL, VirtualClock())


def test_a_folder_for_old_settings_that_cannot_be_made_is_named_with_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "a-file").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match=r"a-file/kept: cannot be made \(Not a directory\)\. Name another folder"):
        backup_path(tmp_path / "a-file" / "kept", URL, VirtualClock())
