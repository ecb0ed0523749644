"""Where a new run takes its zero: never silently where a stopped run left the part."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.acts import Resume, Run
from firmware_host.errors import (
    ControllerError,
    InputError,
    JournalError,
    RunStoppedError,
    SettingsMismatchError,
    ZeroNotSaidError,
)
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.replay import replay
from firmware_host.station.zero import ZeroAt, ZeroDoubt
from tests.support.station_bench import StationBench, changed_setup, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def bench_of_six(tmp_path: Path, finish: str = "unwind") -> StationBench:
    """Six segments of 11.5 deg, one pass each: the fourth lies 34.5 deg from the zero."""
    index = {"finish": finish, "settle": "0.1 s"}
    setup = changed_setup("shaft-scale", mark={"angle": "69 deg", "width": "10 mm"}, segments={"count": 6}, index=index)
    return StationBench(tmp_path, setup)


def stopped_in_segment_4(tmp_path: Path) -> StationBench:
    bench = bench_of_six(tmp_path)
    bench.at("gate-open", lambda: bench.stop.ask("Ctrl-C"), rests=4)
    with pytest.raises(RunStoppedError, match=r"stopped \(Ctrl-C\)"):
        bench.run()
    return bench


def zero_of(bench: StationBench) -> int | None:
    return replay(read_journal(bench.folder.journal)).record.origin_steps


def test_after_a_stopped_run_a_new_one_is_refused_until_it_is_told_where_its_zero_is(tmp_path: Path) -> None:
    bench = stopped_in_segment_4(tmp_path)
    before, stopped = bench.folder.path, bench.steps
    bench.new_folder()
    with pytest.raises(
        ZeroNotSaidError, match=r"is stopped \(Ctrl-C\), 3 of 6 passes marked; the part stands 34\.5 deg"
    ):
        bench.run()
    assert bench.steps == stopped
    assert not bench.folder.journal.exists(), "no run began"
    with pytest.raises(ZeroNotSaidError, match="Nothing has moved") as refused:
        bench.run()
    assert refused.value.acts == (Resume(str(before), asks=True), Run(zero="last"), Run(zero="here"))
    assert refused.value.exit_status == 1


def test_the_zero_of_the_last_run_is_used_again_exactly_and_here_is_where_the_part_stands(tmp_path: Path) -> None:
    bench = stopped_in_segment_4(tmp_path)
    zero, stopped = zero_of(bench), bench.steps
    bench.new_folder()
    assert bench.run(zero="last").outcome == "done"
    assert (zero_of(bench), bench.steps) == (zero, zero)
    assert [planned for _, planned, _, true in bench.progress.rests[4:] if planned != true] == []
    bench.new_folder()
    bench.raw(f"G21 G90 G53 G1 {bench.axis}{stopped / bench.device.settings[f'${100 + bench.index}']:.6f} F2000")
    assert bench.run(zero="here").outcome == "done"
    assert zero_of(bench) == bench.steps == stopped


@pytest.mark.parametrize("answer", ["here", "last"])
def test_whoever_is_asked_says_where_the_zero_is(answer: ZeroAt, tmp_path: Path) -> None:
    bench = stopped_in_segment_4(tmp_path)
    zero, stopped, before = zero_of(bench), bench.steps, str(bench.folder.path)
    bench.new_folder()
    asked: list[ZeroDoubt] = []

    def ask(doubt: ZeroDoubt) -> ZeroAt:
        asked.append(doubt)
        return answer

    assert bench.run(ask_zero=ask).outcome == "done"
    assert zero_of(bench) == {"here": stopped, "last": zero}[answer]
    assert [(doubt.run, doubt.unproved) for doubt in asked] == [(before, "")]


@pytest.mark.parametrize(
    ("finish", "asks"),
    [
        pytest.param("unwind", False, id="back at its zero"),
        pytest.param("next-turn", False, id="a whole turn on"),
        pytest.param("stay", True, id="where the last segment is"),
    ],
)
def test_a_run_that_is_done_is_asked_about_only_if_it_left_the_part_away_from_its_zero(
    finish: str, asks: bool, tmp_path: Path
) -> None:
    bench = bench_of_six(tmp_path, finish)
    assert bench.run().outcome == "done"
    bench.new_folder()
    if asks:
        with pytest.raises(
            ZeroNotSaidError, match=r"is done, 6 of 6 passes marked; the part stands 57\.49 deg"
        ) as refused:
            bench.run()
        assert refused.value.acts == (Run(zero="last"), Run(zero="here")), "nothing is left to resume"
    else:
        assert bench.run().outcome == "done"


def test_a_run_refused_before_it_set_its_zero_leaves_the_question_open(tmp_path: Path) -> None:
    """Its own `resume` must not take the zero silently either."""
    bench = stopped_in_segment_4(tmp_path)
    before = bench.folder.path
    bench.new_folder()
    bench.device.settings.write("$1", 25.0)
    with pytest.raises(SettingsMismatchError, match="motor release delay"):
        bench.run(zero="here")
    bench.device.settings.write("$1", 255.0)
    second = bench.folder.path
    with pytest.raises(ZeroNotSaidError, match=r"34\.5 deg") as refused:
        bench.resume()
    assert refused.value.run_folder == str(before)
    ways = (Resume(str(second), zero="last"), Resume(str(second), zero="here"))
    assert refused.value.acts == (Resume(str(before), asks=True), *ways)
    bench.new_folder()
    with pytest.raises(ZeroNotSaidError, match=r"34\.5 deg"):
        bench.run()


def switched_off_and_on(bench: StationBench) -> None:
    bench.device.hardware_reset(bench.clock.monotonic())
    bench.clock.sleep(10.0)


def gone(bench: StationBench) -> None:
    shutil.rmtree(bench.folder.path)


@pytest.mark.parametrize(
    ("happens", "words"),
    [
        pytest.param(switched_off_and_on, "where the part stands now is not proved: .*reset|machine zero", id="reset"),
        pytest.param(gone, "cannot be read: .*is no run folder", id="its folder is gone"),
    ],
)
def test_a_zero_that_cannot_be_proved_is_not_offered_and_is_refused(
    happens: Callable[[StationBench], None], words: str, tmp_path: Path
) -> None:
    bench = stopped_in_segment_4(tmp_path)
    happens(bench)
    bench.new_folder()
    with pytest.raises(ZeroNotSaidError, match=words) as refused:
        bench.run()
    assert refused.value.acts[-1] == Run(zero="here")
    assert Run(zero="last") not in refused.value.acts
    with pytest.raises((ControllerError, InputError), match=r"cannot be used again|no run folder"):
        bench.run(zero="last")
    assert bench.run(zero="here").outcome == "done"


def test_a_zero_that_does_not_exist_is_refused(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    with pytest.raises(InputError, match="no run is known that was the last one at this port"):
        bench.run(zero="last")
    with pytest.raises(InputError, match="this machine has none"):
        bench.run(zero="home")
    assert bench.run().outcome == "done"


def test_a_machine_with_a_home_switch_seeks_it_and_asks_nothing_unless_it_is_told_otherwise(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup("heavy-shaft"))
    assert bench.machine.axis.home_switch
    bench.at("gate-open", lambda: bench.stop.ask("Ctrl-C"), rests=2)
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        bench.run()
    stands, at_switch = bench.steps, zero_of(bench)
    bench.new_folder()
    assert bench.run(zero="here").outcome == "done"
    assert bench.steps == stands, "it came back to where it began"
    assert zero_of(bench) != at_switch
    bench.new_folder()
    assert bench.run().outcome == "done"
    assert "seeking the home switch" in bench.progress.stages


def test_a_note_that_cannot_be_kept_stops_the_run_before_it_moves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = StationBench(tmp_path, small_setup())

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    before = bench.steps
    write = bench.scales.remember_run
    monkeypatch.setattr(type(bench.scales), "remember_run", lambda self, *given: full() or write(*given))
    with pytest.raises(OSError, match="No space left"):
        bench.run()
    assert bench.steps == before
    monkeypatch.undo()
    quick_disk(monkeypatch)
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setattr(bench.scales, "_folder", tmp_path / "file")
    with pytest.raises(JournalError, match="the note cannot be kept"):
        bench.scales.remember_run("port", "A", tmp_path)
