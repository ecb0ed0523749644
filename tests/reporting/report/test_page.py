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

import html5lib
import pytest

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.record import Record, read_record
from firmware_host.model import load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.reliability.estimate import reliability
from firmware_host.reporting.document import Column, Document, Figure, LongRows, Notes, Table
from firmware_host.reporting.measures import Units
from firmware_host.reporting.pictures.of_run.subject import run_subject
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.report.commissioning import commissioning_report
from firmware_host.reporting.report.of_job import job_report
from firmware_host.reporting.report.of_record import batch_report, run_report
from firmware_host.reporting.report.page import MOST_ROWS, Paper, report_page
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


@pytest.mark.parametrize("job", ["heavy-shaft", pytest.param("bottle-band", marks=pytest.mark.slow)])
def test_the_first_page_says_what_was_asked_the_answer_the_cautions_and_what_it_rests_on(job: str) -> None:
    read, (setup, plan) = page(job), shipped(job)
    first = read.text.partition("Pictures")[2].partition("Pictures")[0]  # behind the contents, before the first chapter
    assert setup.machine.name in first
    assert plan.limits.verdict.value in first
    assert f"{plan.segments.count} segments" in first
    tightest = plan.limits.tightest
    assert tightest is not None
    binds = first.partition("What binds")[2].partition("How reliable")[0]
    assert tightest.name in binds
    assert "depth of focus" in binds
    sure = first.partition("How reliable")[2].partition("Cautions")[0]
    assert f"{reliability(setup, plan, better=False).chance.interval[0]:.5f}" in sure
    assert "What matters most is" in sure
    assert "IEC 60825-1" in first
    assert "first without the laser" in first
    for file in (setup.job_source, setup.machine_source):
        assert hashlib.sha256(Path(file).read_bytes()).hexdigest() in first
    assert "2026-03-05 14:30" in read.text


@pytest.mark.parametrize("job", ["heavy-shaft", pytest.param("bottle-band", marks=pytest.mark.slow)])
def test_every_limit_stands_there_with_formula_and_source_and_every_motor(job: str) -> None:
    text = page(job).text
    _, plan = shipped(job)
    flat = " ".join(text.split())
    for check in plan.limits.checks:
        assert check.name in flat
        assert " ".join(check.formula.split()) in flat
        assert " ".join(check.source.split()) in flat
    assert all(motor in flat.partition("Candidates compared")[2] for motor in MOTORS)
    behind = flat.rpartition("Sensitivity: which uncertain datum matters")[2]
    assert "rolling_resistance" in behind or "efficiency" in behind
    assert "share of the doubt" in behind
    assert "Of the machine nothing was measured" in behind


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
    read = page("heavy-shaft")
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


@pytest.fixture(scope="module")
def batch(tmp_path_factory: pytest.TempPathFactory) -> BatchBench:
    bench = BatchBench(tmp_path_factory.mktemp("batch"), rows=2)
    bench.run_batch()
    return bench


def test_a_run_is_told_pass_by_pass_as_it_went_beside_its_plan(batch: BatchBench) -> None:
    folder = RunFolder(batch.batch.path / "part-00001")
    read = Page(report_page(run_report(folder, MADE)))
    first = read.text.partition("What was asked")[2].partition("SHA-256")[0]
    told = (
        "Part: ",
        "Mark: ",
        "Machine: ",
        "The run",
        "done",
        "6 of 6 passes",
        "is the limit, margin",
        "depth of focus",
    )
    assert all(each in first for each in (*told, "of a microstep of its place", "Cautions", "IEC 60825-1"))
    assert hashlib.sha256(folder.journal.read_bytes()).hexdigest() in read.text
    assert hashlib.sha256(folder.setup.read_bytes()).hexdigest() in read.text
    drawn = [each["alt"] for each in read.all("img")]
    assert len(drawn) == 5
    assert "standstills, each within" in drawn[0], "how it went is told before how it was planned"
    assert "From setting off until the gate opened" in drawn[1]
    times = read.text.rpartition("Index times: planned beside measured")[2].partition("Predicted beside measured")[0]
    subject = run_subject(folder)
    for _, planned_s, took_s in subject.index_pairs():
        assert f"{planned_s:.4g}" in times
        assert f"{took_s:.4g}" in times
        assert f"{took_s - planned_s:+.2g}" in times
    assert "Of the machine nothing was measured" in read.text
    assert all(check.formula in read.text for check in subject.plan.limits.checks)


def test_a_batch_is_told_part_by_part_beside_its_plan(batch: BatchBench, tmp_path: Path) -> None:
    read = Page(report_page(batch_report(batch.batch, MADE)))
    first = read.text.partition("What was asked")[2].partition("SHA-256")[0]
    told = ("Part: ", "The batch", "done", "2 of 2 parts", "is the limit, margin", "2 good", "Cautions")
    assert all(each in first for each in told)
    assert hashlib.sha256(batch.batch.journal.read_bytes()).hexdigest() in read.text
    times = read.text.rpartition("Index times: planned beside measured")[2].partition("Predicted beside measured")[0]
    for part in ("part-00001", "part-00002"):
        pairs = run_subject(RunFolder(batch.batch.path / part)).index_pairs()
        assert f"{sum(took_s for _, _, took_s in pairs):.4g}" in times
    assert len(read.all("img")) == 3
    written = call("report", str(batch.batch.path), "--output", str(tmp_path / "batch.html"))
    assert written.status == 0, written.err
    assert "2 of 2 parts" in written.out


