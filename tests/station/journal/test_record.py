"""The record follows from the journal alone; each case is a short story told by hand."""

import json
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import JournalError
from firmware_host.station.journal.record import RunRecord, make_record

BEGIN = {"event": "begin", "job": "job", "machine": "machine", "targets": [0, 611], "passes": 2}
ZERO = {"event": "zero", "origin_steps": 1234, "at": 0}
REST = {"event": "at-rest", "segment": 1, "target": 0, "reported": 0.004}
REST_2 = {"event": "at-rest", "segment": 2, "target": 611, "reported": 612.3}


def told(*events: dict[str, Any]) -> RunRecord:
    return make_record({"t": f"T{number}", **event} for number, event in enumerate(events, 1))


def act(event: str, segment: int, number: int, **fields: Any) -> dict[str, Any]:
    return {"event": event, "segment": segment, "pass": number, **fields}


def marked(segment: int, number: int) -> list[dict[str, Any]]:
    return [act(word, segment, number) for word in ("gate-open", "gate-closed", "pass-done")]


def statuses(record: RunRecord) -> list[str]:
    return [entry.status for entry in record.passes]


def test_a_run_that_only_began_has_everything_to_do_and_is_running() -> None:
    record = told(BEGIN)
    assert (record.outcome, record.origin_steps, record.done) == ("running", None, 0)
    assert [(e.segment, e.number, e.planned_microstep) for e in record.passes] == [
        (1, 1, 0), (1, 2, 0), (2, 1, 611), (2, 2, 611)
    ]  # fmt: skip
    assert statuses(record) == ["to do"] * 4


@pytest.mark.parametrize(
    ("events", "status"),
    [([], "to do"), (marked(1, 1)[:1], "unknown"), (marked(1, 1)[:2], "unknown"), (marked(1, 1), "done")],
    ids=["before", "open", "closed", "done"],
)
def test_a_pass_is_done_only_when_that_is_said(events: list[dict[str, Any]], status: str) -> None:
    assert statuses(told(BEGIN, ZERO, REST, *events))[0] == status


def test_times_and_positions_are_those_of_the_pass_s_own_rest() -> None:
    record = told(BEGIN, ZERO, REST, *marked(1, 1), REST_2, *marked(2, 1))
    first, third = record.passes[0], record.passes[2]
    assert (first.reported_microstep, first.at_rest, first.gate_open, first.gate_closed) == (0.004, "T3", "T4", "T5")
    assert (third.reported_microstep, third.at_rest, third.gate_open, third.gate_closed) == (612.3, "T7", "T8", "T9")
    assert record.step_errors == (0, 1)
    assert (record.started, record.ended) == ("T1", "T10")


def test_an_answer_settles_an_unknown_pass_either_way() -> None:
    story = [BEGIN, ZERO, REST, *marked(1, 1)[:1], {"event": "resume", "zero": "as-left"}]
    assert statuses(told(*story, act("assumed", 1, 1, done=True)))[0] == "done"
    assert statuses(told(*story, act("assumed", 1, 1, done=False)))[0] == "to do"
    again = told(*story, act("assumed", 1, 1, done=False), REST, act("gate-open", 1, 1))
    assert statuses(again)[0] == "unknown"
    assert again.passes[0].gate_closed is None


def test_the_outcome_is_that_of_the_last_go() -> None:
    stopped = {"event": "end", "outcome": "stopped", "reason": "Ctrl-C"}
    assert (told(BEGIN, stopped).outcome, told(BEGIN, stopped).reason) == ("stopped", "Ctrl-C")
    assert told(BEGIN, stopped, {"event": "resume"}).outcome == "running"
    done = told(BEGIN, stopped, {"event": "resume"}, {"event": "end", "outcome": "done"})
    assert (done.outcome, done.reason) == ("done", "")


def test_a_record_is_one_json_document_and_whole_on_the_disk(tmp_path: Path) -> None:
    record = told(BEGIN, ZERO, REST, *marked(1, 1))
    record.save(tmp_path / "record.json")
    document = json.loads((tmp_path / "record.json").read_text("utf-8"))
    assert document["passes"][0]["gate_open"] == "T4"
    assert document["origin_steps"] == 1234
    assert [path.name for path in tmp_path.iterdir()] == ["record.json"]
    with pytest.raises(JournalError, match="cannot be written"):
        record.save(tmp_path / "missing" / "record.json")
