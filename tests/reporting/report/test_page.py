"""A report: whole, self-contained, escaped, readable by ear, and with everything that it is about."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.record import Record, read_record
from firmware_host.model import load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.reporting.document import Column, Document, Figure, LongRows, Notes, Table
from firmware_host.reporting.measures import Units
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.report.of_job import job_report
from firmware_host.reporting.report.of_record import batch_report, commissioning_report, run_report
from firmware_host.reporting.report.page import MOST_ROWS, report_page
from firmware_host.reporting.report.report import Chapter, Report
from firmware_host.station.runs.folder import RunFolder
from tests.cli.command import call
from tests.reporting.report.read_page import Page
from tests.reporting.shown import shipped
from tests.support.batch_bench import BatchBench

MADE = datetime(2026, 3, 5, 14, 30, tzinfo=UTC)
MOTORS = {each.name: load_motor(str(each.path)) for each in list_profiles("motors") if each.name.startswith("nema23")}


@cache
def report(job: str) -> Report:
    setup, plan = shipped(job)
    return job_report(setup, MADE, MOTORS, plan=plan)


@cache
def page(job: str) -> Page:
    return Page(report_page(report(job)))


@pytest.mark.parametrize("job", ["heavy-shaft", "bottle-band"])
def test_the_first_page_says_what_was_asked_the_answer_the_cautions_and_what_it_rests_on(job: str) -> None:
    read, (setup, plan) = page(job), shipped(job)
    first = read.text.partition("Pictures")[2].partition("Pictures")[0]  # behind the contents, before the first chapter
    assert setup.machine.name in first
    assert plan.limits.verdict.value in first
    assert f"{plan.segments.count} segments" in first
    assert "IEC 60825-1" in first
    assert "first without the laser" in first
    for file in (setup.job_source, setup.machine_source):
        assert hashlib.sha256(Path(file).read_bytes()).hexdigest() in first
    assert "2026-03-05 14:30" in read.text


@pytest.mark.parametrize("job", ["heavy-shaft", "bottle-band"])
def test_every_limit_stands_there_with_formula_and_source_and_every_motor(job: str) -> None:
    text = page(job).text
    _, plan = shipped(job)
    flat = " ".join(text.split())
    for check in plan.limits.checks:
        assert check.name in flat
        assert " ".join(check.formula.split()) in flat
        assert " ".join(check.source.split()) in flat
    assert all(motor in flat for motor in MOTORS)


def test_nothing_is_loaded_from_anywhere_and_nothing_in_it_runs() -> None:
    read = page("heavy-shaft")
    assert not {tag for tag, _ in read.tags} & {"script", "link", "iframe", "object", "embed", "form"}
    assert all(each["src"].startswith("data:image/") for each in read.all("img"))
    assert all(each["href"].startswith("#") for each in read.all("a"))
    style = re.search(r"<style>(.*?)</style>", read.source, re.DOTALL)
    assert style is not None
    assert not re.search(r"url\(|@import", style[1])
    assert not [name for _, attributes in read.tags for name in attributes if name.startswith("on")]


def test_a_screen_reader_finds_its_way() -> None:
    read = page("bottle-band")
    levels = [int(tag[1]) for tag, _ in read.tags if re.fullmatch("h[1-6]", tag)]
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels)), "no level is left out"
    names = {tag for tag, _ in read.tags}
    assert {"main", "nav", "header", "caption"} <= names
    assert all(len(each["alt"]) > 40 for each in read.all("img"))
    assert {each["scope"] for each in read.all("th")} == {"col", "row"}
    regions = [each["aria-label"] for _, each in read.tags if each.get("role") == "region"]
    assert len(regions) == len(set(regions)) > 10
    ids = [each["id"] for _, each in read.tags if "id" in each]
    assert len(ids) == len(set(ids))
    assert {each["href"][1:] for each in read.all("a")} <= set(ids)
    assert read.all("html") == [{"lang": "en"}]


def test_the_pictures_are_whole_and_in_the_order_of_the_list() -> None:
    images = page("heavy-shaft").all("img")
    assert [each["alt"] for each in images] == [each.words for each in report("heavy-shaft").chapters[0].pictures]
    for image in images:
        assert base64.b64decode(image["src"].partition(",")[2]).rstrip().endswith(b"</svg>")


def test_what_a_file_says_can_do_nothing_on_the_page() -> None:
    sly = "<script>alert(1)</script><b>\"&'"
    made = replace(
        report("heavy-shaft"),
        title=sly,
        asked=(sly,),
        chapters=(
            Chapter(
                sly, Document((Notes((sly,)), Figure("a", sly, sly), Table("t", sly, (Column("a", sly),), ((sly,),))))
            ),
        ),
    )
    read = Page(report_page(made))
    assert not {tag for tag, _ in read.tags} & {"script", "b"}
    assert read.texts.count(sly) >= 6


def test_a_long_table_shows_both_ends_and_says_how_much_is_left_out() -> None:
    rows = LongRows(5000, lambda start, stop: ((number,) for number in range(start, stop)))
    table = Table("t", "Numbers", (Column("n", "number"),), rows)
    made = replace(report("heavy-shaft"), chapters=(Chapter("Many", Document((table,))),))
    read = Page(report_page(made))
    assert f"{5000 - MOST_ROWS} rows are left out here." in read.text
    assert "\n4999\n" in f"{read.text}\n"
    assert len(read.all("tr")) == MOST_ROWS + 2


def test_a_reader_of_inches_finds_inches() -> None:
    seams = Chapter("Seams", segments_document(shipped("heavy-shaft")[1].layout, Units.INCH))
    text = Page(report_page(replace(report("heavy-shaft"), chapters=(seams,)), Units.INCH)).text
    assert "gap in" in text
    assert "gap mm" not in text


def test_a_run_and_a_batch_are_told_pass_by_pass_and_part_by_part(tmp_path: Path) -> None:
    bench = BatchBench(tmp_path, rows=2)
    bench.run_batch()
    batch = Page(report_page(batch_report(bench.batch, MADE)))
    assert "2 of 2 parts" in batch.text
    assert hashlib.sha256(bench.batch.journal.read_bytes()).hexdigest() in batch.text
    folder = RunFolder(bench.batch.path / "part-00001")
    run = Page(report_page(run_report(folder, MADE)))
    (passes,) = (chapter for chapter in run_report(folder, MADE).chapters if chapter.title == "What was done")
    assert passes.document is not None
    assert hashlib.sha256(folder.journal.read_bytes()).hexdigest() in run.text
    drawn = [each["alt"] for each in run.all("img")]
    assert len(drawn) == 5
    assert "standstills, each within" in drawn[0], "how it went is told before how it was planned"
    assert "From setting off until the gate opened" in drawn[1]
    assert "Run of " in run.text
    written = call("report", str(bench.batch.path), "--output", str(tmp_path / "batch.html"))
    assert written.status == 0, written.err
    assert "2 of 2 parts" in written.out


def test_a_commissioning_is_told_with_every_finding(tmp_path: Path) -> None:
    path = tmp_path / "belt-chuck.jsonl"
    finding = Finding(
        "lost-motion", "lost motion", Measured(0.303, 0.02, 4), "deg", "a mean", "change", "The file has 0.02 deg."
    )
    with Record(path, "belt-chuck", VirtualClock()) as record:
        record.found("lost-motion", finding)
    text = Page(report_page(commissioning_report(path, read_record(path), MADE))).text
    assert "The file has 0.02 deg." in text
    assert "0.303" in text
    assert hashlib.sha256(path.read_bytes()).hexdigest() in text
    written = call("report", str(path), "--output", str(tmp_path / "c.html"))
    assert written.status == 0, written.err


def test_the_command_writes_a_report_of_a_job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    of_job = call("report", "sleeve-label", "--output", "my report.html")
    assert of_job.status == 0, of_job.err
    assert "Verdict: holds" in Page(Path("my report.html").read_text("utf-8")).text
    nowhere = call("report", "sleeve-label", "--output", "nowhere/r.html")
    assert nowhere.status == 2
    assert "nowhere" in nowhere.err
    other = call("report", "sleeve-label", "--output", "r.docx")
    assert "a report is an HTML file" in other.err
    assert not Path("r.docx").exists()
