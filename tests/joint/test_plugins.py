"""The plug-ins of the docs, found by their entry points: a gate in a whole run, a dialect on a simulated board, and a
kind of board on recorded answers.

They are laid beside a `.dist-info` folder on the path, as an installer would, and nothing is installed.
"""

from __future__ import annotations

import importlib
import json
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from firmware_host.clock import ScaledClock, VirtualClock
from firmware_host.controller.connecting import connect
from firmware_host.controller.learned import Fact, Source
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.registry import dialect_names, load_dialect
from firmware_host.controller.reply import AxisState, Rejected, StatusReport
from firmware_host.errors import InputError, StandstillError
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.status_query.boards import set_board
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.status_query.variant import StatusQueryVariant
from firmware_host.station.gates.gate import gate_kinds
from tests.cli.command import COMMAND, PATIENCE_S, ROOT, Program, call
from tests.support.recorded_board import RecordedBoard
from tests.support.three_segments import JOB, own_folders

PAGE = (ROOT / "docs" / "pages" / "plugins.md").read_text(encoding="utf-8")
BLOCKS = [(found[0], found[1]) for found in re.findall(r"^```(\w+)\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)]
#: The marking side of the go-file gate: a pass is marked when the file was read and taken away.
MARKING_SIDE = """\
import pathlib, sys, time
path, log = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])
for _ in range(3):
    while not path.exists():
        time.sleep(0.005)
    with log.open("a") as lines:
        lines.write(path.read_text())
    path.unlink()
"""


@pytest.fixture(autouse=True)
def plugins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The package of the page, on the path of this process; its entry points are those of the page, too."""
    own_folders(tmp_path, monkeypatch)
    site = tmp_path / "site"
    info = site / "our_workshop-1.0.dist-info"
    info.mkdir(parents=True)
    for language, text in BLOCKS:
        if language == "python" and (file := re.match(r'"""(\w+\.py): ', text)):
            (site / file[1]).write_text(text, encoding="utf-8")
    project = tomllib.loads(next(text for language, text in BLOCKS if "[project]" in text))["project"]
    info.joinpath("METADATA").write_text(
        f"Metadata-Version: 2.1\nName: {project['name']}\nVersion: {project['version']}\n", encoding="utf-8"
    )
    groups = (
        f"[{group}]\n" + "".join(f"{name} = {target}\n" for name, target in entries.items())
        for group, entries in project["entry-points"].items()
    )
    info.joinpath("entry_points.txt").write_text("\n".join(groups), encoding="utf-8")
    monkeypatch.syspath_prepend(str(site))
    yield site
    for module in ("our_gate", "our_dialect", "our_board"):
        sys.modules.pop(module, None)


def test_all_are_found_beside_the_built_in_ones() -> None:
    assert set(gate_kinds()) > {"go-file", "operator"}
    assert set(dialect_names()) >= {"status-query-xyzc", "numbered-line-ours", "status-query", "numbered-line"}


# --- the gate ----------------------------------------------------------------------------------------------------


def test_a_gate_of_another_package_drives_a_whole_run(tmp_path: Path, plugins: Path) -> None:
    go = tmp_path / "go"
    options = next(text for language, text in BLOCKS if language == "toml" and "go-file" in text and "[gate]" in text)
    Path("job.toml").write_text(JOB + options.replace("/run/marking/go", str(go)), encoding="utf-8")
    environment = os.environ | {"PYTHONPATH": f"{plugins}{os.pathsep}{ROOT}"}
    with Program("controller", "simulate", "--clock", "20") as board:
        port = board.wait_for("out", "\n").strip()
        marking = subprocess.Popen([sys.executable, "-S", "-c", MARKING_SIDE, str(go), str(tmp_path / "log")])
        try:
            ended = subprocess.run(
                [*COMMAND, "run", "job.toml", "--port", port, "--json"],
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
                timeout=PATIENCE_S,
                env=environment,
            )
            assert ended.returncode == 0, ended.stderr
            assert marking.wait(PATIENCE_S) == 0
        finally:
            if marking.poll() is None:
                marking.kill()
                marking.wait()
    assert [entry["status"] for entry in json.loads(ended.stdout)["passes"]] == ["done"] * 3
    # 9600 microsteps are one turn; by hand: segments at 0, 611 and 1222 microsteps.
    marked = [line.split() for line in (tmp_path / "log").read_text("utf-8").splitlines()]
    assert [(row[0], row[1]) for row in marked] == [("1", "1"), ("2", "1"), ("3", "1")]
    assert [float(row[2]) for row in marked] == pytest.approx([0.0, 611 * 360 / 9600, 1222 * 360 / 9600], abs=1e-6)
    assert not go.exists()


def test_without_the_plug_in_the_job_is_refused_and_the_known_kinds_are_named(tmp_path: Path) -> None:
    Path("job.toml").write_text(f'{JOB}[gate]\nkind = "go-file"\n', encoding="utf-8")
    with Program("controller", "simulate", "--clock", "20") as board:
        with Program("run", "job.toml", "--port", board.wait_for("out", "\n").strip()) as run:
            ended = run.end()
    assert ended.status == 2
    assert "no gate of kind 'go-file'" in ended.err
    assert "operator" in ended.err


@pytest.mark.parametrize(
    ("options", "message"),
    [
        pytest.param({"file": "go"}, "takes file and timeout", id="no timeout"),
        pytest.param({"file": "go", "timeout": "5 mm"}, "gate.options.timeout", id="a length"),
        pytest.param({"file": "go", "timeout": "5 s", "shell": "x"}, "and nothing else", id="unknown key"),
    ],
)
def test_options_that_make_no_sense_are_refused_as_a_file_s_are(options: dict[str, str], message: str) -> None:
    gate = importlib.import_module("our_gate").GoFileGate
    with pytest.raises(InputError, match=message):
        gate.build(options, None)


# --- the dialect -------------------------------------------------------------------------------------------------


def test_a_dialect_of_another_package_runs_a_job_on_a_board_that_only_it_understands(plugins: Path) -> None:
    dialect = load_dialect("status-query-xyzc")
    report = dialect.parse(b"<Idle|MPos:0.000,0.000,0.000,12.345|FS:0,0>")
    assert isinstance(report, StatusReport)
    assert (report.state, report.machine) == (AxisState.READY, (0.0, 0.0, 0.0, 12.345))
    assert isinstance(dialect.parse(b"error:20"), Rejected)
    shown = call("profile", "show", "machine", "belt-chuck").out
    machine = shown.replace('letter = "A"', 'letter = "C"').replace('"status-query"', '"status-query-xyzc"')
    assert machine.count("xyzc") == 1
    assert 'letter = "C"' in machine
    Path("machine.toml").write_text(machine, encoding="utf-8")
    Path("job.toml").write_text(JOB.replace('"belt-chuck"', '"machine.toml"'), encoding="utf-8")
    device, clock = StatusQueryDevice(_xyzc_board()), ScaledClock(10.0)
    device.make_moves_last(10.0)  # a run times them
    with serve(device, clock, kind="socket") as server:
        written = _call_with(plugins, "controller", "settings", "write", "job.toml", "--port", server.url)
        assert written.returncode == 0, written.stderr
        ended = _call_with(plugins, "run", "job.toml", "--port", server.url, "--without-marking", "--json")
        assert ended.returncode == 0, ended.stderr
        assert server.steps_at("C") == 1222
        assert server.steps_at("X") == 0
    record = json.loads(ended.stdout)
    assert [(entry["planned_microstep"], entry["status"]) for entry in record["passes"]] == [
        (0, "done"),
        (611, "done"),
        (1222, "done"),
    ]


def test_the_built_in_dialect_does_not_know_that_board_s_fourth_axis() -> None:
    assert load_dialect("status-query").axis_letters(4) == "XYZA"  # type: ignore[attr-defined]
    with pytest.raises(InputError, match="'A' is no axis of this board"):
        load_dialect("status-query-xyzc").move_line("A", "1.0", "600")


def _xyzc_board() -> StatusQueryVariant:
    """A board like one whose fourth axis is A, but for the letter."""
    fourth_is_a = set_board("A", steps_per_unit=26.667, rate=3000, acceleration=200, highest_step_rate=30_000)
    return replace(fourth_is_a, axes="XYZC")


def _call_with(plugins: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *arguments],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        env=os.environ | {"PYTHONPATH": f"{plugins}{os.pathsep}{ROOT}"},
    )


# --- the board ---------------------------------------------------------------------------------------------------


class DoneBoard(RecordedBoard):
    """The recorded board, but for the word with which it accepts a line."""

    def say(self, *lines: bytes, after_s: float = 0.003) -> None:
        super().say(*(b"done" if line == b"ok" else line for line in lines), after_s=after_s)


def test_a_board_is_taught_by_twenty_lines_of_another_package() -> None:
    text = next(text for language, text in BLOCKS if text.startswith('"""our_board.py'))
    assert len([line for line in text.splitlines() if line.strip()]) <= 20
    clock = VirtualClock()
    board = DoneBoard(clock, "numbered_line_b")
    board.say(b"start")
    with connect(board, load_dialect("numbered-line-ours"), clock, MemoryTrace(clock), axis="X") as controller:
        learned = controller.learned
        assert learned.shortest_move_steps == Fact(3, Source.DIALECT)
        assert learned.quick_stop.value is False
        assert not learned.first_step_wait_s.known  # left out: the unkind end is taken
        assert controller.status().counts == {"X": 0, "Y": 0, "Z": 0}
        assert controller.strays == ()


def test_without_the_plug_in_that_board_is_never_taken_for_one_that_stands() -> None:
    clock = VirtualClock()
    board = DoneBoard(clock, "numbered_line_b")
    board.say(b"start")
    with pytest.raises(StandstillError, match="did not come to a standstill"):
        connect(board, load_dialect("numbered-line"), clock, MemoryTrace(clock), axis="X")
