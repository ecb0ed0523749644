"""Some segments only, and segments marked again, as a person types it."""

import json
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.command import Program, call, call_marking
from tests.support.three_segments import JOB, own_folders


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    own_folders(tmp_path, monkeypatch)
    Path("my job.toml").write_text(JOB, encoding="utf-8")
    return "my job.toml"


@pytest.fixture
def port() -> Iterator[str]:
    with Program("controller", "simulate", "--kind", "socket", "--clock", "20") as board:
        yield board.wait_for("out", "\n").strip()


def marked(err: str) -> list[str]:
    return re.findall(r"STANDSTILL: mark segment (\d)", err)


def test_some_segments_are_marked_one_of_them_again_and_where_the_zero_is_not_proved_it_has_to_be_said(
    job: str, port: str
) -> None:
    some = call_marking("run", job, "--port", port, "--from", "2")
    assert some.status == 0, some.err
    assert marked(some.err) == ["2", "3"]
    assert "done: 2 of 2 passes marked; not asked for: segment 1." in some.out
    (first,) = Path("runs").iterdir()
    again = call_marking("redo", str(first), "--segments", "3", "--passes", "2", "--state", "state.json")
    assert again.status == 0, again.err
    state = json.loads(Path("state.json").read_text("utf-8"))
    assert (state["outcome"], state["done"], state["of"]) == ("done", 2, 2)
    assert marked(again.err) == ["3", "3"]
    listed = json.loads(call("runs", "list", "--json").out)
    assert [(run["outcome"], run["done"], run["redo_of"]) for run in listed] == [
        ("done", 2, ""),
        ("done", 2, first.name),
    ]
    other = call_marking("run", job, "--port", port, "--only", "1", "--zero", "here")
    assert marked(other.err) == ["1"]
    refused = call("redo", str(first), "--segments", "3")
    assert refused.status == 1
    assert f"the run {first} is not the last run at this port" in refused.err
    (line,) = re.findall(r"^  .*: circumstep (redo .*)$", refused.err, re.MULTILINE)
    assert shlex.split(line) == ["redo", str(first), "--segments", "3", "--zero", "here"]
    said = call_marking(*shlex.split(line))
    assert (said.status, marked(said.err)) == (0, ["3"])


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--only", "4"), "--only: there is no segment 4: the job has 3"),
        (("--from", "4"), "--from: there is no segment 4: the job has 3"),
        (("--only", "2", "--from", "2"), "--only and --from are both given"),
        (("--only", "two"), "'two' names no segments"),
    ],
    ids=["only", "from", "both", "words"],
)
def test_segments_that_the_job_does_not_have_are_refused_with_the_port_closed(
    options: tuple[str, ...], told: str, job: str
) -> None:
    ended = call("run", job, "--port", "/dev/nowhere", *options)
    assert ended.status == 2
    assert told in ended.err
    assert not list(Path("runs").glob("*/*"))
