"""Runs, profiles and controllers as documents: their JSON as promised, their words as told."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from pathlib import Path
from types import MappingProxyType

import pytest

from firmware_host.acts import Resume, WriteSettings
from firmware_host.controller.controller import Description
from firmware_host.controller.finding import Finding
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.stored_settings import ControllerSettings, Difference
from firmware_host.model.files.profiles import Profile, list_profiles
from firmware_host.reporting.document import Advice, Document
from firmware_host.reporting.machines.controllers import controller_document, found_document, settings_document
from firmware_host.reporting.machines.profiles import profiles_document
from firmware_host.reporting.render.json import json_document
from firmware_host.reporting.runs.run import run_document
from firmware_host.reporting.runs.runs import findings_document, runs_document
from firmware_host.station.journal.record import PassRecord, RunRecord
from firmware_host.station.runs.listing import ListedRun
from firmware_host.station.runs.status import Place, RunStatus
from firmware_host.station.runs.verify import RunFinding
from firmware_host.station.settings.compared import Comparison, LookedAt
from tests.reporting.shown import behind, printed, values_in_json, values_on_page

RECORD = RunRecord(
    "a job",
    "a machine",
    "stopped",
    "by hand",
    None,
    "2026-01-01T00:00:00",
    "2026-01-01T00:00:09",
    (
        PassRecord(1, 1, "done", 0, -0.0112, "2026-01-01T00:00:01", "2026-01-01T00:00:02", "2026-01-01T00:00:03"),
        PassRecord(2, 1, "unknown", 611),
    ),
)
STATUS = RunStatus(RECORD, False, Place.AS_LEFT, "", (611, 611), True, (Resume("runs/a", asks=True),))


def told(document: Document) -> list[list[str]]:
    return [line.split() for line in behind(document).splitlines()]


def test_what_a_run_s_job_accepts_is_told_to_people_and_the_record_stays_the_record() -> None:
    record = replace(RECORD, accepted={"creep": "measured", "mass": "a lead core"})
    document = run_document(record)
    assert behind(document).splitlines()[3:5] == ["Accepted: creep (measured)", "Accepted: mass (a lead core)"]
    assert json_document(document) == json.loads(record.to_json())


def test_the_document_of_a_run_is_its_record() -> None:
    document = run_document(RECORD)
    assert json_document(document) == json.loads(RECORD.to_json())
    assert json.dumps(json_document(document), indent=2) + "\n" == RECORD.to_json()
    assert told(document) == [
        ["stopped", "(by", "hand):", "1", "of", "2", "passes", "marked."],
        ["Job:", "a", "job"],
        ["Machine:", "a", "machine"],
        ["Began:", "2026-01-01T00:00:00"],
        ["Last", "line:", "2026-01-01T00:00:09"],
        ["Passes"],
        ["segment", "pass", "gate", "planned", "reported"],
        ["1", "1", "done", "0", "-0.01"],
        ["2", "1", "unknown", "611", "-"],
    ]
    dry = replace(RECORD, marking=False, reason="")
    assert behind(run_document(dry)).startswith("stopped: 1 of 2 passes turned without marking.\n")


def test_a_step_counter_stands_beside_the_passes_and_not_in_the_json() -> None:
    document = run_document(RECORD, {1: 2})
    _, heads, first, second = told(document)[-4:]
    assert heads[-3:] == ["step", "counter", "error"]
    assert first[-2:] == ["2", "+2"]
    assert second[-2:] == ["-", "-"]
    assert json_document(document) == json.loads(RECORD.to_json())


def test_how_a_run_stands_comes_behind_its_record_with_what_can_be_done() -> None:
    document = run_document(RECORD, status=STATUS)
    assert json_document(document) == json.loads(RECORD.to_json())
    lines = behind(document).splitlines()[-3:]
    assert lines[0].startswith("Segment 2, pass 1: its gate was open when the run ended.")
    assert lines[1:] == [
        "Position: the axis was left at microstep 611 from the job's zero. It must still be there.",
        "do Resume",
    ]
    assert document.nodes[-1] == Advice(STATUS.acts)


@pytest.mark.parametrize(
    ("changes", "last"),
    [
        ({"under_way": True}, "A process is working on this run now."),
        ({"place": Place.HOMES}, "Position: the axis will seek its home switch again."),
        ({"place": Place.NEW}, "Position: no zero was set; the job's zero will be where the part stands."),
        (
            {"place": Place.BY_HAND, "why": "the motor was released"},
            "Position lost: the motor was released. First turn the part to the job's zero by hand.",
        ),
        (
            {"microsteps": (0, 611)},
            "Position: the axis was left between microsteps 0 and 611 from the job's zero. It must still be there.",
        ),
        ({"record": replace(RECORD, outcome="done")}, "2     1  unknown      611         -"),
    ],
    ids=["under-way", "homes", "new", "by-hand", "between", "done"],
)
def test_each_way_a_run_may_stand_has_its_sentence(changes: dict[str, object], last: str) -> None:
    status = replace(STATUS, acts=(), **changes)  # type: ignore[arg-type]
    assert behind(run_document(status.record, status=status)).splitlines()[-1].strip() == last


def test_an_axis_that_may_still_move_is_told_first_and_nothing_marked_as_well() -> None:
    record = replace(RECORD, passes=(PassRecord(1, 1, "to do", 0),))
    status = replace(STATUS, record=record, stands_still=False, acts=())
    lines = behind(run_document(record, status=status)).splitlines()
    assert "The axis could not be seen to stand still. Look before you reach in." in lines
    assert "Nothing was marked yet." in lines


LISTED = (
    ListedRun(Path("runs/a"), RECORD),
    ListedRun(Path("runs/b"), replace(RECORD, outcome="running", reason="", marking=False)),
    ListedRun(Path("runs/c"), None, "line 1 is damaged"),
)


def test_runs_are_listed_with_their_ends_and_one_that_cannot_be_read_with_its_reason_only() -> None:
    document = runs_document(LISTED)
    whole = {"machine": "a machine", "started": "2026-01-01T00:00:00", "ended": "2026-01-01T00:00:09"}
    assert json_document(document) == [
        {"run": "runs/a", "outcome": "stopped", "reason": "by hand", "job": "a job", **whole, "done": 1, "passes": 2,
         "marking": True, "skipped": 0, "not_asked_for": [], "redo_of": ""},
        {"run": "runs/b", "outcome": "crashed", "reason": "", "job": "a job", **whole, "done": 1, "passes": 2,
         "marking": False, "skipped": 0, "not_asked_for": [], "redo_of": ""},
        {"run": "runs/c", "outcome": "unreadable", "reason": "line 1 is damaged"},
    ]  # fmt: skip
    assert told(document) == [
        ["Runs"],
        ["run", "outcome", "because", "of", "job", "passes", "marking"],
        ["runs/a", "stopped", "by", "hand", "a", "job", "1/2"],
        ["runs/b", "crashed", "a", "job", "1/2", "without", "marking"],
        ["runs/c", "unreadable", "line", "1", "is", "damaged", "-", "-", "-"],
    ]


def test_what_was_looked_at_in_a_run_s_files_is_told_with_its_verdict() -> None:
    findings = (RunFinding("journal", True, "13 lines"), RunFinding("order", False, "line 3: a move"))
    document = findings_document(findings)
    assert json_document(document) == [asdict(finding) for finding in findings]
    assert told(document)[2:] == [
        ["journal", "holds", "13", "lines"],
        ["order", "DOES", "NOT", "HOLD", "line", "3:", "a", "move"],
    ]


def test_profiles_are_listed_with_where_they_are() -> None:
    (shipped, *_) = list_profiles("machines")
    own = Profile("jobs", "mine", Path("/home/me/mine.toml"), "own", ("here", "shipped"))
    document = profiles_document([shipped, own])
    assert json_document(document) == [
        {
            "kind": "machine",
            "name": shipped.name,
            "origin": "shipped",
            "hides": [],
            "file": str(shipped.path),
            "shipped": True,
        },
        {
            "kind": "job",
            "name": "mine",
            "origin": "own",
            "hides": ["here", "shipped"],
            "file": "/home/me/mine.toml",
            "shipped": False,
        },
    ]
    assert told(document)[2:] == [
        ["machine", shipped.name, "shipped"],
        ["job", "mine", "own", "here", "and", "shipped", "/home/me/mine.toml"],
    ]


FOUND = (
    Finding(
        "/dev/a",
        "status-query",
        "hello",
        Description("XYZA", 128, None, MappingProxyType({"$1": "25", "$2": "0"})),
        baud=57600,
    ),
    Finding("/dev/b", "numbered-line", "start", Description("", None, 4, MappingProxyType({}))),
    Finding("/dev/c", None, "nothing answered"),
)


def test_what_was_found_is_said_first_and_each_port_is_a_row() -> None:
    document = found_document(FOUND)
    assert json_document(document) == [
        {"port": "/dev/a", "dialect": "status-query", "detail": "hello", "baud": 57600, "axes": "XYZA",
         "receive_bytes": 128, "planner_blocks": None, "settings": {"$1": "25", "$2": "0"}},
        {"port": "/dev/b", "dialect": "numbered-line", "detail": "start", "baud": None, "axes": "",
         "receive_bytes": None, "planner_blocks": 4, "settings": {}},
        {"port": "/dev/c", "dialect": None, "detail": "nothing answered", "baud": None, "axes": None,
         "receive_bytes": None, "planner_blocks": None, "settings": None},
    ]  # fmt: skip
    assert printed(document).splitlines() == [
        "A controller stands at /dev/a. It speaks status-query at 57600 bit/s: "
        "set link.baud = 57600 in the machine file, or say --baud 57600.",
        "A controller stands at /dev/b. It speaks numbered-line.",
        "/dev/c: nothing answered.",
    ]
    lines = told(document)
    assert lines[2] == ["/dev/a", "status-query", "hello", "57600", "XYZA", "128", "not", "told"]
    assert lines[3] == ["/dev/b", "numbered-line", "start", "-", "not", "told", "not", "told", "4"]
    assert lines[4] == ["/dev/c", "-", "nothing", "answered", "-", "-", "-", "-"]
    assert lines[5:] == [["/dev/a:", "$1", "=", "25,", "$2", "=", "0"], ["/dev/b:", "not", "told"]]
    assert printed(found_document(FOUND[2:])).startswith("No controller at 1 port that answers.")
    assert values_in_json(document) - values_on_page(document) == set()


RAW = {"$1": "255", "$13": "0", "$20": "1", "$22": "0", "$103": "26.667", "$113": "3600.000", "$123": "400.000"}


def test_a_controller_s_state_is_told_with_its_settings_as_printed_and_what_it_does_not_tell() -> None:
    names = StatusQueryDialect().setting_names("A")
    settings = ControllerSettings.read(RAW, "A", names)
    status = StatusReport(AxisState.READY, (0.0, 1.5))
    document = controller_document("/dev/a", None, status, settings)
    assert json_document(document) == {
        "port": "/dev/a",
        "greeting": None,
        "state": "ready",
        "axis": "A",
        "steps_per_unit": "26.667",
        "rate_units_per_min": "3600.000",
        "acceleration_units_per_s2": "400.000",
        "released_at_rest_after_ms": None,
        "position_units": [0.0, 1.5],
        "messages": None,
        "bytes_not_understood": None,
    }
    lines = behind(document).splitlines()
    assert lines[1] == "Greeting: none heard"
    assert lines[4] == "Steps per unit: 26.667"
    assert lines[7:] == [
        "Released at a standstill after, ms: never, or not told",
        "Position, units: 0.0, 1.5",
        "Messages: none",
        "Bytes not understood: none",
    ]
    talking = controller_document("/dev/a", None, status, settings, messages=("VER:1", "door"), strays=(b"\xff!",))
    assert behind(talking).splitlines()[-2:] == ["Messages: VER:1; door", "Bytes not understood: '\\xff!'"]
    silent = replace(settings, stored_rate=None, inches=True)
    values = json_document(controller_document("/dev/a", "hello", status, silent))
    assert (values["greeting"], values["rate_units_per_min"], values["position_units"]) == ("hello", None, None)
    assert "Rate, units/min: not told" in behind(controller_document("/dev/a", "hello", status, silent))


def test_settings_that_differ_are_told_with_the_act_that_mends_them() -> None:
    scale, rate = Difference("steps per unit", "$103", "100.000", "26.667"), Difference("rate", "$113", "5", "6")
    fix = WriteSettings("job.toml", "/dev/a")
    document = settings_document(Comparison((scale,), (rate,), LookedAt.BOTH), fix)
    assert json_document(document) == [
        {"name": "steps per unit", "key": "$103", "held": "100.000", "wanted": "26.667", "needed": True},
        {"name": "rate", "key": "$113", "held": "5", "wanted": "6", "needed": False},
    ]
    assert told(document)[-3:] == [
        ["steps", "per", "unit", "$103", "100.000", "26.667", "needed"],
        ["rate", "$113", "5", "6", "written", "with", "the", "rest"],
        ["do", "WriteSettings"],
    ]
    assert document.nodes[-1] == Advice((fix,))
    fitting = settings_document(Comparison((), (), LookedAt.BOTH), fix)
    assert json_document(fitting) == []
    assert behind(fitting) == "all settings fit the job\ncompared: what is in force and stored\n"
    stored = behind(settings_document(Comparison((), (), LookedAt.STORED), fix))
    assert stored.startswith("all stored settings fit the job\ncompared: what is stored; what is in force is not known")
