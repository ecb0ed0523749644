"""What people read: the answer first, details and reasons on request, in their units and in their width."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from firmware_host.model import load_job
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.plan import plan_job
from tests.cli.conftest import Circumstep
from tests.reporting.shown import JOBS

WIDTH = 80
PLANS = ("segments", "limits", "motors")


@pytest.mark.some(2)
@pytest.mark.parametrize("command", PLANS)
@pytest.mark.parametrize("options", [(), ("--details",), ("--units", "inch")], ids=["first", "details", "inch"])
def test_no_line_is_wider_than_eighty_columns(circumstep: Circumstep, command: str, options: tuple[str, ...]) -> None:
    for job in ("tumbler-wrap", "heavy-shaft"):
        ended = circumstep(command, job, *options)
        assert ended.status == 0
        assert max(map(len, ended.out.splitlines())) <= WIDTH


@pytest.mark.some(3)
@pytest.mark.parametrize(
    "arguments",
    [
        ("limits", "shaft-scale", "--reliability", "--samples", "200"),
        ("limits", "shaft-scale", "--sweep", "index.acceleration=10 rad/s^2..900 rad/s^2:3"),
        ("limits", *JOBS),
        ("limits", "tumbler-wrap", "--why"),
        ("moves", "heavy-shaft"),
        ("profile", "list"),
    ],
    ids=["reliability", "sweep", "jobs", "why", "moves", "profiles"],
)
def test_other_tables_keep_to_eighty_columns_as_well(circumstep: Circumstep, arguments: tuple[str, ...]) -> None:
    lines = circumstep(*arguments).out.splitlines()
    assert len(lines) > 5
    assert [line for line in lines if len(line) > WIDTH] == []


@pytest.mark.some(2)
@pytest.mark.parametrize("job", JOBS)
def test_every_check_that_does_not_hold_stands_on_the_first_screen_and_the_others_are_counted(
    circumstep: Circumstep, job: str
) -> None:
    checks = plan_job(load_job(job)).limits.checks
    out = circumstep("limits", job).out
    shown = {check.name for check in checks if re.search(rf"^{check.name}  ", out, re.MULTILINE)}
    grave = {check.name for check in checks if check.verdict is not Verdict.HOLDS}
    assert grave <= shown
    more = re.search(r"^(\d+) more checks hold, the tightest \d+ %\.$", out, re.MULTILINE)
    assert more is not None
    assert len(shown) + int(more[1]) == len(checks)


def test_a_job_that_must_not_turn_says_so_first_and_what_would_help(circumstep: Circumstep, tmp_path: Path) -> None:
    text = circumstep("profile", "show", "job", "heavy-shaft").out.replace('mass = "14.0 kg"', 'mass = "190 kg"')
    (tmp_path / "weighty.toml").write_text(text, encoding="utf-8")
    ended = circumstep("limits", "weighty.toml")
    assert ended.status == 1
    answer, helps, *_ = ended.out.split("\n\n")
    assert answer.startswith("Verdict: fails. Nothing may turn: ")
    assert "prove it on the machine" in answer
    failing = [c.name for c in plan_job(load_job("weighty.toml")).limits.checks if c.verdict is Verdict.FAILS]
    assert failing[0] in answer
    assert f"{failing[0]} fails: " in helps


def test_the_reason_of_a_check_is_told_with_its_inputs_and_where_they_stand(circumstep: Circumstep) -> None:
    ended = circumstep("limits", "tumbler-wrap", "--why", "creep")
    assert ended.status == 0
    assert ended.out.startswith("creep exceeded: ")
    told = " ".join(ended.out.split())
    assert "Formula: creep*r*angle of the longest index <= half the spot" in told
    assert "Source: Carter's tractive rolling" in told
    assert re.search(r"drive\.friction 0\.35 stated, two-rollers\.toml:\d+", told)
    (check,) = json.loads(circumstep("limits", "tumbler-wrap", "--why", "creep", "--json").out)["checks"]
    assert check["name"] == "creep"
    assert {"key", "value", "from", "file", "line"} == set(check["inputs"][0])


@pytest.mark.parametrize("words", [("tumbler-wrap", "--why"), ("--why", "--units", "metric", "tumbler-wrap")], ids=str)
def test_why_alone_asks_about_what_comes_near_its_limit(circumstep: Circumstep, words: tuple[str, ...]) -> None:
    out = circumstep("limits", *words).out
    asked = re.findall(r"^([a-z-]+) (?:holds|exceeded|holds narrowly): ", out, re.MULTILINE)
    assert asked == ["creep", "axial-walk", "inertia-ratio", "grip-peak", "grip"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("tumbler-wrap", "--why", "crep"), "this job has no check 'crep'. Did you mean 'creep'?"),
        (("tumbler-wrap", "shaft-scale", "--why", "grip"), "--why is for one job"),
        (("tumbler-wrap", "--why", "grip", "--reliability"), "--why asks about the plan as it stands"),
    ],
    ids=["unknown", "two-jobs", "reliability"],
)
def test_a_reason_that_cannot_be_told_is_bad_usage(
    circumstep: Circumstep, arguments: tuple[str, ...], words: str
) -> None:
    ended = circumstep("limits", *arguments)
    assert (ended.status, ended.out) == (2, "")
    assert words in ended.err


@pytest.mark.some(1)
@pytest.mark.parametrize("command", PLANS)
def test_the_reader_s_units_change_no_json(circumstep: Circumstep, command: str) -> None:
    plain = circumstep(command, "bottle-band", "--json").out
    assert circumstep(command, "bottle-band", "--json", "--units", "inch", "--details").out == plain


def test_lengths_and_limits_are_shown_in_inches_where_that_is_asked_for(circumstep: Circumstep) -> None:
    segments = circumstep("segments", "bottle-band", "--units", "inch").out
    # 80 mm * pi / 13 = 19.333 mm = 0.7611 in
    assert segments.startswith("13 segments, each 27.69 deg = 0.761 in wide, 13 seams.\n")
    assert " mm" not in segments
    details = circumstep("segments", "bottle-band", "--units", "inch", "--details").out
    assert re.search(r"^segment +from deg +to deg +centre deg +arc in +microstep$", details, re.MULTILINE)
    limits = circumstep("limits", "bottle-band", "--units", "inch", "--details").out
    # falls-through: 42 mm = 1.654 in; roller-bearing-load: 150 N = 33.7 lbf
    assert re.search(r"^falls-through +1\.65 in +", limits, re.MULTILINE)
    assert re.search(r"^roller-bearing-load .* 33\.7 lbf", limits, re.MULTILINE)


def test_units_unsaid_are_those_of_the_station_in_use(circumstep: Circumstep) -> None:
    assert circumstep("station", "new", "bench", "--machine", "two-rollers", "--units", "inch").status == 0
    assert " = 0.761 in wide" in circumstep("segments", "bottle-band").out
    assert " = 19.3 mm wide" in circumstep("segments", "bottle-band", "--units", "metric").out
