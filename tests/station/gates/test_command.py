"""Gate `command`, with real programs: what is told to them, what their end means, and that nothing of them is left."""

import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import psutil
import pytest

from firmware_host.acts import NameGateProgram
from firmware_host.clock import VirtualClock
from firmware_host.errors import GateError, GateTimeoutError, InputError
from firmware_host.model.job.gate import CommandGateOptions
from firmware_host.station.gates.command import CommandGate
from firmware_host.station.gates.gate import GateContext, PartContext, PassRequest, PassState
from tests.support.station_bench import ScriptedOperator

REQUEST = PassRequest(segment=2, segments=6, number=1, passes=3, angle_deg=22.9125)
LONG = "import time; time.sleep(600)"
PATIENCE_S = 20.0


def gate_for(program: tuple[str, ...], timeout: str = "60 s") -> tuple[CommandGate, VirtualClock]:
    clock = VirtualClock()
    context = GateContext(clock, ScriptedOperator(clock), program)
    return CommandGate.build(CommandGateOptions.model_validate({"kind": "command", "timeout": timeout}), context), clock


def python(code: str, *arguments: str) -> tuple[str, ...]:
    return (sys.executable, "-c", code, *arguments)


def state_at_the_end(gate: CommandGate) -> PassState:
    """Poll until the program has ended; gives up in real time, so that a fault can't hang the tests."""
    give_up_s = time.monotonic() + PATIENCE_S
    while (state := gate.poll()) is PassState.MARKING:
        assert time.monotonic() < give_up_s, "the program did not end"
        time.sleep(0)
    return state


def gone(pid: int) -> bool:
    """Whether a process has ended, in real time, an unreaped one included."""
    give_up_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < give_up_s:
        try:
            if psutil.Process(pid).status() == psutil.STATUS_ZOMBIE:
                return True
        except psutil.NoSuchProcess:
            return True
        time.sleep(0)
    return False


def wait_for_text(path: Path) -> str:
    give_up_s = time.monotonic() + PATIENCE_S
    while not (path.exists() and path.read_text("utf-8").endswith("\n")):
        assert time.monotonic() < give_up_s, f"nothing was written to {path.name}"
        time.sleep(0)
    return path.read_text("utf-8").strip()


@pytest.fixture
def closing() -> Iterator[list[CommandGate]]:
    """Gates put in here are closed at the end, whatever the test found."""
    gates: list[CommandGate] = []
    yield gates
    for gate in gates:
        gate.close()


def test_status_zero_says_done(closing: list[CommandGate]) -> None:
    gate, _ = gate_for(python(""))
    closing.append(gate)
    for _ in range(2):  # one program for each pass
        gate.open(REQUEST)
        assert state_at_the_end(gate) is PassState.DONE
        gate.close()


PART = PartContext(3, 24, "A-103", "For Ada", {"Ring size": "56", "part.diameter": "50.1 mm"})


@pytest.mark.parametrize(
    ("names", "part", "said"),
    [
        (("SEGMENT", "SEGMENTS", "PASS", "PASSES", "ANGLE_DEG"), None, "2|6|1|3|22.9125"),
        (("PART", "PARTS", "SERIAL", "TEXT"), PART, "3|24|A-103|For Ada"),
        (("COLUMN_RING_SIZE", "COLUMN_PART_DIAMETER"), PART, "56|50.1 mm"),
    ],
    ids=["pass-and-angle", "part-of-a-batch", "columns"],
)
def test_the_program_is_told_what_it_marks(
    names: tuple[str, ...], part: PartContext | None, said: str, tmp_path: Path, closing: list[CommandGate]
) -> None:
    told = tmp_path / "told"
    code = (
        f"import os, sys; k = {names!r};"
        "open(sys.argv[1], 'w').write('|'.join(os.environ['CIRCUMSTEP_' + n] for n in k) + '\\n')"
    )
    gate, _ = gate_for(python(code, str(told)))
    closing.append(gate)
    gate.open(replace(REQUEST, part=part))
    assert state_at_the_end(gate) is PassState.DONE
    assert wait_for_text(told) == said


def test_arguments_reach_the_program_as_they_are_without_a_shell(tmp_path: Path, closing: list[CommandGate]) -> None:
    seen = tmp_path / "seen"
    gate, _ = gate_for(
        python("import sys; open(sys.argv[1], 'w').write(sys.argv[2] + '\\n')", str(seen), "$HOME; rm *")
    )
    closing.append(gate)
    gate.open(REQUEST)
    state_at_the_end(gate)
    assert wait_for_text(seen) == "$HOME; rm *"


