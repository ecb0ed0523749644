"""The time of a job as it is shown: the sums are those of the plan, and nothing is made up."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

from firmware_host.planning.job_time import JobTime, job_time
from firmware_host.reporting.plans.time import time_document, time_line
from firmware_host.reporting.render.json import json_document
from firmware_host.reporting.render.short import short_parts
from firmware_host.station.runs.pass_times import PassTime, PassTimeFrom, pass_time
from tests.reporting.shown import shipped

HERE = timezone(timedelta(hours=2))
AT = datetime(2026, 3, 1, 23, 40, 30, tzinfo=HERE)
TIME = JobTime(turning_s=50.0, settling_s=10.0, moves=8, settles=6, passes=12)
LEARNED = PassTime(PassTimeFrom.RUNS, 15.0, 14.0, 17.5, runs=3, passes=36)


def lines(time: JobTime, of_pass: PassTime, *, homes: bool = False) -> list[str]:
    return [str(part) for part in short_parts(time_document(time, of_pass, AT, homes=homes))]


def test_the_whole_is_turning_settling_and_every_pass_and_ends_at_a_time_of_day() -> None:
    """60 s and 12 passes of 15 s are 4 min, from 23:40:30 on; with 120 s a pass it is the next day."""
    values = json_document(time_document(TIME, LEARNED, AT))
    assert (values["whole_s"], values["marking_s"], values["done_at"]) == (240.0, 180.0, "2026-03-01T23:44:30+02:00")
    assert lines(TIME, LEARNED)[0] == "Time: 4 min 00 s (3 min 00 s marking); done at 23:44 if begun now."
    given = PassTime(PassTimeFrom.GIVEN, 120.0)
    assert time_line(TIME, given, AT).endswith("done at 00:05 on 02 Mar if begun now.")


def test_what_it_was_learned_from_stands_beside_it() -> None:
    shown = lines(TIME, LEARNED)
    assert "The time of a pass is the median of 36 passes in 3 earlier runs of this job." in shown
    assert "Half of them took 14 s to 17.5 s." in shown


def test_a_marking_time_that_is_not_known_makes_no_whole_and_no_time_of_day() -> None:
    unknown = PassTime(PassTimeFrom.UNKNOWN, at_least_s=20.0)
    values = json_document(time_document(TIME, unknown, AT))
    assert [values[key] for key in ("pass_s", "marking_s", "whole_s", "done_at")] == [None] * 4
    shown = lines(TIME, unknown)
    assert shown[0] == "Time: 1 min 00 s to turn and settle; the marking time is not known."
    assert "Marking, 12 passes: not known" in shown
    assert "The job says at least 20 s a pass: then 5 min 00 s in all, or more." in shown


def test_a_pass_quicker_than_the_job_says_is_told_and_so_is_a_home_switch() -> None:
    quick = PassTime(PassTimeFrom.GIVEN, 5.0, at_least_s=20.0)
    shown = lines(TIME, quick, homes=True)
    assert "The job says at least 20 s (mark.pass_time): the motor may then get warmer than planned." in shown
    assert any(line.startswith("Seeking the home switch comes on top") for line in shown)
    assert not any("home switch" in line or "warmer" in line for line in lines(TIME, LEARNED))


def test_the_answer_stands_first_and_fits_eighty_characters(tmp_path: Path) -> None:
    setup, plan = shipped("sleeve-label")  # its gate stays open for 20 s, five times
    of_pass = pass_time(setup, tmp_path)
    assert of_pass == PassTime(PassTimeFrom.GATE, 20.0)
    line = lines(job_time(setup, plan), of_pass)[0]
    assert line == "Time: 1 min 41 s (1 min 40 s marking); done at 23:42 if begun now."
    assert len(time_line(TIME, PassTime(PassTimeFrom.GIVEN, 86400.0), AT)) <= 80


@pytest.mark.parametrize(
    ("moves", "words"), [pytest.param(1, "1 move:", id="one"), pytest.param(2, "2 moves:", id="two")]
)
def test_one_is_no_plural(moves: int, words: str) -> None:
    time = JobTime(1.0, 1.0, moves=moves, settles=1, passes=1)
    assert f"Turning, {words} 1.0 s" in lines(time, LEARNED)
