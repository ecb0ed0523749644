"""The settings of the five recorded boards by the commands as typed: compared, written, and brought back as printed."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from firmware_host.clock import ScaledClock
from firmware_host.model import load_machine
from firmware_host.model.files.profiles import find_profile
from firmware_host.simulator.boards import board_names, simulated_device
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.simulator.serving.serve import serve
from firmware_host.system.processes import split_command
from tests.cli.command import CLOCK_FACTOR, Ended, call
from tests.support.three_segments import JOB, own_folders

ADVICE = "Bring the old settings back with: "
OWN_AXIS: Mapping[str, str] = {"status-query-b": "A", "status-query-c": "A"}
DAILY = ("status-query-b", "numbered-line-a")
RAISED = "M207 Z"
"""One board raises this by itself when it loads it, and stores that with the next storing."""


@dataclass
class Place:
    """A folder with a blank in its name, a job in it, and the board's port."""

    folder: Path
    device: SimulatedDevice
    port: str

    def settings(self, command: str, *words: str) -> Ended:
        return call("controller", "settings", command, "my job.toml", "--port", self.port, *words)

    def has(self) -> dict[str, float]:
        """As printed with three decimals, of which no board prints fewer but one."""
        return {key: round(value, 3) for key, value in self.device.settings.items() if key != RAISED}


@contextmanager
def board_at(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Place]:
    folder = tmp_path / "my jobs"
    folder.mkdir()
    own_folders(folder, monkeypatch)
    text = find_profile("machines", "belt-chuck").read_text(encoding="utf-8")
    text = text.replace('"status-query"', f'"{name.rpartition("-")[0]}"')
    text = text.replace('letter = "A"', f'letter = "{OWN_AXIS.get(name, "X")}"')
    Path("my machine.toml").write_text(text, encoding="utf-8")
    Path("my job.toml").write_text(JOB.replace('"belt-chuck"', json.dumps("my machine.toml")), encoding="utf-8")
    clock = ScaledClock(CLOCK_FACTOR if name == "numbered-line-a" else 20.0)  # its idle lines leave time for no more
    machine = load_machine("my machine.toml")
    assert machine.axis.letter == OWN_AXIS.get(name, "X")
    device = simulated_device(machine, delivered=True, start_s=clock.monotonic(), board=name)
    with serve(device, clock, kind="socket") as server:
        yield Place(folder, device, server.url)


@pytest.mark.some(2)
@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=() if name in DAILY else pytest.mark.slow, id=name) for name in board_names()],
)
def test_what_is_printed_after_writing_brings_everything_back_as_typed(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with board_at(name, tmp_path, monkeypatch) as place:
        before = place.has()
        assert place.settings("compare").status == 1
        written = place.settings("write")
        assert written.status == 0, written.err
        assert written.out.endswith("all settings fit the job\n")
        assert "kept" not in written.out + written.err.partition(ADVICE)[0]
        fitting = place.settings("compare")
        assert fitting.status == 0, fitting.out
        assert fitting.out.startswith("all ")
        assert place.has() != before
        (line,) = (line for line in written.err.splitlines() if ADVICE in line)
        typed = split_command(line.partition(ADVICE)[2])
        assert " " in typed[4], "the file lies in a folder with a blank"
        os.chdir(tmp_path)
        back = call(*typed[1:])
        assert back.status == 0, back.err
        assert place.has() == before


@pytest.mark.parametrize("name", ["status-query-a"])
def test_a_write_that_is_refused_prints_nothing_of_old_settings(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with board_at(name, tmp_path, monkeypatch) as place:
        before = place.has()
        Path("there.json").write_text("x", encoding="utf-8")
        refused = place.settings("write", "--backup", "there.json")
        assert refused.status == 2
        assert "a backup of this name exists already" in refused.err
        assert "no setting is changed, neither in force nor stored" in refused.err
        assert "kept" not in refused.err.replace("the old one is kept", "")
        assert ADVICE not in refused.err
        assert place.has() == before


@pytest.mark.slow
def test_the_exact_scale_is_known_however_the_port_is_spelt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """That board prints two decimals of it: without the note the scale would have to be written again."""
    with board_at("numbered-line-b", tmp_path, monkeypatch) as place:
        assert place.settings("write").status == 0
        number = place.port.rpartition(":")[2]
        for spelt in (f"socket://127.0.0.1:{number}", f"SOCKET://LOCALHOST:{number}", f"socket://localhost:{number}/"):
            place.port = spelt
            fitting = place.settings("compare", "--json")
            assert (fitting.status, json.loads(fitting.out)) == (0, []), spelt
