"""`controller settings restore`: the command as printed works as typed, and the file knows all that it needs."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firmware_host.clock import ScaledClock
from firmware_host.model import load_job
from firmware_host.model.files.profiles import find_profile
from firmware_host.simulator.numbered_line.boards import delivered_numbered_board
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.status_query.boards import delivered_board
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.system.processes import split_command
from tests.cli.command import call
from tests.support.three_segments import JOB

ADVICE = "Bring the old settings back with: "


@pytest.fixture
def machine(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The belt chuck's file with the dialect of the test, in a folder whose name has to be quoted."""
    folder = tmp_path / "my machine's"
    folder.mkdir()
    text = find_profile("machines", "belt-chuck").read_text(encoding="utf-8")
    path = folder / "machine.toml"
    path.write_text(text.replace('"status-query"', f'"{request.param}"'), encoding="utf-8")
    return str(path)


@contextmanager
def board(dialect: str, **options: Any) -> Iterator[tuple[StatusQueryDevice | NumberedLineDevice, str]]:
    """A board as delivered, but for `options`, served on a socket; its port."""
    clock = ScaledClock(20.0)
    device: StatusQueryDevice | NumberedLineDevice
    if dialect == "status-query":
        board = replace(delivered_board("A", highest_step_rate=28e3), **options)
        device = StatusQueryDevice(board, clock.monotonic())
    else:
        numbered = replace(delivered_numbered_board("A", highest_step_rate=28e3), **options)
        device = NumberedLineDevice(numbered, clock.monotonic())
    with serve(device, clock, kind="socket") as server:
        yield device, server.url


def job_on(machine: str, tmp_path: Path) -> str:
    path = tmp_path / "job.toml"
    path.write_text(JOB.replace('"belt-chuck"', json.dumps(machine)), encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("machine", ["status-query", "numbered-line"], indirect=True)
def test_the_command_as_printed_brings_everything_back_whatever_became_of_the_machine_s_file(
    machine: str, tmp_path: Path
) -> None:
    dialect = load_job(job_on(machine, tmp_path)).machine.link.dialect
    with board(dialect) as (device, port):
        old = dict(device.settings)
        backup = tmp_path / "the old one's.json"
        written = call(
            "controller", "settings", "write", job_on(machine, tmp_path), "--port", port, "--backup", str(backup)
        )
        assert written.status == 0, written.err
        assert dict(device.settings) != old
        Path(machine).unlink()
        (line,) = (line for line in written.err.splitlines() if ADVICE in line)
        typed = split_command(line.partition(ADVICE)[2])
        assert typed == ("circumstep", "controller", "settings", "restore", str(backup))
        back = call(*typed[1:])
        assert (back.status, back.out) == (0, f"the settings kept in {backup} are back\n"), back.err
        assert dict(device.settings) == old


@pytest.mark.parametrize("machine", ["status-query"], indirect=True)
def test_an_older_backup_asks_for_the_machine_and_options_win_over_the_file(machine: str, tmp_path: Path) -> None:
    with board("status-query") as (device, port):
        old = dict(device.settings)
        backup = tmp_path / "old.json"
        job = job_on(machine, tmp_path)
        assert call("controller", "settings", "write", job, "--port", port, "--backup", str(backup)).status == 0
        document = json.loads(backup.read_text(encoding="utf-8"))
        del document["machine"], document["port"]
        backup.write_text(json.dumps(document | {"url": "socket://127.0.0.1:1"}), encoding="utf-8")
        restore = ("controller", "settings", "restore", str(backup))
        unsaid = call(*restore)
        assert (unsaid.status, unsaid.out) == (2, "")
        assert "does not say of which machine it is: an older program made it. Name the machine" in unsaid.err
        gone = call(*restore, "--machine", machine)
        assert gone.status == 3
        assert "If it is at another port now, name that" in gone.err
        assert f"{ADVICE}circumstep controller settings restore {backup} --port PORT" in gone.err
        assert dict(device.settings) != old
        assert call(*restore, "--machine", machine, "--port", port).status == 0
        assert dict(device.settings) == old


@pytest.mark.parametrize("machine", ["status-query"], indirect=True)
def test_a_machine_of_another_dialect_is_refused_before_the_port_is_opened(machine: str, tmp_path: Path) -> None:
    with board("status-query") as (_, port):
        backup = tmp_path / "old.json"
        job = job_on(machine, tmp_path)
        assert call("controller", "settings", "write", job, "--port", port, "--backup", str(backup)).status == 0
    text = backup.read_text(encoding="utf-8").replace('"dialect": "status-query",\n  "url"', '"dialect": "x",\n  "url"')
    backup.write_text(text, encoding="utf-8")
    refused = call("controller", "settings", "restore", str(backup))
    assert refused.status == 2
    assert "was made with dialect 'x', and the machine speaks 'status-query'" in refused.err


@pytest.mark.parametrize(
    ("machine", "fixed"), [("status-query", "$27"), ("numbered-line", "M203 X")], indirect=["machine"]
)
def test_what_could_not_be_brought_back_is_told_with_status_1(machine: str, fixed: str, tmp_path: Path) -> None:
    dialect = load_job(job_on(machine, tmp_path)).machine.link.dialect
    with board(dialect, fixed_settings={fixed: "refused"}) as (device, port):
        old = dict(device.settings)
        backup = tmp_path / "old.json"
        job = job_on(machine, tmp_path)
        assert call("controller", "settings", "write", job, "--port", port, "--backup", str(backup)).status == 0
        device.settings[fixed] = 7.0
        back = call("controller", "settings", "restore", str(backup))
        assert (back.status, back.out) == (1, "")
        assert f"not all settings kept in {backup} are back: {fixed}" in back.err
        assert "All others are as they were" in back.err
        assert dict(device.settings) == old | {fixed: 7.0}


@pytest.mark.parametrize("machine", ["status-query"], indirect=True)
def test_a_locked_controller_is_told_before_its_settings_are_written(machine: str, tmp_path: Path) -> None:
    locked = {"settings": {"$22": 1.0}, "resets_on_open": True, "boot_s": 0.5}
    with board("status-query", **locked) as (device, port):
        job = job_on(machine, tmp_path)
        before = dict(device.settings)
        refused = call("run", job, "--port", port, "--write-settings", "--without-marking")
        assert refused.status == 3
        assert "passes" not in refused.out  # the plan, and no result
        assert "it is locked, as after every start while homing is on" in refused.err
        assert dict(device.settings) == before
        written = call("controller", "settings", "write", job, "--port", port)
        assert written.status == 0, written.err
        assert "The controller is locked: it refuses moves until it is unlocked or homed" in written.out
        assert dict(device.settings) != before
