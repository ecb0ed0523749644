"""Gate `modem-lines` on scripted lines in virtual time: polarity, bounces, edges, levels, faults, the second port."""

import os
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from firmware_host.clock import VirtualClock
from firmware_host.controller.port.lock import PortLock
from firmware_host.controller.port.modem_lines import InputLine, OutputLine
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.serial_port import SerialPort, open_port
from firmware_host.errors import GateError, GateTimeoutError, PortBusyError, PortLostError, PortUnavailableError
from firmware_host.model.job.gate import ModemLinesGateOptions
from firmware_host.station.gates.gate import GateContext, PassRequest, PassState, build_gate
from firmware_host.station.gates.modem_lines import ModemLinesGate
from tests.support.scripted_lines import ScriptedLines
from tests.support.station_bench import ScriptedOperator, StationBench, quick_disk, small_setup

REQUEST = PassRequest(segment=1, segments=3, number=1, passes=1, angle_deg=0.0)
CTS, DSR, DCD = InputLine.CTS, InputLine.DSR, InputLine.DCD


def gate_on(lines: ScriptedLines, **options: Any) -> ModemLinesGate:
    context = GateContext(lines.clock, ScriptedOperator(lines.clock))
    asked = {"kind": "modem-lines", "timeout": "10 s", **options}
    return ModemLinesGate(context, ModemLinesGateOptions.model_validate(asked), lines)


@pytest.fixture
def lines() -> ScriptedLines:
    return ScriptedLines(VirtualClock())


def done_after(gate: ModemLinesGate, clock: VirtualClock, *, at_most_s: float = 20.0, every_s: float = 0.005) -> float:
    """Poll until it is done; how long that took, s."""
    start_s = clock.monotonic()
    while gate.poll() is not PassState.DONE:
        assert clock.monotonic() < start_s + at_most_s, "never done"
        clock.sleep(every_s)
    return clock.monotonic() - start_s


@pytest.mark.parametrize("output", ["rts", "dtr"])
@pytest.mark.parametrize(("open_is", "opened"), [("on", True), ("off", False)], ids=["on", "off"])
def test_the_line_out_has_its_polarity_and_is_closed_from_the_start(
    output: str, open_is: str, opened: bool, lines: ScriptedLines
) -> None:
    gate = gate_on(lines, output=output, open_is=open_is)
    gate.open(REQUEST)
    gate.close()
    gate.close()
    line = OutputLine(output)
    assert [(which, on) for _, which, on in lines.switched] == [(line, not opened), (line, opened), (line, not opened)]


@pytest.mark.parametrize(("done_is", "first"), [("on", True), ("off", False)], ids=["on", "off"])
@pytest.mark.parametrize("name", ["cts", "dsr", "dcd"])
def test_done_is_the_chosen_state_of_the_chosen_line(
    name: str, done_is: str, first: bool, lines: ScriptedLines
) -> None:
    lines.script = {line: [(0.0, not first)] for line in InputLine} | {
        InputLine(name): [(0.0, not first), (3.0, first)]
    }
    gate = gate_on(lines, input=name, done_is=done_is)
    gate.open(REQUEST)
    assert 3.02 <= done_after(gate, lines.clock) < 3.03


def test_a_bouncing_contact_says_done_only_once_it_is_quiet(lines: ScriptedLines) -> None:
    bounces = [(1.0 + 0.006 * k, k % 2 == 0) for k in range(21)]  # the last one, at 1.12 s, stays on
    lines.script[CTS] = bounces
    gate = gate_on(lines)
    gate.open(REQUEST)
    assert 1.14 <= done_after(gate, lines.clock, every_s=0.003) < 1.15


def test_a_spike_shorter_than_the_debouncing_says_nothing(lines: ScriptedLines) -> None:
    lines.script[CTS] = [(1.0, True), (1.015, False)]
    gate = gate_on(lines)
    gate.open(REQUEST)
    with pytest.raises(GateTimeoutError, match="CTS did not turn on within 10 s"):
        done_after(gate, lines.clock)
    assert lines.switched[-1][1:] == (OutputLine.RTS, False)


