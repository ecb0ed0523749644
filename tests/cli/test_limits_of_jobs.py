"""`limits` with several jobs: one line each, and what a user sees of one stands there, too."""

import json
import re
from pathlib import Path

import pytest

from tests.cli.conftest import Circumstep

JOBS = ("bottle-band", "heavy-shaft", "shaft-scale", "sleeve-label", "tumbler-wrap")


def test_the_shipped_jobs_are_at_least_1_3_times_quicker_than_cautious_in_one_table(circumstep: Circumstep) -> None:
    ended = circumstep("limits", *JOBS)
    assert ended.status == 0
    _, heads, *rows = ended.out.splitlines()
    assert re.split(r"  +", heads.strip())[-2:] == ["times quicker", "stopped by"]
    assert [row.split()[0] for row in rows] == list(JOBS)
    for row in rows:
        columns = re.split(r"  +", row.strip())
        chosen, cautious, times = float(columns[4]), float(columns[7]), float(columns[8])
        assert times >= 1.3
        assert times == pytest.approx(cautious / chosen, abs=0.006)


def test_each_job_s_figures_are_those_it_has_alone(circumstep: Circumstep) -> None:
    ended = circumstep("limits", *JOBS[:2], "--json")
    together = {entry.pop("job"): entry for entry in json.loads(ended.out)["jobs"]}
    for job in JOBS[:2]:
        assert together[job] == json.loads(circumstep("limits", job, "--json").out)


def test_one_that_fails_makes_the_status_1_and_all_are_shown(circumstep: Circumstep) -> None:
    text = circumstep("profile", "show", "job", "heavy-shaft").out
    text = text.replace('length = "250 mm"', 'length = "1200 mm"').replace('mass = "14.0 kg"', 'mass = "66 kg"')
    Path("slender.toml").write_text(text, encoding="utf-8")
    ended = circumstep("limits", "slender.toml", "shaft-scale")
    assert ended.status == 1
    assert [re.split(r"  +", row)[:2] for row in ended.out.splitlines()[2:]] == [
        ["slender.toml", "fails"],
        ["shaft-scale", "holds"],
    ]


@pytest.mark.parametrize(
    "option", [("--reliability",), ("--sweep", "driver.current=1A..2A")], ids=["reliability", "sweep"]
)
def test_what_is_for_one_job_is_refused_with_several(circumstep: Circumstep, option: tuple[str, ...]) -> None:
    ended = circumstep("limits", *JOBS[:2], *option)
    assert (ended.status, ended.out) == (2, "")
    assert "--reliability and --sweep are for one job. Leave the other jobs out" in ended.err