def test_times_of_one_day_are_told_as_times_of_day() -> None:
    column = (Column("n", "number"), Column("at", "at"))
    rows = ((1, "2026-03-05T14:30:01.250+00:00"), (2, "2026-03-05T14:31:00.000+00:00"))
    told = Document((Table("t", "Passes", column, rows),))
    later = Document((Table("t", "Passes", column, (*rows, (3, "2026-03-06T00:00:01.000+00:00"))),))
    today, over_night = (
        Page(report_page(replace(report("heavy-shaft"), chapters=(Chapter("Run", each),)))) for each in (told, later)
    )
    assert "at (2026-03-05, UTC)\n1\n14:30:01.250\n2\n14:31:00.000" in today.text
    assert "at\n1\n2026-03-05T14:30:01.250+00:00" in over_night.text, "of two days each keeps its day"


def test_a_commissioning_is_told_with_every_finding(tmp_path: Path) -> None:
    path = tmp_path / "belt-chuck.jsonl"
    lost = Finding(
        "lost-motion", "lost motion", Measured(0.303, 0.02, 4), "deg", "a mean", "change", "The file has 0.02 deg."
    )
    swings = Finding("natural-frequency", "it swings at", Measured(41.2, 0.4, 4), "Hz", "least squares", "as stated",
                     "It agrees with the 40.5 Hz that follow from the motor's torque and what turns.")  # fmt: skip
    with Record(path, "belt-chuck", VirtualClock()) as record:
        record.found("lost-motion", lost)
        record.found("ringing", swings)
    read = Page(report_page(commissioning_report(path, read_record(path), MADE)))
    text = read.text
    first = text.partition("What was asked")[2].partition("SHA-256")[0]
    told = ("belt-chuck", "Procedures: lost-motion and ringing.", "1 change, 1 as stated", "95 %", "Cautions")
    assert all(each in first for each in told)
    assert "Not as described, and not written: lost motion. The file has 0.02 deg." in first
    assert "0.303" in text
    assert "40.5 Hz that follow" in text, "what was predicted stands beside what was measured"
    assert "least squares" in text
    assert hashlib.sha256(path.read_bytes()).hexdigest() in text
    written = call("report", str(path), "--output", str(tmp_path / "c.html"))
    assert written.status == 0, written.err


def html_of(kind: str, batch: BatchBench, folder: Path) -> str:
    """A report of each kind, of a job whose name is not meant well."""
    if kind == "job":
        setup, plan = shipped("heavy-shaft")
        setup = replace(setup, job=setup.job.model_copy(update={"name": SLY}))
        return report_page(job_report(setup, MADE, MOTORS, plan=plan), paper=Paper.A4)
    if kind == "record":
        path = folder / "sly.jsonl"
        with Record(path, SLY, VirtualClock()) as record:
            record.found("focus", Finding("focus", SLY, Measured(1.0, 0.1, 4), "mm", SLY, "change", SLY))
        return report_page(commissioning_report(path, read_record(path), MADE))
    run = RunFolder(batch.batch.path / "part-00001")
    return report_page(run_report(run, MADE) if kind == "run" else batch_report(batch.batch, MADE))


SLY = "<script>alert(1)</script><img src=http://example.invalid/x onerror=alert(1)>"


@pytest.mark.parametrize("kind", [pytest.param("job", marks=pytest.mark.slow), "run", "batch", "record"])
def test_each_report_is_strict_html_loads_nothing_and_escapes_all(kind: str, batch: BatchBench, tmp_path: Path) -> None:
    source = html_of(kind, batch, tmp_path)
    parser = html5lib.HTMLParser(strict=True, tree=html5lib.getTreeBuilder("etree"), namespaceHTMLElements=False)
    tree = parser.parse(source)  # raises at the first error of the standard's own parsing algorithm
    tags = {each.tag for each in tree.iter()}
    assert not tags & {"script", "iframe", "object", "embed", "form", "link"}
    for each in tree.iter():
        assert not [name for name in each.attrib if name.startswith("on")]
        for name in ("src", "href"):
            assert each.attrib.get(name, "#").startswith(("#", "data:image/"))
    images = [base64.b64decode(each.attrib["src"].partition(",")[2]).decode() for each in tree.iter("img")]
    for drawing in images:
        loaded = re.findall(r'(?:href|src)="([^"]*)"', drawing)
        assert all(each.startswith(("#", "data:image/")) for each in loaded)
        assert "<script" not in drawing
        assert not re.search(r"url\((?!#)", drawing)
    assert (kind in ("job", "record")) == ("alert(1)" in source)
    headings = [int(each.tag[1]) for each in tree.iter() if re.fullmatch("h[1-6]", str(each.tag))]
    assert headings.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(headings))
    assert {"main", "nav", "header", "table"} <= tags
    assert all(len(each.attrib["alt"]) > 40 for each in tree.iter("img"))


@pytest.mark.slow
def test_the_command_writes_a_report_of_a_job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    of_job = call("report", "sleeve-label", "--output", "my report.html")
    assert of_job.status == 0, of_job.err
    assert "Verdict: holds" in Page(Path("my report.html").read_text("utf-8")).text
    nowhere = call("report", "sleeve-label", "--output", "nowhere/r.html")
    assert nowhere.status == 2
    assert "nowhere" in nowhere.err
    other = call("report", "sleeve-label", "--output", "r.docx")
    assert "a report is an HTML or a PDF file" in other.err
    assert not Path("r.docx").exists()
