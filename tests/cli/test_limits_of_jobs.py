"""`limits` with several jobs: one line each, and what a user sees of one stands there, too."""

import json
import re
from pathlib import Path

import pytest

from tests.cli.conftest import Circumstep

JOBS = ("bottle-band", "heavy-shaft", "shaft-scale", "sleeve-label", "tumbler-wrap")


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
    ended = circumstep("limits", "slender.toml", "shaft-scale", "--json")
    assert ended.status == 1
    first, second = json.loads(ended.out)["jobs"]
    assert (first["job"], first["verdict"]) == ("slender.toml", "fails")
    assert second == {"job": "shaft-scale", **json.loads(circumstep("limits", "shaft-scale", "--json").out)}


@pytest.mark.parametrize(
    "option", [("--reliability",), ("--sweep", "driver.current=1A..2A")], ids=["reliability", "sweep"]
)
def test_what_is_for_one_job_is_refused_with_several(circumstep: Circumstep, option: tuple[str, ...]) -> None:
    ended = circumstep("limits", *JOBS[:2], *option)
    assert (ended.status, ended.out) == (2, "")
    assert "--reliability and --sweep are for one job. Leave the other jobs out" in ended.err
