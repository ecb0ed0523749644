"""An offset that another program left in effect: refused, taken back by one act that moves nothing, on every board."""

from __future__ import annotations

import re
import shlex
from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.acts import ClearOffset
from firmware_host.clock import ScaledClock
from firmware_host.controller.port.serial_port import open_port
from firmware_host.errors import ControllerError, RunStoppedError, SettingsMismatchError
from firmware_host.simulator.numbered_line.boards import set_numbered_board
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.serving.server import DeviceServer
from tests.cli.command import CLOCK_FACTOR, call
from tests.contract.rig import Rig, rig
from tests.contract.spoken import MIXED, PLAIN, SINGLES, Case
from tests.support.bench import numbered_bench
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import quick_disk, small_setup
from tests.support.three_segments import JOB, own_folders

NUMBERED = [case for case in MIXED + SINGLES if case.syncs and not case.variant.resets_on_open]
EXACT = Fraction(100)


def left_behind(r: Rig, offset: str = "3.5") -> None:
    """Another program turned the axis by 10 units and called that place something else."""
    r.run(3.0)
    axis = r.case.axis
    for line in (b"M17\n", f"G1 {axis}10 F600\n".encode(), f"G92 {axis}{offset}\n".encode()):
        r.device.receive(line, r.now_s)
        r.run(5.0)
    r.device.transmit(r.now_s)
    assert r.steps == 1000


@pytest.mark.parametrize("case", NUMBERED, ids=str)
def test_an_offset_is_never_moved_with_and_can_be_taken_back_without_moving(case: Case) -> None:
    r = rig(case)
    left_behind(r)
    controller = r.open()
    motions = len(r.device.motion_log)
    if case.variant.offset_moves_counts:  # the step count went along: there is no offset
        controller.prepare()
    else:
        with pytest.raises(ControllerError, match=r"differ by 650\.0 steps: an offset or another scale is in effect"):
            controller.prepare()
    controller.clear_offset(known=EXACT)
    assert len(r.device.motion_log) == motions
    controller.close()
    again = r.open()  # it is gone for whoever comes next, too
    again.prepare()
    r.origin = round(again.position_steps(again.status()))
    truth = r.steps
    r.index(137, 0)
    assert r.steps == truth + 137
    assert truth == 1000


def test_without_an_offset_nothing_is_written() -> None:
    for case in PLAIN:
        r = rig(case)
        controller = r.ready()
        r.index(137, 0)
        before = len(r.port.written)
        report = controller.clear_offset()
        assert controller.position_steps(report) - r.origin == pytest.approx(137, abs=0.1)
        assert not any(b"G92" in data for data in r.port.written[before:])


def test_a_place_that_the_printed_scale_leaves_open_is_not_guessed() -> None:
    """26.67 with two decimals stands for 26.665 to 26.675: at 2667 steps the place is open by 0.5 steps."""
    b = numbered_bench(settings={**numbered_bench().device.variant.settings, "M92 A": 26.667})
    b.device.transmit(b.clock.monotonic())
    for line in (b"G1 A100 F6000\n", b"G92 A0\n"):
        b.device.receive(line, b.clock.monotonic())
        b.run(5.0)
    controller = b.open()
    with pytest.raises(ControllerError, match=r"known only as 26\.67, so its position is known only to 0\.50 steps"):
        controller.clear_offset()
    with pytest.raises(SettingsMismatchError, match=r"the controller prints 26\.67, expected 27"):
        controller.clear_offset(known=Fraction(27))
    controller.clear_offset(known=Fraction("26.667"))
    controller.prepare()


def test_a_stopped_run_is_resumed_after_its_offset_was_taken_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick_disk(monkeypatch)
    bench = NumberedBench(tmp_path, small_setup(passes=1), NUMBERED_LINE_BOARDS["plain"])
    bench.at("gate-open", lambda: bench.stop.ask("by a test"), rests=2)
    with pytest.raises(RunStoppedError, match="by a test"):
        bench.run()
    bench.raw(f"G92 {bench.axis}0", 1.0)
    with pytest.raises(ControllerError, match="or take the offset back") as caught:
        bench.resume(done=False)
    assert caught.value.acts == (ClearOffset("memory://device"),)
    controller = bench.open()
    controller.clear_offset(known=bench.scales.recall(controller.url, controller.settings))
    controller.close()
    assert bench.resume(done=False).outcome == "done"
    targets = bench.plan.route.segment_targets().tolist()
    assert [true for *_, true in bench.progress.rests][-2:] == targets[1:]


# --- as a command ----------------------------------------------------------------------------------------------------


def test_the_command_that_the_refusal_names_is_the_way_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_folders(tmp_path, monkeypatch)
    machine = call("profile", "show", "machine", "belt-chuck").out.replace('"status-query"', '"numbered-line"')
    Path("machine.toml").write_text(machine, encoding="utf-8")
    Path("job.toml").write_text(JOB.replace('"belt-chuck"', '"machine.toml"'), encoding="utf-8")
    clock = ScaledClock(10.0)
    variant = set_numbered_board("A", steps_per_unit=26.667, rate=60, acceleration=200, highest_step_rate=28_000)
    device = NumberedLineDevice(variant, clock.monotonic())
    device.make_moves_last(10.0 / CLOCK_FACTOR)  # a run times them
    with serve(device, clock, kind="socket") as server:
        another_program(server, clock, b"M17", b"G1 A10 F6000", b"M400", b"M400", b"G92 A0")
        refused = call("run", "job.toml", "--port", server.url, "--without-marking")
        assert refused.status == 3
        named = re.search(r"with: circumstep (controller clear-offset .*)$", refused.err, re.MULTILINE)
        assert named is not None
        cleared = call(*shlex.split(named[1]))
        assert (cleared.status, cleared.err) == (0, "")
        assert cleared.out == "no offset is in effect; axis A stands at machine step 267\n"
        assert server.steps_at("A") == 267
        ended = call("run", "job.toml", "--port", server.url, "--without-marking", "--json")
        assert ended.status == 0, ended.err
        assert server.steps_at("A") == 267 + 1222


def another_program(server: DeviceServer, clock: ScaledClock, *lines: bytes) -> None:
    """Says these lines, each after the answer to the one before, and goes away."""
    port = open_port(server.url, baud=115200, clock=clock)
    while port.read(5.0):  # what is sent while the board starts is lost
        pass
    heard = b""
    for number, line in enumerate(lines, 1):
        port.write(line + b"\n")
        while heard.count(b"ok") < number:
            portion = port.read(600.0)
            assert portion, f"no answer to {line!r}"
            heard += portion
    port.close()
