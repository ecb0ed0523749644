"""Gate `controller-output` in whole runs: the board's own record of its output against the motor's."""

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from firmware_host.errors import GateError, GateTimeoutError, InputError, PortLostError
from firmware_host.model.job.gate import ControllerOutputGateOptions
from firmware_host.simulator.numbered_line.recorded import RECORDED
from firmware_host.station.gates.gate import Gate, GateContext, build_gate
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import StationBench, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def gate_of(**options: Any) -> Any:
    def make(context: GateContext) -> Gate:
        asked = {"kind": "controller-output", **options}
        return build_gate(ControllerOutputGateOptions.model_validate(asked), context)

    return make


def test_an_output_pin_is_on_only_while_the_axis_stands(tmp_path: Path) -> None:
    gate = gate_of(output=44, duration="0.5 s")
    bench = NumberedBench(tmp_path, small_setup(), NUMBERED_LINE_BOARDS["plain"], gate=gate)
    assert bench.run().outcome == "done"
    log = bench.device.output_log
    assert [(pin, value) for _, pin, value in log] == [(44, 0)] + [(44, 255), (44, 0)] * 6
    spans = [(on, off) for (on, _, _), (off, _, _) in zip(log[1::2], log[2::2], strict=True)]
    assert all(0.5 <= off - on < 0.7 for on, off in spans)
    for travel in bench.device.motion_log[bench.motion_before :]:
        assert all(travel.end_s <= on or travel.start_s >= off for on, off in spans)


@pytest.mark.parametrize(("number", "word"), [(0, "M8"), (1, "M7")], ids=["flood", "mist"])
def test_the_output_words_of_the_other_dialect_frame_each_pass(number: int, word: str, tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(), gate=gate_of(output=number, duration="0.5 s"))
    assert bench.run().outcome == "done"
    words = [line for line in bench.sent_lines() if line in {"M7", "M8", "M9"}]
    assert words == ["M9"] + [word, "M9"] * 6
    bench.never_open_while_moving()


def pins_shown(bench: StationBench, letter: str, since: list[float], after_s: float) -> None:
    """From `after_s` seconds behind each opening the reports show `letter`, as a wired button would make them."""

    def spoil(data: bytes) -> bytes:
        opened = bench.gate.opened
        shown = bool(opened) and opened[-1][1] is None and bench.clock.monotonic() - opened[-1][0] >= after_s
        if shown and b"|FS:" in data:
            since.append(bench.clock.monotonic())
            return data.replace(b"|FS:", b"|Pn:" + letter.encode() + b"|FS:")
        return data

    bench.port.spoil = spoil


def test_an_input_of_the_controller_says_done_after_two_reports(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(), gate=gate_of(pin="P", timeout="5 s"))
    shown: list[float] = []
    pins_shown(bench, "P", shown, 0.7)
    assert bench.run().outcome == "done"
    assert len(bench.gate.opened) == 6
    for opened_s, closed_s, _ in bench.gate.opened:
        assert closed_s is not None
        seen = [at_s for at_s in shown if opened_s <= at_s <= closed_s]
        assert len(seen) >= 2
        assert 0.7 <= closed_s - opened_s < 0.85


def test_an_input_that_never_shows_ends_the_pass_at_its_time_with_the_output_off(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(), gate=gate_of(pin="P", timeout="5 s"))
    pins_shown(bench, "X", [], 0.1)
    with pytest.raises(GateTimeoutError, match="input P did not turn on within 5 s"):
        bench.run()
    words = [line for line in bench.sent_lines() if line in {"M7", "M8", "M9"}]
    assert words == ["M9", "M8", "M9"]
    sent = [event for event in bench.events[bench.events.index("M8") :] if event != "?"]
    assert sent[:3] == ["M8", "M9", "close"]


def test_a_controller_whose_reports_name_no_inputs_cannot_be_polled(tmp_path: Path) -> None:
    gate = gate_of(output=44, pin="P", timeout="5 s")
    bench = NumberedBench(tmp_path, small_setup(), NUMBERED_LINE_BOARDS["plain"], gate=gate)
    with pytest.raises(GateError, match="does not report its inputs: give duration instead of pin"):
        bench.run()
    assert len(bench.device.motion_log) == bench.motion_before


def test_a_cable_pulled_while_the_gate_is_open_says_that_it_could_not_be_closed(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(), gate=gate_of(duration="0.5 s"))
    bench.at("gate-open", bench.port.pull_cable)
    with pytest.raises(PortLostError, match="the cable is pulled") as caught:
        bench.run()
    assert "cannot be closed: withdraw the permission to mark by hand" in " ".join(caught.value.__notes__)


def test_a_pass_has_either_a_time_or_an_input_with_a_time_out() -> None:
    for options in ({}, {"duration": "1 s", "pin": "P", "timeout": "1 s"}, {"pin": "P"}):
        with pytest.raises(ValidationError, match="give"):
            ControllerOutputGateOptions.model_validate({"kind": "controller-output", **options})


def test_a_board_without_a_word_for_outputs_is_refused_before_anything_moves(tmp_path: Path) -> None:
    bench = NumberedBench(
        tmp_path, small_setup(), RECORDED["numbered-line-b"], gate=gate_of(output=44, duration="0.5 s")
    )
    with pytest.raises(GateError, match="cannot switch output 44: a word the controller does not know") as caught:
        bench.run()
    assert "closed" not in f"{caught.value} {getattr(caught.value, '__notes__', [])}"
    assert len(bench.device.motion_log) == bench.motion_before
    assert bench.passes_marked() == []


def test_a_recorded_board_with_outputs_frames_each_pass(tmp_path: Path) -> None:
    bench = NumberedBench(
        tmp_path, small_setup(), RECORDED["numbered-line-a"], gate=gate_of(output=44, duration="0.5 s")
    )
    assert bench.run().outcome == "done"
    values = [value for _, _, value in bench.device.output_log]
    assert values == [0] + [255, 0] * 6
    bench.never_open_while_moving()


def test_an_output_that_the_controller_has_not_is_refused_before_anything_moves(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(), gate=gate_of(output=2, duration="0.5 s"))
    with pytest.raises(InputError, match="output 2 is neither 0 nor 1"):
        bench.run()
    assert len(bench.device.motion_log) == bench.motion_before