@pytest.mark.parametrize(
    ("code", "how"),
    [
        ("raise SystemExit(3)", "ended with status 3"),
        pytest.param(
            "import os; os.kill(os.getpid(), 9)",
            "was ended by signal 9",
            marks=pytest.mark.posix("a status that tells a signal"),
        ),
    ],
    ids=["status", "signal"],
)
def test_a_failing_program_has_not_done_the_pass(code: str, how: str, closing: list[CommandGate]) -> None:
    gate, _ = gate_for(python(code))
    closing.append(gate)
    gate.open(REQUEST)
    with pytest.raises(GateError, match=f"{how}: the pass is not done") as caught:
        state_at_the_end(gate)
    assert not isinstance(caught.value, GateTimeoutError)


def test_a_hanging_program_times_out_by_the_run_s_clock_and_is_ended(closing: list[CommandGate]) -> None:
    gate, clock = gate_for(python(LONG), timeout="45 s")
    closing.append(gate)
    gate.open(REQUEST)
    assert gate._started is not None
    pid = gate._started.pid
    clock.sleep(45.0)
    assert gate.poll() is PassState.MARKING
    clock.sleep(0.1)
    with pytest.raises(GateTimeoutError, match="took longer than 45 s"):
        gate.poll()
    gate.close()
    assert gone(pid)


def test_closing_ends_the_program_and_every_child_it_started(tmp_path: Path, closing: list[CommandGate]) -> None:
    note = tmp_path / "child"
    code = (
        f"import subprocess, sys, time; p = subprocess.Popen([sys.executable, '-c', {LONG!r}]);"
        "open(sys.argv[1], 'w').write(f'{p.pid}\\n'); time.sleep(600)"
    )
    gate, _ = gate_for(python(code, str(note)))
    closing.append(gate)
    gate.open(REQUEST)
    child = int(wait_for_text(note))
    assert gate.poll() is PassState.MARKING
    gate.close()
    assert gone(child)


def test_a_child_left_behind_by_a_program_that_said_done_is_ended_too(
    tmp_path: Path, closing: list[CommandGate]
) -> None:
    note = tmp_path / "child"
    code = (
        f"import subprocess, sys; p = subprocess.Popen([sys.executable, '-c', {LONG!r}]);"
        "open(sys.argv[1], 'w').write(f'{p.pid}\\n')"
    )
    gate, _ = gate_for(python(code, str(note)))
    closing.append(gate)
    gate.open(REQUEST)
    assert state_at_the_end(gate) is PassState.DONE
    child = int(wait_for_text(note))
    assert psutil.pid_exists(child)
    gate.close()
    assert gone(child)


def test_a_program_that_ignores_the_request_to_end_is_ended_all_the_same(
    tmp_path: Path, closing: list[CommandGate], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("firmware_host.station.gates.command._ENDING_S", 0.05)
    note = tmp_path / "ready"
    code = (
        "import signal, sys, time; signal.signal(signal.SIGTERM, signal.SIG_IGN);"
        "open(sys.argv[1], 'w').write('ready\\n'); time.sleep(600)"
    )
    gate, _ = gate_for(python(code, str(note)))
    closing.append(gate)
    gate.open(REQUEST)
    wait_for_text(note)
    assert gate._started is not None
    pid = gate._started.pid
    gate.close()
    assert gone(pid)
    gate.close()


def test_a_program_that_does_not_exist_is_told_by_name(closing: list[CommandGate]) -> None:
    gate, _ = gate_for(("no-such-program-here",))
    closing.append(gate)
    with pytest.raises(GateError, match=r"'no-such-program-here' cannot be started \(No such file"):
        gate.open(REQUEST)
    gate.close()


def test_without_a_program_the_gate_is_not_made() -> None:
    with pytest.raises(InputError, match=r"none was named\. Name the program when starting or") as caught:
        gate_for(())
    assert caught.value.acts == (NameGateProgram(),)


def test_a_job_file_cannot_name_the_program() -> None:
    with pytest.raises(ValueError, match="program"):
        CommandGateOptions.model_validate({"kind": "command", "timeout": "1 s", "program": "rm"})


def test_closing_a_gate_that_was_never_open_starts_and_ends_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[object] = []
    monkeypatch.setattr(subprocess, "Popen", lambda *arguments, **options: started.append(arguments))
    gate, _ = gate_for(python(LONG))
    gate.close()
    assert started == []
