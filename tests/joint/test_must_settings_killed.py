"""The process killed while it writes a controller's settings, or puts them back: every old value comes back."""

import os
import signal
import subprocess
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from firmware_host.clock import ScaledClock, VirtualClock
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.settings.backup import SettingsBackup, load_backup, save_backup
from firmware_host.errors import InputError
from firmware_host.simulator.serving.socket_server import SocketServer
from firmware_host.simulator.status_query.boards import delivered_board
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.station.settings.restore import newest_backup
from tests.cli.command import COMMAND, call, environment
from tests.contract.spoken import MIXED, STATED, Case
from tests.support.bench import Bench, bench, move_and_stand_still, numbered_bench
from tests.support.crashes import Crash
from tests.support.deaths import deaths
from tests.support.memory_port import MemoryPort
from tests.support.station_bench import quick_disk

OLD = Fraction("26.667")
STATE_CHANGES = {"$103": "50", "$123": "400", "$113": "3000", "$1": "255"}
NUMBER_CHANGES = {"M92 A": "50", "M201 A": "250"}


def state_bench() -> Bench[Any]:
    return bench({"$103": 26.667, "$123": 300.0})


def number_bench() -> Bench[Any]:
    return numbered_bench({"M92 A": 26.667, "M201 A": 300.0})


KINDS = {"status-query": (state_bench, STATE_CHANGES), "numbered-line": (number_bench, NUMBER_CHANGES)}


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def back_and_no_wild_move(b: Bench[Any], old: dict[str, float], backup: Path) -> None:
    if backup.exists():
        b.open().restore_settings(backup)
    assert b.device.settings == old
    stood = b.steps
    controller = b.ready()
    move_and_stand_still(controller, b, stood + 40, OLD, 0.5)
    assert b.steps == stood + 40


@pytest.mark.some(3)
@pytest.mark.parametrize("arrives", [False, True], ids=["before", "after"])
@pytest.mark.parametrize("act", ["writing", "restoring"])
@pytest.mark.parametrize("kind", KINDS)
def test_killed_at_any_write_to_the_port(kind: str, act: str, arrives: bool, tmp_path: Path) -> None:
    make, changes = KINDS[kind]
    files = (tmp_path / f"{number}.json" for number in range(1000))
    backup, old, half = tmp_path, dict[str, float](), 0

    def begin() -> tuple[Bench[Any], Callable[[], object]]:
        nonlocal backup, old
        b, backup = make(), next(files)
        old = dict(b.device.settings)
        controller = b.ready()
        if act == "writing":
            return b, lambda: controller.write_settings(changes, backup=backup, known=OLD)
        controller.write_settings(changes, backup=backup, known=OLD)
        return b, lambda: controller.restore_settings(backup)

    for b in deaths(begin, arrives=arrives):
        half += b.device.settings != old
        back_and_no_wild_move(b, old, backup)
    assert half >= len(changes) - 1


@pytest.mark.parametrize("case", MIXED, ids=str)
def test_every_board_of_both_families_gets_its_old_values_back(case: Case, tmp_path: Path) -> None:
    """Killed when the first, the second or the third value has changed."""
    for killed_at in (1, 2, 3):
        b = board(case)
        old, backup = dict(b.device.settings), tmp_path / f"{killed_at}.json"
        controller = b.ready(stated=STATED)
        names = controller.settings.names
        changes = {names.acceleration: "250", names.rate: "3000", names.steps_per_unit: "50"}
        changes = {key: text for key, text in changes.items() if key in controller.settings.raw}
        if not changes:
            assert case.name == "numbered-line/mute"
            return
        killed_at = min(killed_at, len(changes))
        b.port.on_write = dying_once_changed(b, old, killed_at)
        with pytest.raises(Crash):
            controller.write_settings(changes, backup=backup)
        assert sum(b.device.settings[key] != value for key, value in old.items()) == killed_at
        b.port.on_write, b.port.lost = lambda data: None, False
        b.run(5.0)
        b.open(stated=STATED).restore_settings(backup)
        b.device.hardware_reset(b.clock.monotonic())
        assert b.device.settings == old
        b.run(5.0)
        assert dict(b.open(stated=STATED).settings.raw) == dict(load_backup(backup).settings)


def board(case: Case) -> Bench[Any]:
    clock = VirtualClock()
    device = case.spoken.device(case.variant, 0.0)
    return Bench(clock, device, MemoryPort(device, clock), MemoryTrace(clock), case.spoken.dialect(), case.axis)


def dying_once_changed(b: Bench[Any], old: dict[str, float], values: int) -> Callable[[bytes], None]:
    def on_write(data: bytes) -> None:
        if sum(b.device.settings[key] != value for key, value in old.items()) >= values:
            b.port.pull_cable()
            raise Crash

    return on_write


class Board(StatusQueryDevice):
    """As delivered; calls `when_changed` with the number of settings changed so far."""

    when_changed: Callable[[int], None] = staticmethod(lambda changed: None)

    def __init__(self, now_s: float) -> None:
        super().__init__(delivered_board("A", highest_step_rate=28000.0), now_s)
        self.delivered = dict(self.settings)

    def receive(self, data: bytes, now_s: float) -> None:
        super().receive(data, now_s)
        self.when_changed(sum(self.settings[key] != value for key, value in self.delivered.items()))

    def transmit(self, now_s: float) -> bytes:
        said = super().transmit(now_s)
        self.when_changed(sum(self.settings[key] != value for key, value in self.delivered.items()))
        return said


@pytest.mark.parametrize(
    "killed_at", [pytest.param(1, marks=pytest.mark.slow), 2, pytest.param(3, marks=pytest.mark.slow)]
)
def test_a_real_process_killed_while_it_writes_is_undone_by_one_command(
    killed_at: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`settings write` is killed when that many values have changed; `settings restore` knows the file by itself."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    clock = ScaledClock(10.0)
    device = Board(clock.monotonic())
    old = device.delivered
    with SocketServer(device, clock) as server:
        process = subprocess.Popen(
            [*COMMAND, "controller", "settings", "write", "shaft-scale", "--port", server.url],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment(),
        )

        def kill(changed: int) -> None:
            if changed >= killed_at:
                device.when_changed = lambda changed: None
                os.kill(process.pid, signal.SIGKILL)

        device.when_changed = kill
        _, told = process.communicate(timeout=60)
        assert process.returncode == -signal.SIGKILL
        assert sum(device.settings[key] != value for key, value in old.items()) == killed_at
        (kept,) = (tmp_path / "circumstep" / "controllers" / "backups").iterdir()
        assert f"Bring the old settings back with: circumstep controller settings restore {kept}" in told
        again = call("controller", "settings", "restore", "--port", server.url)
        assert again.status == 0, again.err
        assert again.out == f"the settings kept in {kept} are back\n"
        assert device.settings == old


def test_restoring_without_a_file_takes_the_last_one_kept_of_this_port(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"contains no settings of memory://other.*Name the backup file"):
        newest_backup(tmp_path, "memory://other")
    for name, url, saved_at in (
        ("a", "memory://device", "2026-01-02T00:00:00+00:00"),
        ("b", "memory://device", "2026-01-01T00:00:00+00:00"),
        ("c", "memory://other", "2026-01-03T00:00:00+00:00"),
    ):
        save_backup(tmp_path / f"{name}.json", SettingsBackup("status-query", url, saved_at, {"$103": "1.000"}))
    (tmp_path / "d.json").write_text("[" * 100_000, encoding="ascii")
    (tmp_path / "e.json").write_bytes(b" " * (1 << 21))
    assert newest_backup(tmp_path, "memory://device") == tmp_path / "a.json"
