"""A stop asked for in every phase of a run: the gate closes first, the axis stands, and the run can be resumed."""

import json
import os
import signal
from pathlib import Path

import pytest

from firmware_host.acts import Resume
from firmware_host.errors import ControllerError, RunStoppedError
from firmware_host.station.gates.operator import OperatorGate
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.replay import replay
from tests.support.journal_lines import journal_lines
from tests.support.station_bench import Phase, StationBench, quick_disk, small_setup

PHASES: tuple[Phase, ...] = ("between", "moving", "settling", "gate-open", "finishing")
ALL = [(segment, number) for segment in (1, 2, 3) for number in (1, 2)]


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def truth(bench: StationBench) -> None:
    """Every pass was marked once, or twice if somebody was asked in between; each on its own step."""
    marked = bench.passes_marked()
    for key in ALL:
        assert marked.count(key) == 1 + bench.asked.count(key), key
    targets = bench.plan.route.segment_targets().tolist()
    assert [true - planned for _, planned, _, true in bench.progress.rests] == [0] * len(bench.progress.rests)
    assert {planned for _, planned, _, _ in bench.progress.rests} == set(targets)


@pytest.mark.some(5)
@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize("job", ["shaft-scale", "bottle-band"])
def test_a_stop_in_any_phase_leaves_a_run_that_resume_completes(phase: Phase, job: str, tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(job))
    bench.at(phase, lambda: bench.stop.ask("Ctrl-C"), rests=3 if phase == "finishing" else 1)
    with pytest.raises(RunStoppedError, match=r"stopped \(Ctrl-C\); the run in \S+ can be resumed"):
        bench.run()
    assert not bench.moving
    bench.closed_before_anything_else()
    saved = json.loads(bench.folder.record.read_text("utf-8"))
    assert (saved["outcome"], saved["reason"]) == ("stopped", "Ctrl-C")
    end = journal_lines(bench.folder.journal)[-1]
    assert (end["event"], end["stands_still"], end["position_lost"]) == ("end", True, False)
    record = bench.resume()
    assert record.outcome == "done"
    assert record.done == len(ALL)
    assert len(bench.asked) == (1 if phase == "gate-open" else 0)
    truth(bench)
    bench.never_open_while_moving()
    if job == "shaft-scale":
        bench.approached_from_below()
    assert bench.progress.origin is not None
    assert bench.steps == bench.progress.origin  # unwound


def test_a_stop_while_moving_ends_the_motion_at_once_and_not_at_its_target(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup("heavy-shaft"))
    asked_s: list[float] = []

    def ask() -> None:
        asked_s.append(bench.clock.monotonic())
        bench.stop.ask("Ctrl-C")

    bench.at("moving", ask)
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        bench.run()
    travel = bench.device.motion_log[-1]
    targets = bench.plan.route.segment_targets().tolist()
    assert bench.progress.origin is not None
    assert travel.to_steps - bench.progress.origin not in targets
    # one report may be on its way (4 ms), the next is due after 50 ms; then the ramp: v / a of the plan
    ramp_s = bench.plan.program.speed / bench.plan.program.acceleration
    assert travel.end_s - asked_s[0] < ramp_s + 0.1


def test_a_stop_while_seeking_the_home_switch_does_not_wait_for_the_switch(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup("heavy-shaft"))
    look = bench.port.spoil
    seeking_s: list[float] = []

    def ask_on_the_way(data: bytes) -> bytes:
        if not seeking_s and bench.moving and bench.steps < -300:
            seeking_s.append(bench.clock.monotonic())
            bench.stop.ask("Ctrl-C")
        return look(data)

    bench.port.spoil = ask_on_the_way
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        bench.run()
    assert not bench.moving
    assert bench.device.motion_log[-1].end_s - seeking_s[0] < 0.01
    assert -2000 < bench.steps < -300  # the switch is at -2000
    assert bench.gate.opened == []
    assert bench.resume().outcome == "done"
    truth(bench)
    assert bench.asked == []


@pytest.mark.parametrize("phase", ["moving", "gate-open"])
def test_a_second_stop_changes_nothing(phase: Phase, tmp_path: Path) -> None:
    """The same run, stopped once and stopped three times: the same bytes go to the board."""
    sent = []
    for times in (1, 3):
        bench = StationBench(tmp_path / str(times), small_setup())

        def ask(bench: StationBench = bench, times: int = times) -> None:
            for number in range(times):
                bench.stop.ask("Ctrl-C" if number == 0 else "again")
            if times > 1:
                bench.port.on_write = lambda data: bench.stop.ask("and again")

        bench.at(phase, ask)
        with pytest.raises(RunStoppedError, match=r"\(Ctrl-C\)"):
            bench.run()
        sent.append(list(bench.port.written))
        assert not bench.moving
    assert sent[0] == sent[1]


