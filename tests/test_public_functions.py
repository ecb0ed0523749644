"""Each command is a function of the public API as well: named in the docs, typed, described, and used here."""

from __future__ import annotations

import inspect
import json
import re
import typing
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from serial.tools.list_ports_common import ListPortInfo

import firmware_host as fh
from firmware_host.clock import ScaledClock, SystemClock
from firmware_host.controller.finding import list_devices
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.model.files.profiles import find_profile
from firmware_host.planning.layout.choice import explain_choice
from firmware_host.planning.plan import plan_layout
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.render.csv import csv_text
from firmware_host.reporting.render.json import json_document
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from firmware_host.station.hand.places import places_of
from firmware_host.station.run import require_limits
from firmware_host.station.runs.listing import read_record
from firmware_host.station.settings.check import require_fitting, settings_differences
from firmware_host.station.settings.known_scale import KnownScales, state_folder
from firmware_host.station.settings.restore import newest_backup, restore_kept
from firmware_host.station.settings.write import (
    backup_path,
    settings_changes,
    write_for_plan,
)
from tests.cli.whole import every_command
from tests.support.crashes import stopped
from tests.support.station_bench import StationBench, changed_setup, quick_disk, small_setup
from tests.support.three_segments import own_folders

PAGE = Path(__file__).resolve().parent.parent / "docs" / "pages" / "python.md"
ROW = re.compile(r"^\| `([a-z -]+)` \| (`[^|]+`) \|$", re.MULTILINE)
FUNCTIONS = {command: re.findall(r"`([\w.]+)`", names) for command, names in ROW.findall(PAGE.read_text("utf-8"))}


def commands(node: Any, words: tuple[str, ...] = ()) -> Iterator[str]:
    if hasattr(node, "commands"):
        for name, child in node.commands.items():
            yield from commands(child, (*words, name))
    else:
        yield " ".join(words)


@pytest.fixture(autouse=True)
def own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)
    own_folders(tmp_path, monkeypatch)


def test_every_command_is_a_function_and_no_command_is_made_up() -> None:
    assert sorted(FUNCTIONS) == sorted(commands(every_command()))


@pytest.mark.parametrize("name", sorted({name for names in FUNCTIONS.values() for name in names}))
def test_a_function_of_the_table_is_there_typed_described_and_used_in_a_test(name: str) -> None:
    """A name without dots is of the public API; the others are named with their file."""
    file, _, name = name.rpartition(".")
    assert file or name in fh.__all__
    function = getattr(import_module(f"firmware_host.{file}" if file else "firmware_host"), name)
    assert (inspect.getdoc(function) or "").endswith((".", ".)"))
    hints = typing.get_type_hints(function)
    assert {*inspect.signature(function).parameters, "return"} <= set(hints)
    used = re.compile(rf"\b{name}\(")
    assert any(used.search(path.read_text("utf-8")) for path in Path(__file__).parent.rglob("*.py"))


# --- runs ----------------------------------------------------------------------------------------------------------


def test_runs_are_listed_read_and_verified_like_the_commands_do(tmp_path: Path) -> None:
    done = StationBench(tmp_path, small_setup())
    done.run()
    crashed = stopped(tmp_path)
    damaged = fh.RunFolder.create(tmp_path / "runs", "zz", done.clock.now())
    damaged.journal.write_bytes(b"rubbish\n")
    (tmp_path / "runs" / "a-link").symlink_to(done.folder.path)
    listed = fh.list_runs(tmp_path / "runs")
    assert [run.path for run in listed] == sorted([done.folder.path, crashed.folder.path, damaged.path])
    told = {run.path: (run.record.outcome if run.record else None, run.problem) for run in listed}
    assert told[done.folder.path] == ("done", "")
    assert told[crashed.folder.path] == ("failed", "")
    assert told[damaged.path][0] is None
    assert "line 1 is damaged" in told[damaged.path][1]
    assert read_record(done.folder).done == 6
    assert [entry.number for entry in read_record(crashed.folder).unknown] == [1]
    assert all(finding.holds for finding in fh.verify_run(done.folder))
    (setup,) = [finding for finding in fh.verify_run(done.folder) if finding.name == "setup"]
    assert re.fullmatch(r"as when the run began: SHA-256 [0-9a-f]{16}\.\.", setup.detail)
    done.folder.record.write_text("{}", encoding="utf-8")
    assert [finding.name for finding in fh.verify_run(done.folder) if not finding.holds] == ["record"]
    with pytest.raises(fh.InputError, match=r"nowhere: cannot be listed .*Name the folder"):
        fh.list_runs(tmp_path / "nowhere")


# --- a controller --------------------------------------------------------------------------------------------------


@pytest.fixture
def board() -> Iterator[str]:
    """A board as delivered, on a socket of this computer, ten times as quick."""
    clock = ScaledClock(10.0)
    device = simulated_device(fh.load_machine("belt-chuck"), delivered=True, start_s=clock.monotonic())
    with serve(device, clock, kind="socket") as server:
        yield server.url


