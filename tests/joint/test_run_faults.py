"""Everything that can go wrong, in every phase: the gate closes before anything else, and the record tells."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    ControllerResetError,
    FirmwareHostError,
    GateError,
    GateTimeoutError,
    LinkError,
    PortLostError,
    PositionError,
    StandstillError,
)
from firmware_host.station.gates.gate import GateContext, PassRequest, PassState
from firmware_host.station.gates.timed import TimedGate
from tests.support.board_faults import counter_at, trip_limit_switch
from tests.support.journal_lines import journal_lines
from tests.support.station_bench import Phase, StationBench, quick_disk, small_setup

PHASES: tuple[Phase, ...] = ("between", "moving", "settling", "gate-open")


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def trip(bench: StationBench) -> None:
    trip_limit_switch(bench.device, bench.clock.monotonic())


def reset(bench: StationBench) -> None:
    bench.device.hardware_reset(bench.clock.monotonic())


def lose_cable(bench: StationBench) -> None:
    bench.port.pull_cable()


def shift_counter(bench: StationBench) -> None:
    """The board's own counter is off by one step from now on, without any motion."""
    now_s = bench.clock.monotonic()
    counter = counter_at(bench.device, bench.axis, now_s)
    bench.device._board.kernel.set_counter(bench.index, counter + 1)


FAULTS: dict[str, tuple[Callable[[StationBench], None], type[FirmwareHostError], str, bool]] = {
    "alarm": (trip, ControllerFaultError, "alarm|locked", True),
    "reset": (reset, ControllerResetError, "it was reset: its position is lost", True),
    "cable": (lose_cable, PortLostError, "the cable is pulled", False),
}


def journalled_end(bench: StationBench, outcome: str = "failed") -> dict[str, object]:
    end = journal_lines(bench.folder.journal)[-1]
    assert (end["event"], end["outcome"]) == ("end", outcome)
    saved = json.loads(bench.folder.record.read_text("utf-8"))
    assert (saved["outcome"], saved["reason"]) == (outcome, end["reason"])
    return end


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_in_any_phase_closes_the_gate_first_and_is_told(fault: str, phase: Phase, tmp_path: Path) -> None:
    act, error, complaint, lost = FAULTS[fault]
    bench = StationBench(tmp_path, small_setup(), stored={"$21": 1})
    bench.at(phase, lambda: act(bench))
    with pytest.raises(error, match=complaint):
        bench.run()
    bench.closed_before_anything_else()
    end = journalled_end(bench)
    assert end["position_lost"] is lost
    opened = len(bench.gate.opened)
    assert opened == (1 if phase == "gate-open" else 2)
    unknown = [entry["status"] for entry in json.loads(bench.folder.record.read_text("utf-8"))["passes"]]
    assert unknown.count("unknown") == (1 if phase == "gate-open" else 0)
    assert unknown.count("done") == opened - unknown.count("unknown")