def test_signals_stop_a_run_and_a_second_one_does_not_break_the_stopping_off(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())

    def press() -> None:
        for _ in range(3):
            os.kill(os.getpid(), signal.SIGINT)

    bench.at("moving", press)
    with bench.stop.on_signals(), pytest.raises(RunStoppedError, match=r"\(Ctrl-C\)"):
        bench.run()
    assert not bench.moving
    assert journal_lines(bench.folder.journal)[-1]["outcome"] == "stopped"
    assert bench.resume().outcome == "done"
    truth(bench)


def test_the_operator_s_stop_word_stops_the_run_and_the_pass_is_asked_about(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(), gate=OperatorGate)
    bench.at("gate-open", lambda: bench.operator.type("s"), rests=1)
    with pytest.raises(RunStoppedError, match=r"stopped \(by the operator\)"):
        bench.run()
    assert bench.operator.told[-1] == "GATE CLOSED: do not mark."
    record = replay(read_journal(bench.folder.journal)).record
    assert [entry.status for entry in record.passes] == ["unknown", *["to do"] * 5]
    bench.clock.on_sleep = lambda: bench.operator.type("") if bench.gate.is_open else None
    assert bench.resume(done=True).outcome == "done"
    assert bench.asked == [(1, 1)]
    assert bench.passes_marked() == ALL  # the one that was stopped counts as marked: so it was answered


class WishingGate(TimedGate):
    """A marking side that can wish for a stop at any time, such as through the tcp gate."""

    wish = False

    def wants_stop(self) -> bool:
        return self.wish


@pytest.mark.parametrize("phase", ["moving", "settling"])
def test_the_marking_side_stops_a_run_while_no_gate_is_open_as_well(phase: Phase, tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup("heavy-shaft"), gate=lambda context: WishingGate(context, 0.5))
    opened = 0

    def wish() -> None:
        nonlocal opened
        opened = len(bench.gate.opened)
        bench.gate.inner.wish = True  # type: ignore[attr-defined]

    bench.at(phase, wish, rests=1)
    with pytest.raises(RunStoppedError, match=r"stopped \(by the marking side\)"):
        bench.run()
    assert len(bench.gate.opened) == opened
    assert not bench.moving
    if phase == "moving":
        assert bench.progress.origin is not None
        assert bench.steps - bench.progress.origin not in bench.plan.route.segment_targets().tolist()


def test_enter_pressed_early_does_not_open_a_gate_or_mark_a_pass_done(tmp_path: Path) -> None:
    """An Enter during each move is forgotten; one Enter while the gate is open, 4 s after it opened, ends each pass."""
    bench = StationBench(tmp_path, small_setup(passes=1), gate=OperatorGate)
    look = bench.port.spoil

    def impatient(data: bytes) -> bytes:
        if bench.moving:
            bench.operator.type("")
        return look(data)

    bench.port.spoil = impatient
    pressed: set[int] = set()

    def press() -> None:
        number = len(bench.gate.opened)
        if bench.gate.is_open and number not in pressed:
            pressed.add(number)
            bench.operator.type("", bench.clock.monotonic() + 4.0)

    bench.clock.on_sleep = press
    assert bench.run().outcome == "done"
    assert len(bench.gate.opened) == 3
    for opened_s, closed_s, _ in bench.gate.opened:
        assert closed_s is not None
        assert closed_s - opened_s >= 4.0


def test_a_stop_before_the_first_move_of_a_board_at_machine_zero_asks_for_the_zero(tmp_path: Path) -> None:
    """A board that was switched off and on stands at machine zero as well: only a person can tell."""
    bench = StationBench(tmp_path, small_setup("bottle-band"), away=0)
    bench.at("gate-open", lambda: bench.stop.ask("Ctrl-C"), rests=1)
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        bench.run()
    moves = bench.sent_moves()
    with pytest.raises(ControllerError, match=r"stands at machine zero.*turn it there by hand") as refused:
        bench.resume()
    assert refused.value.acts == (Resume(str(bench.folder.path), zero="here"),)
    assert bench.sent_moves() == moves
    assert bench.asked == []
    assert bench.resume(zero="here").outcome == "done"
    truth(bench)