def test_settings_are_compared_written_and_brought_back(board: str, tmp_path: Path) -> None:
    setup = fh.load_job("shaft-scale")
    plan, clock, scales = fh.plan_job(setup), SystemClock(), KnownScales(state_folder())
    with fh.open_controller(setup.machine, board, clock, MemoryTrace(clock)) as controller:
        before = dict(controller.settings.raw)
        differing = settings_differences(setup.machine, plan, controller.settings)
        assert "steps per unit" in {difference.name for difference in differing}
        with pytest.raises(fh.SettingsMismatchError, match=r"steps per unit.*Fix: write the settings"):
            require_fitting(setup.machine, plan, controller.settings)
        backup = backup_path(tmp_path / "kept", board, clock)
        changes = settings_changes(setup.machine, plan, controller, scales)
        assert changes[: len(differing)] == differing
        assert {change.name for change in changes} == {"steps per unit", "rate", "acceleration"}
        assert write_for_plan(setup.machine, plan, controller, scales, backup) == changes
        assert settings_differences(setup.machine, plan, controller.settings) == ()
        assert newest_backup(tmp_path / "kept", board) == backup
        restore_kept(controller, backup, scales)
        assert dict(controller.settings.raw) == before


def test_controllers_are_found_where_one_answers_and_only_after_asking(board: str) -> None:
    asked: list[str] = []

    def confirm(url: str) -> bool:
        asked.append(url)
        return url != "left-alone"

    urls = ["left-alone", board, "socket://127.0.0.1:1"]
    alone, answering, gone = fh.find_controllers(SystemClock(), confirm=confirm, urls=urls)
    assert asked == urls
    assert (alone.dialect, gone.dialect, answering.dialect) == (None, None, "status-query")
    assert "left alone" in alone.detail


def test_without_urls_every_port_of_this_computer_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    ports = [ListPortInfo(f"/dev/none{number}") for number in (2, 1)]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: ports)
    found = fh.find_controllers(SystemClock(), confirm=lambda url: False)
    assert (
        [finding.url for finding in found]
        == [device.url for device in list_devices()]
        == [
            "/dev/none1",
            "/dev/none2",
        ]
    )


# --- files and plans -----------------------------------------------------------------------------------------------


def test_profiles_are_listed_found_and_made(tmp_path: Path) -> None:
    names = [profile.name for profile in fh.list_profiles("machines")]
    assert "belt-chuck" in names
    assert names == sorted(names)
    made = fh.new_profile("machines", str(tmp_path / "mine.toml"), from_profile="two-rollers")
    assert made.read_bytes() == find_profile("machines", "two-rollers").read_bytes()
    assert fh.load_machine(str(made)) == fh.load_machine("two-rollers")
    with pytest.raises(fh.InputError, match="is there already"):
        fh.new_profile("machines", str(tmp_path / "mine.toml"))
    own = fh.new_profile("motors", "mine")
    assert find_profile("motors", "mine") == own
    with pytest.raises(fh.InputError, match=r"'\.\./x' is no profile name"):
        fh.new_profile("motors", "../x")


def test_the_command_line_and_the_functions_give_the_same_documents(capsys: pytest.CaptureFixture[str]) -> None:
    from firmware_host.cli.main import run

    setup = fh.load_job("shaft-scale")
    documents: dict[str, Callable[[], Any]] = {
        "segments": lambda: json_document(segments_document(plan_layout(setup))),
        "moves": lambda: json_document(moves_document(fh.plan_job(setup).program, setup.machine)),
    }
    for command, document in documents.items():
        assert run([command, "shaft-scale", "--json"]) == 0
        assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(document()))
    assert run(["moves", "shaft-scale", "--format", "csv"]) == 0
    shown = capsys.readouterr().out.splitlines()
    assert shown == csv_text(moves_document(fh.plan_job(setup).program).tables[0]).splitlines()
    assert run(["schema", "machine"]) == 0
    assert json.loads(capsys.readouterr().out) == fh.schema("machine")
    sentences = explain_choice(plan_layout(setup).segments).sentences
    assert run(["segments", "shaft-scale", "--details"]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert all(sentence in printed for sentence in sentences)


def test_limits_that_fail_are_refused_unless_their_names_are_accepted() -> None:
    too_quick = changed_setup("shaft-scale", index={"acceleration": "90000 deg/s^2", "speed": "90 deg/s"})
    limits = fh.plan_job(too_quick).limits
    assert limits.verdict is fh.Verdict.FAILS
    failed = [check.name for check in limits.checks if check.verdict is fh.Verdict.FAILS]
    assert failed
    with pytest.raises(fh.LimitExceededError, match="the plan exceeds its limits") as caught:
        require_limits(limits, accepted=failed[1:])
    assert caught.value.checks == (failed[0],)
    require_limits(limits, accepted=failed)


# --- a hand on the axis --------------------------------------------------------------------------------------------


def test_a_hand_turns_the_part_of_a_job_and_then_that_of_a_machine() -> None:
    setup, machine, clock = fh.load_job("shaft-scale"), fh.load_machine("belt-chuck"), ScaledClock(10.0)
    with serve(simulated_device(machine, delivered=False, start_s=clock.monotonic()), clock, kind="socket") as server:
        with fh.open_hand(setup, server.url) as hand:
            assert hand.turn_by("15 deg").degrees == pytest.approx(15)
            first, *_ = places_of(setup, hand.plan.plan)
            assert hand.set_zero(first.turns, place=first.words).zero == "set"
        with fh.open_hand(machine, server.url) as hand:
            where = hand.turn_to("3 deg")
            assert (where.microsteps, where.zero, where.still) == (80, "set", True)
            with pytest.raises(fh.InputError, match="the diameter is not known"):
                hand.turn_by("5 mm")
