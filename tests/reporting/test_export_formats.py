"""A format of the exported moves is one file and one line of the list: a toy one is added, and the command knows it."""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware_host.cli.main import run
from firmware_host.errors import InputError
from firmware_host.model import Setup, load_job
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.reporting.export.base import MoveFormat
from firmware_host.reporting.export.registry import FORMATS, move_format


class AnglesFormat(MoveFormat):
    """One angle a line: all that a hand-turned dividing head needs."""

    name = "angles"

    def text(self, setup: Setup, plan: JobPlan) -> str:
        return "".join(f"{angle:.3f}\n" for angle in plan.program.angles_deg().tolist())


def test_a_toy_format_is_written_by_the_command_once_it_is_in_the_list(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    saved = tmp_path / "angles.txt"
    arguments = ["moves", "shaft-scale", "--format", "angles", "--output", str(saved)]
    assert run(arguments) == 2
    assert "--format: no format 'angles'. Known: table, rs274, csv, json" in capsys.readouterr().err
    assert not saved.exists()
    monkeypatch.setattr("firmware_host.reporting.export.registry.FORMATS", [*FORMATS, AnglesFormat()])
    assert run(arguments) == 0
    angles = plan_job(load_job("shaft-scale")).program.angles_deg().tolist()
    assert [float(line) for line in saved.read_text("utf-8").splitlines()] == pytest.approx(angles, abs=6e-4)


def test_every_format_has_a_name_of_its_own_and_is_found_by_it() -> None:
    names = [each.name for each in FORMATS]
    assert len(set(names)) == len(names)
    assert all(move_format(each.name) is each for each in FORMATS)
    with pytest.raises(InputError, match=r"no format 'xml'\. Known: table, rs274, csv, json"):
        move_format("xml")
