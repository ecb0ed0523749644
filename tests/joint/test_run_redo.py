"""Segments marked again on the part that is still clamped: same zero, proved; a run of its own that names the first."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import ControllerError, InputError, JournalError, RunStoppedError, ZeroNotSaidError
from firmware_host.station.journal.journal import Journal
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.passes.control import RunControl
from firmware_host.station.redo import Redo, redo_run
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.listing import list_runs, read_record
from firmware_host.station.runs.verify import verify_run
from firmware_host.station.zero import ZeroAt, ZeroDoubt
from tests.support.crashes import ALL, SEEKS_BACKWARD
from tests.support.hand_bench import hand_on
from tests.support.station_bench import StationBench, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture
def bench(tmp_path: Path) -> StationBench:
    bench = StationBench(tmp_path, small_setup())
    bench.run()
    return bench


def redone(bench: StationBench, of: RunFolder, segments: str, passes: int | None = None, **said: Any) -> RunRecord:
    """Mark segments of a run again, in a new folder; what was marked before is forgotten."""
    found = Redo.read(of.path, segments, passes=passes)
    bench.new_folder()
    bench.gate.opened.clear()
    controller = bench.open()
    try:
        return redo_run(found, bench.station(controller), **said)
    finally:
        controller.close()


def whole(bench: StationBench) -> None:
    bench.never_open_while_moving()
    assert {true - planned for _, planned, _, true in bench.progress.rests} == {0}
    assert [finding.detail for finding in verify_run(bench.folder) if not finding.holds] == []


@pytest.mark.parametrize(
    ("segments", "passes", "marked"),
    [
        ("3", None, [(3, 1), (3, 2)]),
        ("2-3", 1, [(2, 1), (3, 1)]),
        ("1,3", 3, [(segment, number) for segment in (1, 3) for number in (1, 2, 3)]),
    ],
    ids=["one", "one-pass", "more-passes"],
)
def test_segments_are_marked_again_at_the_same_zero_as_a_run_of_its_own(
    segments: str, passes: int | None, marked: list[tuple[int, int]], bench: StationBench
) -> None:
    first, origin = bench.folder, bench.progress.origin
    record = redone(bench, first, segments, passes)
    assert bench.passes_marked() == marked
    assert record.redo_of == first.path.name
    assert (record.outcome, record.done) == ("done", len(marked))
    assert record.origin_steps == origin
    assert read_record(first).done == len(ALL)
    whole(bench)
    listed = {run.path.name: run.record for run in list_runs(first.path.parent)}
    assert {name: found.redo_of for name, found in listed.items() if found} == {
        first.path.name: "",
        bench.folder.path.name: first.path.name,
    }


def test_a_redo_of_a_redo_and_another_of_the_first_have_the_same_zero(bench: StationBench) -> None:
    first = bench.folder
    redone(bench, first, "2")
    second = bench.folder
    redone(bench, second, "3")
    redone(bench, first, "1")
    assert read_record(bench.folder).origin_steps == bench.progress.origin
    whole(bench)


def test_part_of_a_run_that_was_stopped_is_marked_again_and_the_run_is_resumed_after_it(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    bench.at("gate-open", lambda: bench.stop.ask("a test"), rests=3)
    with pytest.raises(RunStoppedError, match="a test"):
        bench.run()
    first = bench.folder
    redone(bench, first, "1", 1)
    assert bench.passes_marked() == [(1, 1)]
    bench.folder = first
    assert bench.resume(done=False).outcome == "done"
    assert bench.passes_marked() == [(1, 1), (3, 1), (3, 2)]
    whole(bench)


def test_a_redo_that_was_stopped_is_resumed_as_any_run(bench: StationBench) -> None:
    bench.at("gate-open", lambda: bench.stop.ask("a test"), rests=len(bench.progress.rests) + 1)
    with pytest.raises(RunStoppedError, match="a test"):
        redone(bench, bench.folder, "2-3")
    record = bench.resume(done=True)
    assert bench.passes_marked() == [(2, 1), (2, 2), (3, 1), (3, 2)]
    assert (record.outcome, record.redo_of != "", record.not_asked_for) == ("done", True, (1,))


# --- the zero ------------------------------------------------------------------------------------------------------


def turned_by_hand(bench: StationBench) -> None:
    bench.raw(f"G91 G1 {bench.axis}3 F2000")


def another_run(bench: StationBench) -> None:
    bench.new_folder()
    bench.run(zero="here")


@pytest.mark.parametrize(
    ("happened", "why"),
    [
        (turned_by_hand, "may have left the part elsewhere: it stands at"),
        (another_run, "is not the last run at this port"),
    ],
    ids=["moved", "another-run"],
)
def test_a_zero_that_is_not_proved_is_asked_for_and_refused_where_nobody_can_be_asked(
    happened: Callable[[StationBench], None], why: str, bench: StationBench
) -> None:
    first = bench.folder
    happened(bench)
    with pytest.raises(ZeroNotSaidError, match=f"the run .* {why}") as refused:
        redone(bench, first, "2")
    assert [getattr(act, "zero", "") for act in refused.value.acts] == ["here"]
    assert not bench.folder.journal.exists()
    with pytest.raises(ControllerError, match=why):
        redone(bench, first, "2", zero="last")
    asked: list[ZeroDoubt] = []

    def ask(doubt: ZeroDoubt) -> ZeroAt:
        asked.append(doubt)
        return "here"

    here = bench.steps
    bench.progress.origin = None
    record = redone(bench, first, "2", ask_zero=ask)
    assert (record.outcome, record.origin_steps) == ("done", here)
    assert len(asked) == 1
    whole(bench)


def test_a_part_that_a_hand_has_turned_to_look_at_is_marked_again_where_it_was(bench: StationBench) -> None:
    first, zero = bench.folder, bench.progress.origin
    bench.control = RunControl()
    with hand_on(bench) as hand:
        hand.turn_by("75 deg")
    assert redone(bench, first, "2").origin_steps == zero
    whole(bench)


def test_a_motor_that_a_hand_has_released_leaves_no_zero_to_mark_again_at(bench: StationBench) -> None:
    bench.control = RunControl()
    with hand_on(bench) as hand:
        hand.release()
        hand.hold()
    with pytest.raises(ZeroNotSaidError, match="the motor was released by hand"):
        redone(bench, bench.folder, "2")


def test_with_a_home_switch_the_zero_is_proved_without_seeking_it_and_else_sought_if_that_is_said(
    tmp_path: Path,
) -> None:
    bench = StationBench(tmp_path, small_setup("heavy-shaft"), **SEEKS_BACKWARD)
    bench.run()
    first = bench.folder
    homed = sum("$H" in line for line in bench.sent_lines())
    assert redone(bench, first, "2").outcome == "done"
    assert sum("$H" in line for line in bench.sent_lines()) == homed
    turned_by_hand(bench)
    with pytest.raises(ZeroNotSaidError, match="elsewhere") as refused:
        redone(bench, first, "2")
    assert [getattr(act, "zero", "") for act in refused.value.acts] == ["home", "here"]
    assert redone(bench, first, "2", zero="home").outcome == "done"
    assert sum("$H" in line for line in bench.sent_lines()) == homed + 1


# --- what is refused -----------------------------------------------------------------------------------------------


def test_what_cannot_be_marked_again_is_refused_before_the_port_opens(bench: StationBench) -> None:
    path = bench.folder.path
    with pytest.raises(InputError, match="there is no segment 4: the job has 3"):
        Redo.read(path, "3-4")
    with pytest.raises(InputError, match=r"the run was at .*, not at socket://127.0.0.1:9"):
        Redo.read(path, "3", port="socket://127.0.0.1:9")
    with pytest.raises(InputError, match="is no run folder"):
        Redo.read(path.parent, "3")
    with Journal(bench.folder.journal, bench.clock), pytest.raises(JournalError, match="another process is writing"):
        Redo.read(path, "3")


def test_wishes_are_heeded_in_a_redo_too(bench: StationBench) -> None:
    bench.progress.on_state = lambda state: wish(bench.control) if state.phase == "marking" else None
    once: list[bool] = []

    def wish(control: RunControl) -> None:
        if not once:
            once.append(True)
            control.repeat_pass()

    redone(bench, bench.folder, "2", 1)
    assert bench.passes_marked() == [(2, 1), (2, 1)]
