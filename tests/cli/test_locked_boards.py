"""Boards that lock at every start, because homing and soft limits are on as delivered: told first, with the way out."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from firmware_host.clock import ScaledClock
from firmware_host.controller.settings.backup import load_backup
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.serving.server import DeviceServer
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.status_query.recorded import RECORDED
from firmware_host.system.processes import split_command
from tests.cli.command import Ended, call
from tests.support.three_segments import JOB, own_folders

FASTER = 5.0
LOCKED = "The controller is locked: it refuses moves until it is unlocked or homed"


@pytest.fixture(autouse=True)
def _place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_folders(tmp_path, monkeypatch)
    Path("job.toml").write_text(JOB, encoding="utf-8")


@contextmanager
def five_axes(*, resets_on_open: bool) -> Iterator[DeviceServer]:
    """The five-axis board as delivered; opening its port resets it, or (native USB) does not."""
    variant = replace(RECORDED["status-query-b"], resets_on_open=resets_on_open)
    clock = ScaledClock(FASTER)
    with serve(StatusQueryDevice(variant, clock.monotonic()), clock) as server:
        yield server


def printed_command(ended: Ended, words: str) -> tuple[str, ...]:
    found = re.search(rf"{words} with: circumstep (.*)$", f"{ended.out}\n{ended.err}", re.MULTILINE)
    assert found is not None, ended
    return tuple(split_command(found[1]))


def test_a_lock_is_told_before_anything_else_and_the_printed_command_ends_it() -> None:
    with five_axes(resets_on_open=False) as server:
        shown = call("controller", "show", "--port", server.url)
        assert " ".join(shown.out.split()).startswith(f"{LOCKED}. It locks at every start while homing is on.")
        compared = call("controller", "settings", "compare", "job.toml", "--port", server.url)
        assert compared.status == 1
        assert compared.out.startswith(LOCKED)
        written = call("controller", "settings", "write", "job.toml", "--port", server.url)
        assert written.status == 0, written.err
        assert written.out.index(LOCKED) < written.out.index("all settings fit the job")
        again = call("controller", "settings", "compare", "job.toml", "--port", server.url)
        assert again.status == 0
        assert again.out.index(LOCKED) < again.out.index("all settings fit the job")
        for ended in (shown, compared, written, again):
            assert printed_command(ended, "Unlock")[:2] == ("controller", "unlock")
        unlocked = call(*printed_command(again, "Unlock"))
        assert (unlocked.status, unlocked.err) == (0, "")
        fits = call("controller", "settings", "compare", "job.toml", "--port", server.url)
        assert fits.out.startswith("all settings fit the job")
        assert LOCKED not in fits.out
        assert json.loads(call("controller", "show", "--port", server.url, "--json").out)["state"] == "ready"


def test_a_board_that_each_opening_locks_again_is_told_to_get_its_settings() -> None:
    with five_axes(resets_on_open=True) as server:
        run = ("run", "job.toml", "--port", server.url, "--without-marking", "--write-settings")
        refused = call(*run)
        assert refused.status == 3
        assert "locked, as after every start while homing is on ($22)" in refused.err
        written = call(*printed_command(refused, "Write the settings"))
        assert written.status == 0, written.err
        shown = json.loads(call("controller", "show", "--port", server.url, "--json").out)
        assert shown["state"] == "ready"


def test_homing_and_soft_limits_come_back_in_the_order_that_the_board_takes() -> None:
    with five_axes(resets_on_open=True) as server:
        assert call("controller", "settings", "write", "job.toml", "--port", server.url, "--backup", "old").status == 0
        before = load_backup(Path("old")).settings
        assert (before["$20"], before["$22"], before["$1"]) == ("1", "1", "254")
        back = call("controller", "settings", "restore", "old")
        assert (back.status, back.err) == (0, ""), back.err
        assert call("controller", "settings", "write", "job.toml", "--port", server.url, "--backup", "new").status == 0
        assert load_backup(Path("new")).settings == before