@pytest.mark.parametrize("phase", ["settling", "gate-open"])
def test_a_count_off_by_one_step_is_found_before_the_laser_fires_or_while_it_does(phase: Phase, tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    bench.at(phase, lambda: shift_counter(bench))
    with pytest.raises(PositionError, match=r"it stands at another step: planned \d+ steps, reported \d+"):
        bench.run()
    bench.closed_before_anything_else()
    assert journalled_end(bench)["position_lost"] is True
    if phase == "settling":
        assert bench.passes_marked() == [(1, 1), (1, 2)]


def test_an_answer_that_nobody_waits_for_closes_the_gate_as_well(tmp_path: Path) -> None:
    """Somebody else on the line: what their line did is not known."""
    bench = StationBench(tmp_path, small_setup())
    bench.at("gate-open", lambda: bench.device.receive(b"G4 P0.01\n", bench.clock.monotonic()))
    with pytest.raises(LinkError, match="an answer came that no line waits for"):
        bench.run()
    bench.closed_before_anything_else()
    journalled_end(bench)


def test_a_motor_moved_by_somebody_else_while_the_gate_is_open_closes_it_within_a_tenth_of_a_second(
    tmp_path: Path,
) -> None:
    bench = StationBench(tmp_path, small_setup())
    at_s: list[float] = []

    def somebody() -> None:
        at_s.append(bench.clock.monotonic())
        bench.strangers_line(f"G91 G1 {bench.axis}20 F200")

    bench.at("gate-open", somebody)
    with pytest.raises((StandstillError, PositionError), match=r"moving|another step"):
        bench.run()
    closed_s = bench.gate.opened[-1][1]
    assert closed_s is not None
    assert closed_s - at_s[0] < 0.1
    bench.closed_before_anything_else()
    assert not bench.moving  # the stop ended the stranger's move as well
    assert "!" in bench.events
    journalled_end(bench)


def test_a_motor_moved_by_one_step_and_standing_again_is_found(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    bench.at("gate-open", lambda: bench.strangers_line(f"G91 G1 {bench.axis}0.0375 F20000"))
    with pytest.raises((PositionError, StandstillError), match=r"another step|moving"):
        bench.run()
    assert len(bench.gate.opened) == 1
    bench.closed_before_anything_else()


def test_a_controller_that_falls_silent_while_the_gate_is_open_closes_it(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    at_s: list[float] = []

    def silence() -> None:
        at_s.append(bench.clock.monotonic())
        bench.port.spoil = lambda data: b""

    bench.at("gate-open", silence)
    with pytest.raises(LinkError, match="no answer to 'status' within 1 s"):
        bench.run()
    closed_s = bench.gate.opened[-1][1]
    assert closed_s is not None
    assert closed_s - at_s[0] < 1.5
    bench.closed_before_anything_else()
    assert journalled_end(bench)["stands_still"] is False


class FaultyGate(TimedGate):
    """Fails in one of its methods, at the third pass."""

    def __init__(self, context: GateContext, where: str) -> None:
        super().__init__(context, 0.5)
        self._where, self._count = where, 0

    def open(self, request: PassRequest) -> None:
        self._count += 1
        super().open(request)
        if self._count == 3 and self._where == "open":
            raise GateError("faulty", "cannot be told")

    def poll(self) -> PassState:
        if self._count == 3 and self._where == "poll":
            raise GateTimeoutError("faulty", "took too long")
        return super().poll()

    def close(self) -> None:
        super().close()
        if self._count >= 3 and self._where == "close":
            raise GateError("faulty", "does not close")


@pytest.mark.parametrize(
    ("where", "kind", "complaint"),
    [("open", GateError, "cannot be told"), ("poll", GateTimeoutError, "took too long"),
     ("close", GateError, "does not close")],
    ids=["open", "poll", "close"],
)  # fmt: skip
def test_a_gate_that_fails_is_closed_and_the_pass_is_unknown(
    where: str, kind: type[GateError], complaint: str, tmp_path: Path
) -> None:
    bench = StationBench(tmp_path, small_setup(), gate=lambda context: FaultyGate(context, where))
    with pytest.raises(kind, match=complaint):
        bench.run()
    end = journalled_end(bench)
    assert (end["stands_still"], end["position_lost"]) == (True, False)
    assert "!" in bench.events  # the axis is stopped, however the gate fails
    saved = json.loads(bench.folder.record.read_text("utf-8"))
    assert [entry["status"] for entry in saved["passes"]] == ["done", "done", "unknown", *["to do"] * 3]


def test_the_axis_is_stopped_even_if_the_gate_cannot_be_closed_in_the_middle_of_a_move(tmp_path: Path) -> None:
    class Stuck(TimedGate):
        def close(self) -> None:
            super().close()
            if bench.moving:
                raise RuntimeError("a plug-in's own bug")

    bench = StationBench(tmp_path, small_setup("bottle-band"), gate=lambda context: Stuck(context, 0.5))
    bench.at("moving", lambda: bench.stop.ask("Ctrl-C"))
    with pytest.raises(RuntimeError, match="a plug-in's own bug"):
        bench.run()
    assert not bench.moving
    assert journal_lines(bench.folder.journal)[-1]["stands_still"] is True


def test_after_a_lost_position_only_a_zero_set_anew_is_resumed_from(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    bench.at("settling", lambda: shift_counter(bench))
    with pytest.raises(PositionError, match="another step"):
        bench.run()
    moves = bench.sent_moves()
    for _ in range(2):
        with pytest.raises(ControllerError, match=r"cannot be proved: the run ended with: .*another step"):
            bench.resume()
    assert bench.sent_moves() == moves
    assert bench.resume(zero="here").outcome == "done"
    assert bench.asked == []
