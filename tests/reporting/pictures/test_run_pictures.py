"""What the pictures of a run draw, beside what the simulated motor and the gate themselves had noted."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from firmware_host.errors import InputError, RunStoppedError
from firmware_host.planning.route.moves import Purpose
from firmware_host.reporting.pictures.drawn import drawn, figure_of
from firmware_host.reporting.pictures.of_run.registry import RUN_PICTURES, run_picture_named
from firmware_host.reporting.pictures.of_run.subject import RunSubject, run_subject
from firmware_host.reporting.pictures.of_run.timing import as_measured, as_planned
from firmware_host.station.journal.stands import Session
from tests.cli.command import call
from tests.reporting.pictures.subjects import labelled
from tests.support.batch_bench import BatchBench
from tests.support.station_bench import StationBench, quick_disk, small_setup

JOURNALLED_S = 1e-3
"""The journal rounds to a microsecond, and a line is written a moment before or after the act."""


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture
def bench(tmp_path: Path) -> StationBench:
    done = StationBench(tmp_path, small_setup())
    done.run()
    return done


def of(bench: StationBench) -> RunSubject:
    return run_subject(bench.folder)


def picture(key: str, subject: RunSubject) -> tuple[Figure, str]:
    return figure_of(run_picture_named(key), subject)


def test_the_steps_are_those_that_the_simulated_motor_was_asked_for(bench: StationBench) -> None:
    drawing, words = picture("steps", of(bench))
    planned, reported = (labelled(drawing, label).get_ydata() for label in ("planned", "reported"))
    assert planned.tolist() == [target for _, target, _, _ in bench.progress.rests]
    assert reported == pytest.approx([told for _, _, told, _ in bench.progress.rests], abs=1e-4)
    assert reported == pytest.approx([true for _, _, _, true in bench.progress.rests], abs=0.5)
    assert "3 standstills, each within" in words
    assert "does not see a step that the motor lost" in words


def test_a_standstill_off_its_place_is_marked_and_told(bench: StationBench) -> None:
    subject = of(bench)
    first, *others = subject.stands
    astray = replace(subject, stands=(replace(first, reported=first.target + 2.0), *others))
    drawing, words = picture("steps", astray)
    at, off = labelled(drawing, "off its place", 1).get_data()
    assert (at.tolist(), off.tolist()) == ([1.0], [2.0])
    assert words.startswith("1 of 3 standstills more than half a microstep off, at most 2.00 microsteps.")
    planned = replace(subject, record=replace(subject.record, reports="planned"))
    assert "does not show that the motor stood there" in picture("steps", planned)[1]


def test_turning_and_open_gate_lie_where_motor_and_gate_had_them(bench: StationBench) -> None:
    spent, subject = as_measured(of(bench)), of(bench)
    began = subject.sessions[0].start_s
    assert [begins + began for begins, _ in spent.marking] == pytest.approx(
        [opened_s for opened_s, _, _ in bench.gate.opened], abs=JOURNALLED_S
    )
    assert [lasts for _, lasts in spent.marking] == pytest.approx(
        [closed_s - opened_s for opened_s, closed_s, _ in bench.gate.opened if closed_s is not None], abs=JOURNALLED_S
    )
    travels = bench.device.motion_log[bench.motion_before :]
    for begins, lasts in spent.turning:
        within = [each for each in travels if begins <= each.start_s - began and each.end_s - began <= begins + lasts]
        assert within or lasts < 0.2, "each move of the motor lies in the time that was taken for turning"
    assert len(spent.settling) == 3
    assert min(lasts for _, lasts in spent.settling) > 0.15  # 0.25 s are stated, from the first sign of the standstill


def test_what_is_planned_for_a_way_is_what_the_motor_takes(bench: StationBench) -> None:
    subject = of(bench)
    travels = bench.device.motion_log[bench.motion_before :]
    for stand in subject.stands:
        assert stand.set_off_s is not None
        since_s = stand.set_off_s - JOURNALLED_S
        took = sum(each.end_s - each.start_s for each in travels if since_s <= each.start_s < stand.stood_s)
        assert subject.planned_turning_s(stand) == pytest.approx(took, rel=0.01)
    planned = as_planned(subject, as_measured(subject))
    program, purpose = subject.plan.program, subject.plan.route.purpose
    indexes = program.durations[(purpose == Purpose.INDEX) | (purpose == Purpose.TAKE_UP)]
    assert sum(lasts for _, lasts in planned.turning) == pytest.approx(indexes.sum())
    assert [lasts for _, lasts in planned.settling] == pytest.approx([subject.plan.settle_s] * 3)


def test_each_index_is_drawn_planned_beside_measured_and_told(bench: StationBench) -> None:
    subject = of(bench)
    drawing, words = picture("timing", subject)
    planned, measured = (labelled(drawing, label, 1).get_ydata() for label in ("planned", "measured"))
    assert measured == pytest.approx([each.index_s for each in subject.stands])
    program = subject.plan.program
    assert planned[1:] == pytest.approx(
        [subject.plan.settle_s + float(program.durations[program.route.segment == each].sum()) for each in (2, 3)]
    )
    assert (np.subtract(measured, planned) > 0).all(), "a controller takes a while to answer"
    assert words.startswith("3 standstills; turning ")
    assert "more at segment" in words


def test_a_resumed_run_shows_the_wait_between_by_the_calendar_and_never_goes_back_in_time(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    bench.at("gate-open", lambda: bench.stop.ask("Ctrl-C"), rests=2)
    with pytest.raises(RunStoppedError):
        bench.run()
    bench.clock.sleep(3600.0)
    bench.resume()
    subject = of(bench)
    began = subject.began_s()
    assert began[1] == pytest.approx(3600, abs=60)
    assert len(as_measured(subject).turning) == len(subject.stands) == 4
    first, second = subject.sessions
    for time in ("not a time", "1999-01-01T00:00:00.000+00:00"):
        earlier = replace(subject, sessions=(first, replace(second, time=time)))
        assert earlier.began_s()[1] == first.end_s - first.start_s
    assert "4 standstills" in picture("timing", subject)[1]
    ways = [subject.planned_turning_s(each) for each in subject.stands]
    assert ways[2] == ways[0], "where it is resumed, it only takes up lost motion again"


def test_a_run_that_never_stood_still_has_no_picture(bench: StationBench) -> None:
    nothing = replace(of(bench), stands=(), sessions=(Session("T1", 0.0, 0.0),))
    for each in RUN_PICTURES:
        with pytest.raises(InputError, match="came to no standstill"):
            drawn(each, nothing)


def test_the_command_draws_and_lists_the_pictures_of_a_run_and_says_what_a_batch_is(tmp_path: Path) -> None:
    batch = BatchBench(tmp_path, rows=1)
    batch.run_batch()
    part = batch.batch.path / "part-00001"
    listed = call("picture", str(part))
    assert listed.status == 0, listed.err
    assert all(each.key in listed.out for each in RUN_PICTURES)
    written = call("picture", str(part), "timing", "--output", str(tmp_path / "t.svg"))
    assert written.status == 0, written.err
    assert (tmp_path / "t.svg").read_bytes().startswith(b"<?xml")
    of_batch = call("picture", str(batch.batch.path), "steps", "--output", str(tmp_path / "s.svg"))
    assert of_batch.status == 2
    assert "part-00001" in " ".join(of_batch.err.split())
    of_a_job = call("picture", str(part), "torque", "--output", str(tmp_path / "t.svg"))
    assert "there is no picture 'torque'" in of_a_job.err