def test_a_line_left_on_from_the_pass_before_is_no_edge_but_a_level(lines: ScriptedLines) -> None:
    lines.script[CTS] = [(0.0, True), (2.0, False), (4.0, True)]
    edge = gate_on(lines)
    edge.open(REQUEST)
    assert 4.02 <= done_after(edge, lines.clock) < 4.03
    level = gate_on(lines, done_by="level")
    level.open(REQUEST)
    assert 0.02 <= done_after(level, lines.clock) < 0.03


def test_each_pass_takes_an_edge_of_its_own(lines: ScriptedLines) -> None:
    lines.script[CTS] = [(1.0, True), (5.0, False), (6.0, True)]
    gate = gate_on(lines)
    gate.open(REQUEST)
    assert done_after(gate, lines.clock) < 1.1
    gate.close()
    gate.open(REQUEST)
    assert done_after(gate, lines.clock) > 4.9


def test_the_stop_line_stops_a_pass_and_a_move_once_it_is_quiet(lines: ScriptedLines) -> None:
    lines.script[DSR] = [(1.0, True)]
    gate = gate_on(lines, stop="dsr")
    assert not gate.wants_stop()
    gate.open(REQUEST)
    lines.clock.sleep(1.001)
    assert gate.poll() is PassState.MARKING
    lines.clock.sleep(0.021)
    assert gate.poll() is PassState.STOP
    gate.close()
    assert gate.wants_stop()


def test_a_port_lost_while_open_is_told_with_what_to_do_and_closing_is_tried_again(lines: ScriptedLines) -> None:
    gate = gate_on(lines)
    gate.open(REQUEST)
    lines.lost = True
    with pytest.raises(GateError, match=r"gate modem-lines: CTS cannot be read \(.*gone"):
        gate.poll()
    with pytest.raises(GateError, match="cannot be closed: withdraw the permission to mark by hand"):
        gate.close()
    lines.lost = False
    gate.close()
    assert lines.switched[-1][1:] == (OutputLine.RTS, False)
    with pytest.raises(GateError, match="polled while closed"):
        gate.poll()


def test_release_closes_the_gate_and_gives_the_second_port_back(lines: ScriptedLines) -> None:
    gate = gate_on(lines)
    gate.open(REQUEST)
    gate.release()
    gate.release()
    assert lines.switched[-1][1:] == (OutputLine.RTS, False)
    assert lines.closed


def test_done_and_stop_cannot_be_one_line() -> None:
    with pytest.raises(ValidationError, match="says done already"):
        ModemLinesGateOptions.model_validate({"kind": "modem-lines", "timeout": "10 s", "stop": "cts"})


# --- ports that have none --------------------------------------------------------------------------------------


def pty_port(tmp_path: Path) -> tuple[Port, int]:
    far, near = os.openpty()
    port = open_port(os.ttyname(near), baud=9600, clock=VirtualClock(), lock_folder=tmp_path)
    os.close(near)
    return port, far


def test_a_pseudo_terminal_says_that_it_has_no_modem_lines(tmp_path: Path) -> None:
    port, far = pty_port(tmp_path)
    try:
        with pytest.raises(PortUnavailableError, match=r"has no modem lines \(RTS\), as a pseudo-terminal has none"):
            port.set_line(OutputLine.RTS, True)
        with pytest.raises(PortUnavailableError, match=r"has no modem lines \(DCD\), as a pseudo-terminal has none"):
            port.line(DCD)
    finally:
        port.close()
        os.close(far)


def test_a_run_whose_port_has_no_modem_lines_is_refused_before_anything_moves(tmp_path: Path) -> None:
    options = ModemLinesGateOptions.model_validate({"kind": "modem-lines", "timeout": "10 s"})
    bench = StationBench(tmp_path, small_setup(), gate=lambda context: build_gate(options, context))
    with pytest.raises(GateError, match=r"cannot be closed.*has no modem lines: RTS cannot be switched"):
        bench.run()
    assert len(bench.device.motion_log) == bench.motion_before


