"""`demo` as a process of its own: a whole job over a loopback socket, the counter against the plan."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.cli.command import call


def test_demo_tells_the_plan_marks_every_pass_and_keeps_the_run_folder(tmp_path: Path) -> None:
    planned = [move["target_microstep"] for move in json.loads(call("moves", "shaft-scale", "--json").out)["moves"]]
    ended = call("demo", "--details", "--keep", str(tmp_path / "kept"))
    assert ended.status == 0, ended.err
    for words in (
        "Job: graduated shaft, 60 mm of arc. Machine: belt-reduced chuck, 60:20.",
        "Segments\n",
        "Limits\n",
        "Verdict: holds",
        "of its settings were written.",
        "steps per unit",
        f"Run folder: {tmp_path / 'kept'}",
    ):
        assert words in ended.out
    answer = " ".join(ended.out.split())
    passes = ended.out.partition("\nPasses\n")[2].splitlines()
    assert passes[0].split() == ["segment", "pass", "gate", "planned", "reported", "step", "counter", "error"]
    rows = [line.split() for line in passes if re.match(r"\s*\d", line)]
    each = len(rows) // len(planned)
    assert [int(row[3]) for row in rows] == [target for target in planned for _ in range(each)]
    assert all(row[5] == row[3] and row[2] == "done" and row[6:] == ["+0"] for row in rows)
    count = len(rows)
    assert f"done: {count} of {count} passes marked; the motor's step counter is the plan's at {count} of" in answer
    assert f"{count} of {count} passes marked, about 0 s left" in ended.err
    assert "Traceback" not in ended.err
    check_kept_folder(tmp_path / "kept")


def check_kept_folder(kept: Path) -> None:
    (folder,) = (path.parent for path in kept.glob("*/record.json"))
    assert {path.name for path in folder.iterdir()} >= {"record.json", "journal.jsonl", "trace.jsonl", "setup.json"}
    record = json.loads((folder / "record.json").read_text())
    assert record["outcome"] == "done"
    assert [(entry["segment"], entry["number"]) for entry in record["passes"]] == [
        (segment, number) for segment in range(1, 7) for number in (1, 2)
    ]
    for entry in record["passes"]:
        assert entry["status"] == "done"
        assert abs(entry["reported_microstep"] - entry["planned_microstep"]) < 0.5
        assert entry["standstill"] <= entry["gate_open"] <= entry["gate_closed"]


def test_demo_of_a_machine_whose_controller_takes_numbered_lines(tmp_path: Path) -> None:
    profiles = Path(__file__).parents[2] / "profiles"
    machine = (profiles / "machines" / "belt-chuck.toml").read_text("utf-8")
    job = (profiles / "jobs" / "shaft-scale.toml").read_text("utf-8")
    (tmp_path / "numbered.toml").write_text(machine.replace('"status-query"', '"numbered-line"'), encoding="utf-8")
    (tmp_path / "job.toml").write_text(job.replace('"belt-chuck"', '"numbered.toml"'), encoding="utf-8")
    ended = call("demo", str(tmp_path / "job.toml"), "--keep", str(tmp_path / "kept"))
    assert ended.status == 0, ended.err
    assert "steps per unit (M92 A): is 100.00, wanted 26.667" in ended.out
    told = " ".join(ended.out.split())
    assert "done: 12 of 12 passes marked; the motor's step counter is the plan's at 12 of 12" in told
    assert "N1 " in next((tmp_path / "kept").glob("*/trace.jsonl")).read_text("utf-8")


def test_demo_leaves_nothing_behind_in_the_working_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "empty"
    folder.mkdir()
    monkeypatch.chdir(folder)
    assert call("demo", "sleeve-label").status == 0
    assert list(folder.iterdir()) == []
