"""Asked to end before a run has begun: status 4, what was being done, and nothing left behind."""

import shutil
import signal
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.command import Program
from tests.support import ending_signals


@pytest.fixture
def mute() -> Iterator[socket.socket]:
    """A port that takes callers and says nothing."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(60)
        yield server


@pytest.mark.parametrize(("number", "reason"), ending_signals.ALL)
@pytest.mark.parametrize(
    "command",
    [("run", "shaft-scale"), ("controller", "show"), ("controller", "settings", "write", "shaft-scale")],
    ids=["run", "show", "write"],
)
def test_while_the_controller_is_waited_for(
    command: tuple[str, ...], number: signal.Signals, reason: str, mute: socket.socket, tmp_path: Path
) -> None:
    url = f"socket://127.0.0.1:{mute.getsockname()[1]}"
    with Program(*command, "--port", url) as program:
        caller, _ = mute.accept()
        with caller:
            program.send(number)
            ended = program.end()
    told = f"error: stopped ({reason}) while opening the controller; nothing was moved\n"
    if command[0] == "run":
        told += f"  Run it with: circumstep {' '.join(command)} --port {url}\n"
    assert (ended.status, ended.out, ended.err) == (4, "", told)
    assert list(tmp_path.rglob("runs/*")) == []


def test_before_a_run_is_resumed(mute: socket.socket, tmp_path: Path) -> None:
    """It says how to resume it, and leaves the run as it was."""
    run = tmp_path / "stopped"
    shutil.copytree(Path(__file__).parents[1] / "station" / "kept" / "stopped", run)
    journal = (run / "journal.jsonl").read_bytes()
    with Program("resume", str(run), "--port", f"socket://127.0.0.1:{mute.getsockname()[1]}") as program:
        caller, _ = mute.accept()
        with caller:
            program.interrupt()
            ended = program.end()
    told = "error: stopped (Ctrl-C) while opening the controller; nothing was moved\n"
    assert (ended.status, ended.err) == (4, f"{told}  Resume with: circumstep resume {run}\n")
    assert (run / "journal.jsonl").read_bytes() == journal