def test_a_whole_run_is_driven_by_lines_and_the_line_is_open_only_at_standstill(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The marking side answers each opening with "done" after half a second, and takes it back on closing."""
    quick_disk(monkeypatch)
    made: list[ScriptedLines] = []

    class Marker(ScriptedLines):
        def set_line(self, line: OutputLine, on: bool) -> None:
            super().set_line(line, on)
            now_s = self.clock.monotonic()
            self.script.setdefault(CTS, []).append((now_s + 0.5, True) if on else (now_s, False))

    def make(context: GateContext) -> ModemLinesGate:
        assert isinstance(context.clock, VirtualClock)
        made.append(Marker(context.clock))
        options = ModemLinesGateOptions.model_validate({"kind": "modem-lines", "timeout": "10 s"})
        return ModemLinesGate(context, options, made[0])

    bench = StationBench(tmp_path, small_setup(), gate=make)
    assert bench.run().outcome == "done"
    assert bench.passes_marked() == [(s, p) for s in (1, 2, 3) for p in (1, 2)]
    bench.never_open_while_moving()
    opened = [at_s for at_s, _, on in made[0].switched if on]
    assert opened == [opened_s for opened_s, _, _ in bench.gate.opened]
    assert made[0].switched[-1][2] is False


def test_a_second_port_without_modem_lines_is_refused_and_given_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    far, near = os.openpty()
    url = os.ttyname(near)
    os.close(near)
    clock = VirtualClock()
    options = ModemLinesGateOptions.model_validate({"kind": "modem-lines", "timeout": "10 s", "port": url})
    try:
        with pytest.raises(GateError, match=r"has no modem lines \(RTS\), as a pseudo-terminal has none"):
            build_gate(options, GateContext(clock, ScriptedOperator(clock)))
        holder = open_port(url, baud=9600, clock=clock)
        with pytest.raises(PortBusyError, match=str(os.getpid())):
            build_gate(options, GateContext(clock, ScriptedOperator(clock)))
        holder.close()
    finally:
        os.close(far)


def test_lines_of_the_controller_s_own_port_go_through_the_controller(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick_disk(monkeypatch)
    options = ModemLinesGateOptions.model_validate({"kind": "modem-lines", "timeout": "10 s"})
    bench = StationBench(tmp_path, small_setup(), gate=lambda context: build_gate(options, context))
    lines = ScriptedLines(bench.clock)
    lines.line = lambda line: (  # type: ignore[method-assign]
        bool(lines.switched) and lines.switched[-1][2] and bench.clock.monotonic() - lines.switched[-1][0] > 0.5
    )
    monkeypatch.setattr(bench.port, "set_line", lines.set_line)
    monkeypatch.setattr(bench.port, "line", lines.line)
    assert bench.run().outcome == "done"
    assert [on for _, _, on in lines.switched] == [False] + [True, False] * 6
    bench.never_open_while_moving()
    first_move_s = min(travel.start_s for travel in bench.device.motion_log[bench.motion_before :])
    assert lines.switched[0][0] < first_move_s


class SerialLine:
    """What a serial driver offers, by its own names."""

    in_waiting = 0
    rts = dtr = True
    cts, dsr, cd = True, False, True

    def close(self) -> None:
        pass


def test_each_line_is_the_driver_s_line_of_that_name(tmp_path: Path) -> None:
    driver = SerialLine()
    port = SerialPort("/dev/none", driver, PortLock("/dev/none", tmp_path), VirtualClock())  # type: ignore[arg-type]
    port.set_line(OutputLine.DTR, False)
    assert (driver.rts, driver.dtr) == (True, False)
    port.set_line(OutputLine.RTS, False)
    port.set_line(OutputLine.DTR, True)
    assert (driver.rts, driver.dtr) == (False, True)
    assert [port.line(line) for line in (CTS, DSR, DCD)] == [True, False, True]
    port.close()
    with pytest.raises(PortLostError, match="is closed"):
        port.line(CTS)


def test_a_plain_socket_has_no_modem_lines_though_its_driver_says_on(tmp_path: Path) -> None:
    url = "socket://127.0.0.1:1"
    port = SerialPort(url, SerialLine(), PortLock(url, tmp_path), VirtualClock())  # type: ignore[arg-type]
    with pytest.raises(PortUnavailableError, match=r"is a plain socket and has no modem lines \(CTS\)"):
        port.line(CTS)
