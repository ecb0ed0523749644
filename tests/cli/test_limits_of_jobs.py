"""`limits` with several jobs: one line each, and what a user sees of one stands there, too."""

import json
import re
from pathlib import Path

import pytest

from tests.cli.conftest import Circumstep

JOBS = ("bottle-band", "heavy-shaft", "shaft-scale", "sleeve-label", "tumbler-wrap")


def test_one_that_fails_makes_the_status_1_and_all_are_shown(circumstep: Circumstep) -> None:
    text = circumstep("profile", "show", "job", "heavy-shaft").out
    text = text.replace('mass = "14.0 kg"', 'mass = "190 kg"')
    Path("weighty.toml").write_text(text, encoding="utf-8")
    ended = circumstep("limits", "weighty.toml", "shaft-scale")
    assert ended.status == 1
    answer, table = ended.out.split("\n\n")
    assert answer.startswith("1 of 2 jobs may turn; not weighty.toml.\n")
    rows = [row for row in table.splitlines()[1:] if not row.startswith(" ")]
    assert [re.split(r"  +", row)[:2] for row in rows] == [
        ["weighty.toml", "fails"],
        ["shaft-scale", "holds"],
    ]
    ended = circumstep("limits", "weighty.toml", "shaft-scale", "--json")
    assert ended.status == 1
    first, second = json.loads(ended.out)["jobs"]
    assert (first["job"], first["verdict"]) == ("weighty.toml", "fails")
    alone = json.loads(circumstep("limits", "shaft-scale", "--json").out)
    of_its_moves = {"stopping_s", "short_moves"}  # told of a job alone
    assert second == {"job": "shaft-scale", **{key: alone[key] for key in alone if key not in of_its_moves}}


@pytest.mark.parametrize(
    "option", [("--reliability",), ("--sweep", "driver.current=1A..2A")], ids=["reliability", "sweep"]
)
def test_what_is_for_one_job_is_refused_with_several(circumstep: Circumstep, option: tuple[str, ...]) -> None:
    ended = circumstep("limits", *JOBS[:2], *option)
    assert (ended.status, ended.out) == (2, "")
    assert "--reliability, --sweep and --parts are for one job. Leave the other jobs out" in ended.err


def test_a_limit_is_accepted_on_the_command_line_and_shown_with_its_reason(circumstep: Circumstep) -> None:
    options = ("--accept-limit", "creep=measured, none to see", "--accept-limit", "axial-walk")
    ended = circumstep("limits", "tumbler-wrap", *options)
    assert ended.status == 0
    lines = ended.out.splitlines()
    assert lines[0] == "Verdict: accepted. It may turn. Not kept, but accepted: creep and axial-walk."
    assert lines[lines.index("") + 1 :][:2] == [
        "creep accepted: measured, none to see",
        "axial-walk accepted: accepted on the command line",
    ]
    document = json.loads(circumstep("limits", "tumbler-wrap", *options, "--json").out)
    assert document["verdict"] == "accepted"
    assert {check["name"]: check["reason"] for check in document["checks"] if check["verdict"] == "accepted"} == {
        "creep": "measured, none to see",
        "axial-walk": "accepted on the command line",
    }


@pytest.mark.parametrize("command", ["limits", "motors"])
def test_a_job_s_own_acceptances_are_shown_and_those_of_no_limit_refused(circumstep: Circumstep, command: str) -> None:
    text = circumstep("profile", "show", "job", "tumbler-wrap").out
    job = Path("accepting.toml")
    job.write_text(text + '\n[accept]\ncreep = "seams hidden by the artwork"\n', encoding="utf-8")
    ended = circumstep(command, str(job))
    assert ended.status == 0
    assert "seams hidden by the artwork" in ended.out
    job.write_text(text + '\n[accept]\ncrep = "seams hidden by the artwork"\n', encoding="utf-8")
    refused = circumstep(command, str(job))
    assert (refused.status, refused.out) == (2, "")
    assert refused.err.startswith("error: accepting.toml: accept: there is no limit 'crep'. Did you mean 'creep'?")


@pytest.mark.parametrize(
    "command",
    [("limits",), ("motors",), ("limits", "--sweep", "drive.friction=0.3..0.4:2"), ("run",)],
    ids=["limits", "motors", "sweep", "run"],
)
def test_what_nobody_may_waive_is_refused_with_the_reason(circumstep: Circumstep, command: tuple[str, ...]) -> None:
    ended = circumstep(command[0], "tumbler-wrap", *command[1:], "--accept-limit", "falls-through=it is wide enough")
    assert (ended.status, ended.out) == (2, "")
    assert "falls-through cannot be accepted: the part would drop between the rollers" in ended.err


def test_what_is_not_known_and_could_drop_a_part_ends_with_status_1_and_a_rating_with_0(circumstep: Circumstep) -> None:
    text = circumstep("profile", "show", "job", "heavy-shaft").out
    machine = circumstep("profile", "show", "machine", "worm-chuck").out
    (moment,) = (line for line in machine.splitlines() if line.startswith("largest_overhang_moment"))
    Path("weak.toml").write_text(machine.replace(f"{moment}\n", ""), encoding="utf-8")
    Path("unknown.toml").write_text(text.replace('machine = "worm-chuck"', 'machine = "weak.toml"'), encoding="utf-8")
    ended = circumstep("limits", "unknown.toml")
    assert ended.status == 1
    assert ended.out.startswith("Verdict: not known")
    (rating,) = (line for line in machine.splitlines() if line.startswith("largest_radial_load"))
    Path("unrated.toml").write_text(machine.replace(f"{rating}\n", ""), encoding="utf-8")
    Path("unrated-job.toml").write_text(
        text.replace('machine = "worm-chuck"', 'machine = "unrated.toml"'), encoding="utf-8"
    )
    ended = circumstep("limits", "unrated-job.toml")
    assert ended.status == 0
    assert "on what is known" in ended.out.splitlines()[0]
    assert "Not known, and stops nothing: radial-load" in ended.out
