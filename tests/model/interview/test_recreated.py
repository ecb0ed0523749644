"""Every shipped file, and drawn ones, described again by answers: what is written loads, and describes the same."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path

import pytest
import tomlkit

from firmware_host.folders import shipped_folder
from firmware_host.model import load_job, load_machine, load_motor
from firmware_host.model.interview.interview import Interview
from firmware_host.model.interview.question import FileKind
from firmware_host.model.interview.twin import answer_all
from firmware_host.model.interview.written import write_file
from tests.independent.pairs import pair
from tests.model.interview.answers import answers_of

TODAY = date(2026, 5, 4)
PLURALS: dict[FileKind, str] = {"machine": "machines", "motor": "motors", "job": "jobs"}
SHIPPED: list[tuple[FileKind, Path]] = [
    (kind, path) for kind, folder in PLURALS.items() for path in sorted((shipped_folder() / folder).glob("*.toml"))
]
LOADERS = {"machine": load_machine, "motor": load_motor, "job": load_job}


def described(kind: FileKind, answers: list[str], target: Path, *, usual: bool = False) -> Path:
    interview = Interview(kind, target)
    answer_all(interview, answers, take_usual=usual)
    return write_file(interview, TODAY)


@pytest.mark.some(8)
@pytest.mark.parametrize(("kind", "path"), SHIPPED, ids=[f"{kind} {path.stem}" for kind, path in SHIPPED])
def test_a_shipped_file_is_described_again_by_answers(kind: FileKind, path: Path, tmp_path: Path) -> None:
    answers = answers_of(tomllib.loads(path.read_text(encoding="utf-8")))
    made = described(kind, answers, tmp_path / "again.toml")
    again, shipped = LOADERS[kind](str(made)), LOADERS[kind](str(path))
    if kind == "job":
        assert load_job(str(made)).job == load_job(str(path)).job
    else:
        assert again == shipped


@pytest.mark.some(2)
@pytest.mark.parametrize("seed", range(6))
def test_a_drawn_machine_and_its_job_are_described_again_by_answers(seed: int, tmp_path: Path) -> None:
    machine, job = pair(seed)
    job.pop("accept", None)  # a limit is accepted by hand, with its reason
    written = tmp_path / "written.toml"
    written.write_text(tomlkit.dumps(machine), encoding="utf-8")
    made = described("machine", answers_of(machine), tmp_path / "machine.toml", usual=True)
    assert load_machine(str(made)) == load_machine(str(written))
    job["machine"] = "written.toml"
    plain = tmp_path / "plain.toml"
    plain.write_text(tomlkit.dumps(job), encoding="utf-8")
    job["machine"] = str(made)
    again = load_job(str(described("job", answers_of(job), tmp_path / "job.toml", usual=True)))
    expected = load_job(str(plain))
    assert again.job.model_copy(update={"machine": "written.toml"}) == expected.job
    assert again.machine == expected.machine
