"""A measured value in the machine's file: only its own line changes, and the file as it was stays beside it."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.write_back import measured_values, write_back
from firmware_host.errors import InputError
from firmware_host.folders import shipped_folder
from firmware_host.model.files.loading import load_job, load_machine

NOW = datetime(2026, 5, 4, 10, 30, tzinfo=UTC)
SHIPPED = shipped_folder() / "machines" / "belt-chuck.toml"


def finding(key: str, value: str | int | float, measured: float = 0.031, unit: str = "deg") -> Finding:
    return Finding(
        key="q", name="n", measured=Measured(measured, 0.002, math.inf), unit=unit, formula="", verdict="change",
        sentence="", change=Change(key, value),
    )  # fmt: skip


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(SHIPPED.read_text(encoding="utf-8"), encoding="utf-8")
    return path


def changed_lines(before: str, after: str) -> list[tuple[str, str]]:
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    assert len(old) == len(new)
    return [(one, other) for one, other in zip(old, new, strict=True) if one != other]


def test_one_line_changes_and_says_when_how_well_and_what_stood_there(machine: Path) -> None:
    before = machine.read_text(encoding="utf-8")
    done = write_back(machine, finding("gearing.0.lost_motion", "0.031 deg"), NOW)
    assert changed_lines(before, machine.read_text(encoding="utf-8")) == [
        (
            'lost_motion = "0.02 deg"\n',
            'lost_motion = "0.031 deg" # measured 2026-05-04: 0.0310 ± 0.0039 deg (95 %); before 0.02 deg\n',
        )
    ]
    assert (done.before, done.after) == ("0.02 deg", "0.031 deg")
    assert done.backup.read_text(encoding="utf-8") == before
    assert done.backup.name == "mine.before-20260504.toml"
    assert load_machine(str(machine)).gearing[0].lost_motion is not None


def test_a_value_measured_again_keeps_the_history_of_the_one_before(machine: Path) -> None:
    write_back(machine, finding("gearing.0.lost_motion", "0.031 deg"), NOW)
    later = datetime(2026, 9, 1, tzinfo=UTC)
    write_back(machine, finding("gearing.0.lost_motion", "0.04 deg", 0.04), later)
    (line,) = [each for each in machine.read_text(encoding="utf-8").splitlines() if "lost_motion" in each]
    assert line == (
        'lost_motion = "0.04 deg" # measured 2026-09-01: 0.0400 ± 0.0039 deg (95 %); before 0.031 deg '
        "(measured 2026-05-04: 0.0310 ± 0.0039 deg (95 %); before 0.02 deg)"
    )


def test_what_was_measured_is_told_by_key_with_when_and_how_well(machine: Path) -> None:
    assert measured_values(machine) == ()
    write_back(machine, finding("gearing.0.lost_motion", "0.031 deg"), NOW)
    write_back(machine, finding("axis.turns", "clockwise", 1.0, ""), NOW)
    lost, turns = measured_values(machine)
    assert (lost.key, lost.value) == ("gearing.0.lost_motion", "0.031 deg")
    assert lost.remark == "measured 2026-05-04: 0.0310 ± 0.0039 deg (95 %); before 0.02 deg"
    assert (turns.key, turns.value) == ("axis.turns", "clockwise")


def test_two_changes_on_one_day_keep_both_files(machine: Path) -> None:
    first = write_back(machine, finding("gearing.0.lost_motion", "0.031 deg"), NOW)
    second = write_back(machine, finding("gearing.0.driven_teeth", 61, 61, "teeth"), NOW)
    assert first.backup != second.backup
    assert load_machine(str(machine)).gearing[0].driven_teeth == 61
    assert 'lost_motion = "0.02 deg"' in first.backup.read_text(encoding="utf-8")


def test_a_key_that_was_not_there_is_added_to_its_table(machine: Path) -> None:
    done = write_back(machine, finding("axis.turns", "clockwise", 1.0, ""), NOW)
    assert done.before == ""
    assert load_machine(str(machine)).axis.turns == "clockwise"


def test_what_belongs_to_a_value_goes_with_it_into_a_table_that_was_not_there(machine: Path) -> None:
    before = machine.read_text(encoding="utf-8")
    measured = Measured(31.2, 0.4)
    also = (Change("swing.frequency_uncertainty", 0.025), Change("swing.load_inertia", "0.002 kg*m^2"))
    found = Finding("q", "n", measured, "Hz", "", "change", "", Change("swing.frequency", "31.2 Hz"), also)
    done = write_back(machine, found, NOW)
    assert machine.read_text(encoding="utf-8") == before + (
        "\n[swing]\n"
        'frequency = "31.2 Hz" # measured 2026-05-04: 31.20 ± 0.78 Hz (95 %)\n'
        "frequency_uncertainty = 0.025 # measured 2026-05-04: with swing.frequency\n"
        'load_inertia = "0.002 kg*m^2" # measured 2026-05-04: with swing.frequency\n'
    )
    assert [each.key for each in (done, *done.also)] == [
        "swing.frequency", "swing.frequency_uncertainty", "swing.load_inertia"
    ]  # fmt: skip
    assert len(list(machine.parent.glob("mine.before-*"))) == 1


def test_one_value_of_several_that_no_file_may_hold_leaves_it_as_it_was(machine: Path) -> None:
    before = machine.read_bytes()
    found = Finding("q", "n", Measured(31.2, 0.4), "Hz", "", "change", "", Change("swing.frequency", "31.2 Hz"),
                    (Change("swing.frequency_uncertainty", 7.0),))  # fmt: skip
    with pytest.raises(InputError, match="frequency_uncertainty"):
        write_back(machine, found, NOW)
    assert machine.read_bytes() == before


def test_a_remark_of_ones_own_behind_the_value_stays(machine: Path) -> None:
    text = machine.read_text(encoding="utf-8")
    machine.write_text(text.replace('lost_motion = "0.02 deg"', 'lost_motion = "0.02 deg"  # by the maker'), "utf-8")
    write_back(machine, finding("gearing.0.lost_motion", "0.031 deg"), NOW)
    assert "before 0.02 deg; by the maker" in machine.read_text(encoding="utf-8")


@pytest.mark.parametrize("key", ["gearing.0.lost_motion", "axis.turns", "swing.frequency"])
def test_line_ends_of_another_system_stay_and_new_lines_have_them(machine: Path, key: str) -> None:
    value = {"axis.turns": "clockwise", "swing.frequency": "30 Hz"}.get(key, "0.031 deg")
    machine.write_bytes(machine.read_bytes().replace(b"\r\n", b"\n").replace(b"\n", b"\r\n"))
    write_back(machine, finding(key, value), NOW)
    assert machine.read_bytes().count(b"\r\n") == machine.read_bytes().count(b"\n")


@pytest.mark.parametrize(
    ("key", "value", "problem"),
    [
        pytest.param("gearing.3.lost_motion", "1 deg", "there is no '3'", id="no such stage"),
        pytest.param("motor.full_steps_per_revolution", 400, "is a name", id="motor of its own file"),
        pytest.param("gearing.0.lost_motion", "1 kg", "kg", id="a value that no file may hold"),
        pytest.param("gearing.0.driven_teeth", 0, "greater than or equal to 1|at least 1|driven_teeth", id="no wheel"),
    ],
)
def test_what_can_not_be_written_leaves_the_file_as_it_was(machine: Path, key: str, value: str, problem: str) -> None:
    before = machine.read_bytes()
    with pytest.raises(InputError, match=problem):
        write_back(machine, finding(key, value), NOW)
    assert machine.read_bytes() == before


def test_a_shipped_file_is_never_changed() -> None:
    before = SHIPPED.read_bytes()
    with pytest.raises(InputError, match="is a shipped file, and stays as it is"):
        write_back(SHIPPED, finding("gearing.0.lost_motion", "0.031 deg"), NOW)
    assert SHIPPED.read_bytes() == before


def test_a_finding_without_a_change_writes_nothing(machine: Path) -> None:
    bare = Finding("q", "n", Measured(1.0, 0.1), "", "", "told", "")
    with pytest.raises(InputError, match="there is nothing to write"):
        write_back(machine, bare, NOW)


def test_a_disk_that_is_full_leaves_the_file_as_it_was(machine: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = machine.read_bytes()

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("firmware_host.commissioning.write_back.write_whole", full)
    with pytest.raises(InputError, match="No space left on device"):
        write_back(machine, finding("gearing.0.lost_motion", "0.031 deg"), NOW)
    assert machine.read_bytes() == before


def of_job(key: str, value: str, measured: float, unit: str) -> Finding:
    return replace(finding(key, value, measured, unit), change=Change(key, value, "job"))


def test_a_value_of_a_job_goes_into_the_job_s_file(tmp_path: Path) -> None:
    path = tmp_path / "my job.toml"
    shipped = (shipped_folder() / "jobs" / "shaft-scale.toml").read_text(encoding="utf-8")
    before = shipped + '\n[gate] # of mine\nkind = "operator"\ntimeout = "1 s"\n'
    path.write_text(before, encoding="utf-8")
    done = write_back(path, of_job("window.half_depth", "0.4 mm", 0.41, "mm"), NOW)
    write_back(path, of_job("gate.timeout", "9 s", 4.0, "s"), NOW)
    assert changed_lines(before, path.read_text(encoding="utf-8")) == [
        (
            'half_depth = "0.5 mm"\n',
            'half_depth = "0.4 mm" # measured 2026-05-04: 0.4100 ± 0.0039 mm (95 %); before 0.5 mm\n',
        ),
        ('timeout = "1 s"\n', 'timeout = "9 s" # measured 2026-05-04: 4.0000 ± 0.0039 s (95 %); before 1 s\n'),
    ]
    assert done.backup.read_text(encoding="utf-8") == before
    job = load_job(str(path)).job
    assert job.window.half_depth is not None
    assert job.window.half_depth.si == pytest.approx(0.4e-3)


def test_a_value_that_the_job_can_not_have_leaves_its_file_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    before = (shipped_folder() / "jobs" / "shaft-scale.toml").read_text(encoding="utf-8")
    path.write_text(before, encoding="utf-8")
    with pytest.raises(InputError, match="half_depth"):
        write_back(path, of_job("window.half_depth", "3 s", 3.0, "s"), NOW)
    assert path.read_text(encoding="utf-8") == before
