"""How many segments make sense: none narrower than a microstep, a million where the machine is fine enough."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from firmware_host.errors import InputError, PlanError
from firmware_host.model import Setup, load_job
from firmware_host.planning.plan import plan_job, plan_layout
from firmware_host.planning.route.moves import Purpose
from firmware_host.reporting.document import Column, Document, Figure, LongRows, Table
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.render.json import json_document, json_pieces, json_text
from tests.cli.command import ROOT, environment


def full_turn(**values: object) -> Setup:
    """`shaft-scale` right around, on its machine of 9,600 microsteps a turn."""
    wrap = {"mark.arc": None, "mark.angle": "360 deg"}
    return load_job("shaft-scale").with_values(wrap | {key.replace("__", "."): value for key, value in values.items()})


@pytest.mark.parametrize("count", [9_601, 100_000, 1_000_000])
def test_a_segment_narrower_than_a_microstep_is_refused_with_the_largest_count(count: int) -> None:
    setup = full_turn(segments__count=count)
    for plan in (plan_layout, plan_job):
        with pytest.raises(PlanError, match=r"narrower than a microstep.*Ask for 9600 segments at the most"):
            plan(setup)


def test_the_largest_count_is_planned_and_every_move_is_one() -> None:
    route = plan_layout(full_turn(segments__count=9_600)).route
    assert np.diff(route.segment_targets()).tolist() == [1] * 9_599


def test_a_rest_narrower_than_a_microstep_is_refused_too() -> None:
    with pytest.raises(PlanError, match="narrower than a microstep: 0\\.426667 microsteps, limit 1"):
        plan_layout(full_turn(segments__angle="11.2495 deg"))


def test_more_than_a_million_segments_are_refused_where_they_are_written() -> None:
    with pytest.raises(InputError, match=r"segments\.count: input should be less than or equal to 1000000"):
        full_turn(segments__count=1_000_001)


MEASURED = """
import resource, sys
from firmware_host.cli import main
from tests.support.most_memory import most_bytes
status = main.run(sys.argv[1:])
used = resource.getrusage(resource.RUSAGE_SELF)
print(status, used.ru_utime + used.ru_stime, most_bytes() // 1_000_000, file=sys.stderr)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="measures with getrusage")
@pytest.mark.parametrize("command", [pytest.param("segments", marks=pytest.mark.slow), "moves"])
def test_a_million_segments_take_little_memory_on_a_machine_that_is_fine_enough(tmp_path: Path, command: str) -> None:
    machine = (ROOT / "profiles/machines/belt-chuck.toml").read_text(encoding="utf-8")
    fine = machine.replace("microsteps = 16", "microsteps = 256").replace("driven_teeth = 60", "driven_teeth = 400")
    assert 200 * 256 * 400 / 20 > 1_000_000
    (tmp_path / "machine.toml").write_text(fine, encoding="utf-8")
    job = (ROOT / "profiles/jobs/shaft-scale.toml").read_text(encoding="utf-8")
    for old, new in (('"belt-chuck"', '"machine.toml"'), ('arc = "60 mm"', 'angle = "360 deg"')):
        job = job.replace(old, new)
    path = tmp_path / "job.toml"
    path.write_text(job.replace("[segments]", "[segments]\ncount = 1000000"), encoding="utf-8")
    ended = subprocess.run(
        [sys.executable, "-c", MEASURED, command, str(path)],
        capture_output=True,
        text=True,
        env=environment() | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
        timeout=120,
        check=True,
    )
    status, seconds, megabytes = (float(word) for word in ended.stderr.splitlines()[-1].split())
    assert status == 0
    assert "1000000" in ended.stdout
    assert megabytes < 300
    assert seconds < 10  # of CPU; 1.3 where it was measured


def test_rows_made_as_they_are_asked_for_are_those_of_a_tuple() -> None:
    setup = load_job("heavy-shaft").with_values({"segments.count": 60, "index.approach": "one-side"})
    plan = plan_job(setup)
    assert (plan.route.purpose == Purpose.TAKE_UP).any()
    for document in (moves_document(plan.program, setup.machine), segments_document(plan.layout)):
        for table in document.tables:
            rows = tuple(table.rows)
            assert len(rows) == len(table.rows)
            assert [table.rows[place] for place in range(len(rows))] == list(rows)
            assert table.rows[2:9] == rows[2:9]
            assert table.rows[-3:] == rows[-3:]
            assert table.rows[::-7] == rows[::-7]
            if isinstance(table.rows, LongRows):
                assert table.rows == rows
                assert table.rows != rows[1:]
                with pytest.raises(IndexError, match="out of range"):
                    table.rows[len(rows)]


def test_a_long_table_as_json_is_the_same_text_written_piece_by_piece() -> None:
    rows = LongRows(20_000, lambda start, stop: ((place, f"é{place}") for place in range(start, stop)))
    table = Table("rows", "Rows", (Column("at", "at"), Column("name", "name")), rows)
    document = Document((Figure("count", "Count", 20_000), table, Figure("end", "End", True)))
    wanted = {"count": 20_000, "rows": [{"at": place, "name": f"é{place}"} for place in range(20_000)], "end": True}
    assert json_text(json_document(document)) == json.dumps(wanted, indent=2) + "\n"
    assert max(map(len, json_pieces(json_document(document)))) < 200_000
