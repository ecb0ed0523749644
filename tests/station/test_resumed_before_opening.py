"""A run that can't be resumed is refused before its port is opened, because opening resets many boards."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

import firmware_host as fh
from firmware_host.cli.main import run
from firmware_host.clock import VirtualClock
from firmware_host.controller.port.port import Port
from firmware_host.errors import EXIT_BAD_INPUT, EXIT_LINK_FAULT, PortUnavailableError
from firmware_host.station.gates.dry import DryGate
from firmware_host.station.journal.events import PositionLost
from firmware_host.station.journal.journal import Journal
from firmware_host.station.journal.tally import tally_path
from firmware_host.station.runs.folder import RunFolder
from tests.support.station_bench import small_setup
from tests.support.three_segments import own_folders

KEPT = Path(__file__).parent / "kept"


class WatchedPort:
    """A port that notes each time it is opened, and is not there."""

    def __init__(self) -> None:
        self.opened: list[str] = []

    def open(self, url: str, **options: object) -> Port:
        self.opened.append(url)
        raise PortUnavailableError(url, "there is nothing here")


@pytest.fixture
def port(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> WatchedPort:
    own_folders(tmp_path, monkeypatch)
    watched = WatchedPort()
    monkeypatch.setattr("firmware_host.station.opening.open_port", watched.open)
    return watched


def kept(name: str, tmp_path: Path) -> RunFolder:
    return RunFolder(Path(shutil.copytree(KEPT / name, tmp_path / name)))


def done(tmp_path: Path) -> RunFolder:
    return kept("done", tmp_path)


def damaged(tmp_path: Path) -> RunFolder:
    folder = kept("crashed", tmp_path)
    folder.journal.write_bytes(folder.journal.read_bytes().replace(b"611", b"612", 1))
    return folder


def other_setup(tmp_path: Path) -> RunFolder:
    folder = kept("crashed", tmp_path)
    folder.save_setup(small_setup("bottle-band"))
    return folder


def broken_setup(tmp_path: Path) -> RunFolder:
    folder = kept("crashed", tmp_path)
    folder.setup.unlink()
    return folder


def not_begun(tmp_path: Path) -> RunFolder:
    folder = kept("crashed", tmp_path)
    tally_path(folder.journal).unlink()
    folder.journal.write_bytes(b"")
    return folder


def without_journal(tmp_path: Path) -> RunFolder:
    folder = not_begun(tmp_path)
    folder.journal.unlink()
    return folder


REFUSED: dict[str, tuple[Callable[[Path], RunFolder], str, int]] = {
    "done": (done, "the run is done: nothing is left", EXIT_BAD_INPUT),
    "damaged": (damaged, "is damaged", EXIT_BAD_INPUT),
    "other-setup": (other_setup, "was changed since the run began", EXIT_BAD_INPUT),
    "no-setup": (broken_setup, "setup.json: is missing", EXIT_BAD_INPUT),
    "not-begun": (not_begun, "nothing was moved: .*Start the job again", EXIT_BAD_INPUT),
    "no-journal": (without_journal, "nothing was moved: .*Start the job again", EXIT_BAD_INPUT),
}


@pytest.mark.parametrize(("make", "complaint", "status"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_resumed_leaves_the_port_closed(
    make: Callable[[Path], RunFolder],
    complaint: str,
    status: int,
    port: WatchedPort,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder = make(tmp_path)
    with pytest.raises(fh.FirmwareHostError, match=complaint), fh.reopen_station(folder.path, "PORT"):
        pytest.fail("it was opened")
    assert run(["resume", str(folder.path), "--port", "PORT"]) == status
    assert complaint.partition(":")[0] in " ".join(capsys.readouterr().err.split())
    assert port.opened == []


def test_a_run_that_another_process_works_on_leaves_the_port_closed(port: WatchedPort, tmp_path: Path) -> None:
    folder = kept("crashed", tmp_path)
    with (
        Journal(folder.journal, VirtualClock()),
        pytest.raises(fh.JournalError, match="another process is writing this run"),
        fh.reopen_station(folder.path, "PORT"),
    ):
        pytest.fail("it was opened")
    assert port.opened == []


def test_a_run_with_marking_is_not_opened_to_be_resumed_without(
    port: WatchedPort, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = kept("crashed", tmp_path)
    with (
        pytest.raises(fh.InputError, match="it marks: a pass turned to without marking would count as marked"),
        fh.reopen_station(folder.path, "PORT", gate=lambda context: DryGate(context, 0.1)),
    ):
        pytest.fail("it was opened")
    assert run(["resume", str(folder.path), "--port", "PORT", "--without-marking"]) == EXIT_BAD_INPUT
    assert "it marks" in capsys.readouterr().err
    assert port.opened == []


def test_a_position_that_is_lost_by_the_journal_is_told_before_the_port_is_opened(
    port: WatchedPort, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = kept("stopped", tmp_path)
    with Journal(folder.journal, VirtualClock()) as journal:
        journal.write(PositionLost(reason="it was reset"))
    assert run(["resume", str(folder.path), "--port", "PORT"]) == EXIT_LINK_FAULT
    told = " ".join(capsys.readouterr().err.split())
    assert "the part's position cannot be proved: the controller was found reset" in told
    assert "--zero here" in told
    assert run(["resume", str(folder.path), "--port", "PORT", "--zero", "home"]) == EXIT_BAD_INPUT
    assert "this machine has none" in capsys.readouterr().err
    assert port.opened == []
    run(["resume", str(folder.path), "--port", "PORT", "--zero", "here"])
    assert port.opened == ["PORT"]


def test_a_run_that_can_be_resumed_does_open_the_port_it_began_with(port: WatchedPort, tmp_path: Path) -> None:
    folder = kept("crashed", tmp_path)
    begun_at = json.loads(folder.journal.read_bytes().splitlines()[0])["port"]
    with pytest.raises(PortUnavailableError, match="there is nothing here"), fh.reopen_station(folder.path):
        pytest.fail("it was opened")
    assert port.opened == [begun_at]
