"""Whole runs with real programs at the gate, and with a gate from a plug-in's hands."""

import sys
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import EXIT_STOPPED, FirmwareHostError, GateError, GateTimeoutError
from firmware_host.station.gates.command import CommandGate
from firmware_host.station.gates.gate import Gate, GateContext
from firmware_host.station.gates.operator import OperatorGate
from firmware_host.station.gates.timed import TimedGate
from tests.support.journal_lines import journal_lines
from tests.support.station_bench import StationBench, quick_disk, small_setup

FOR_EVER_S = 1e6
"""In virtual time a real program takes long."""


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def started(code: str, *arguments: str, timeout_s: float = FOR_EVER_S) -> Any:
    def make(context: GateContext) -> Gate:
        program = (sys.executable, "-S", "-c", code, *arguments)
        return CommandGate(GateContext(context.clock, context.operator, program), timeout_s)

    return make


def test_a_program_is_started_once_for_each_pass_with_the_angle_where_the_part_stands(tmp_path: Path) -> None:
    log = tmp_path / "log"
    code = (
        "import os, sys; e = os.environ; open(sys.argv[1], 'a').write("
        "' '.join(e['CIRCUMSTEP_' + k] for k in ('SEGMENT', 'PASS', 'ANGLE_DEG')) + '\\n')"
    )
    bench = StationBench(tmp_path, small_setup(), gate=started(code, str(log)))
    assert bench.run().outcome == "done"
    rows = [line.split() for line in log.read_text("utf-8").splitlines()]
    assert [(int(segment), int(number)) for segment, number, _ in rows] == bench.passes_marked()
    targets = bench.plan.route.segment_targets().tolist()
    for segment, _, angle in rows:  # 9600 microsteps are one turn
        assert float(angle) == pytest.approx(targets[int(segment) - 1] * 360 / 9600, abs=1e-6)
    bench.never_open_while_moving()


def test_a_program_that_fails_ends_the_run_resumable(tmp_path: Path) -> None:
    flag = tmp_path / "broken"
    flag.touch()
    code = "import os, sys; sys.exit(os.environ['CIRCUMSTEP_SEGMENT'] == '2' and os.path.exists(sys.argv[1]))"
    bench = StationBench(tmp_path, small_setup(passes=1), gate=started(code, str(flag)))
    with pytest.raises(GateError, match="ended with status 1: the pass is not done") as caught:
        bench.run()
    assert caught.value.exit_status == EXIT_STOPPED
    assert bench.passes_marked() == [(1, 1), (2, 1)]
    flag.unlink()
    assert bench.resume(done=False).outcome == "done"
    assert bench.asked == [(2, 1)]
    assert bench.passes_marked() == [(1, 1), (2, 1), (2, 1), (3, 1)]


def test_a_program_that_hangs_is_ended_at_its_time(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(passes=1), gate=started("import time; time.sleep(600)", timeout_s=20.0))
    with pytest.raises(GateTimeoutError, match="took longer than 20 s"):
        bench.run()
    ((opened_s, closed_s, _),) = bench.gate.opened
    assert closed_s is not None
    assert 20.0 < closed_s - opened_s < 20.2


def test_nobody_at_the_machine_ends_the_run_at_the_time_given(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(), gate=lambda context: OperatorGate(context, 30.0))
    with pytest.raises(GateTimeoutError, match="nobody confirmed within 30 s that the pass is done"):
        bench.run()
    ((opened_s, closed_s, _),) = bench.gate.opened
    assert closed_s is not None
    assert 30.0 < closed_s - opened_s < 30.2
    assert bench.operator.told[-1] == "GATE CLOSED: do not mark."


class ToldGate(TimedGate):
    """Notes what it is told of the end, whether it was open then, and the journal's last event by then."""

    def __init__(self, context: GateContext) -> None:
        super().__init__(context, 0.5)
        self.journal = Path()
        self.told: list[tuple[str, bool, str]] = []

    def ended(self, outcome: str) -> None:
        self.told.append((outcome, self._opened_s is not None, journal_lines(self.journal)[-1]["outcome"]))


@pytest.mark.parametrize("outcome", ["done", "stopped", "failed"])
def test_the_gate_is_told_once_how_the_run_ended_when_it_is_closed_and_journalled(tmp_path: Path, outcome: str) -> None:
    bench = StationBench(tmp_path, small_setup(), gate=ToldGate)
    gate = bench.gate.inner
    assert isinstance(gate, ToldGate)
    gate.journal = bench.folder.journal
    if outcome == "done":
        assert bench.run().outcome == "done"
    else:
        bench.at("gate-open", lambda: bench.stop.ask("by a test") if outcome == "stopped" else bench.port.pull_cable())
        with pytest.raises(FirmwareHostError, match=r"stopped \(by a test\)|the cable is pulled"):
            bench.run()
    assert gate.told == [(outcome, False, outcome)]


def test_the_gate_is_closed_once_more_before_the_end_is_journalled(tmp_path: Path) -> None:
    """Whatever the last pass left: a run that is done leaves no permission to mark behind."""
    bench = StationBench(tmp_path, small_setup())
    told: list[str] = []
    bench.gate.on_close = lambda: told.append(str(journal_lines(bench.folder.journal)[-1]["event"]))
    bench.run()
    assert told[-1] == "finished"  # the last line before the end
    assert told.count("gate-open") == 6
