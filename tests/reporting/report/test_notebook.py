"""Plans, limits and records in a notebook: by IPython's own formatter, as HTML that html5lib takes, and as data."""

from __future__ import annotations

import json
import subprocess
import sys
from ast import literal_eval
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace
from xml.etree.ElementTree import Element

import html5lib
import pytest
from IPython.core.formatters import DisplayFormatter

from firmware_host.errors import InputError
from firmware_host.model import load_job
from firmware_host.planning.plan import plan_job
from firmware_host.reporting.document import Column, Notes, Table
from firmware_host.reporting.pictures.drawn import drawn
from firmware_host.reporting.pictures.of_run.steps import Steps
from firmware_host.reporting.pictures.of_run.subject import run_subject
from firmware_host.reporting.report.notebook import show
from firmware_host.reporting.report.notebook_types import SHOWN_TYPES, load_ipython_extension
from firmware_host.reporting.report.page import document_part
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.runs.folder import RunFolder
from tests.cli.command import PATIENCE_S, environment
from tests.support.station_bench import StationBench, quick_disk, small_setup

SETUP = load_job("shaft-scale")
PLAN = plan_job(SETUP)
HTML = "{http://www.w3.org/1999/xhtml}"


def displayed(what: object, formatter: DisplayFormatter | None = None) -> Element:
    """What a notebook would put on its page, read strictly as the WHATWG standard has it."""
    data, _ = (formatter or DisplayFormatter()).format(what)
    text = data["text/html"]
    page = html5lib.HTMLParser(strict=True).parse(f"<!DOCTYPE html><html><head><title>n</title></head><body>{text}")
    assert isinstance(page, Element)
    for tag in page.iter():
        for name in ("src", "href", "srcset", "data"):
            assert tag.get(name, "data:").startswith("data:"), (tag.tag, name)  # nothing is loaded from anywhere
        assert tag.tag != f"{HTML}script"
    return page


def words_of(page: Element) -> str:
    return " ".join(" ".join(page.itertext()).split())


def pictures_of(page: Element) -> list[str]:
    return [tag.get("alt", "") for tag in page.iter(f"{HTML}img")]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> RunFolder:
    quick_disk(monkeypatch)
    bench = StationBench(tmp_path, small_setup())
    bench.run()
    return bench.folder


def test_a_plan_shows_its_segments_and_the_part_end_on_or_with_its_setup_unrolled() -> None:
    page = displayed(show(PLAN, SETUP))
    assert words_of(page).count("6 segments, each") == 1
    (words,) = pictures_of(page)
    assert words.startswith("6 segments in a row. At the seams from ")
    (words,) = pictures_of(displayed(show(PLAN)))
    assert words.startswith("The part, 50 mm across, seen along its axis. 6 segments, ")


def test_limits_show_their_verdict_and_the_margins() -> None:
    page = displayed(show(PLAN.limits))
    assert f"Verdict: {PLAN.limits.verdict.value}" in words_of(page)
    assert "grip-range 50 mm 80 mm" in words_of(page)
    (words,) = pictures_of(page)
    assert words.startswith(
        f"{len(PLAN.limits.checks)} limits, together: {PLAN.limits.verdict.value}; the tightest is "
    )


def test_a_record_shows_its_passes_with_the_step_counter_or_with_its_folder_the_timing(folder: RunFolder) -> None:
    record = run_subject(folder).record
    assert "6 of 6 passes" in words_of(displayed(show(record, folder)))
    (timing,), (steps,) = pictures_of(displayed(show(record, folder))), pictures_of(displayed(show(record)))
    assert "planned" in timing
    assert steps == drawn(Steps(), run_subject(folder)).words
    assert steps.startswith("3 standstills, each within ")
    frame = show(record).to_frame()
    assert frame["segment"].tolist() == [1, 1, 2, 2, 3, 3]
    assert frame["planned_microstep"].tolist() == [each.planned_microstep for each in record.passes]


def test_a_record_by_itself_tells_of_a_standstill_off_its_place_and_that_it_knows_the_last_alone(
    folder: RunFolder,
) -> None:
    record = run_subject(folder).record
    first, *others = record.passes
    last = record.passes[-1]
    off = replace(last, reported_microstep=last.planned_microstep + 2.0, standstill="9999", repeats=1)
    (words,) = pictures_of(displayed(show(replace(record, passes=(first, *others[:-1], off)))))
    assert words.startswith("1 of 4 standstills more than half a microstep off, at most 2.00 microsteps.")
    assert words.endswith("Of passes that were marked again, only the last time is shown.")
    nowhere = replace(record, passes=tuple(replace(each, reported_microstep=None) for each in record.passes))
    assert pictures_of(displayed(show(nowhere))) == []


def test_names_are_escaped() -> None:
    nodes = (Notes(("<script>alert(1)</script> & <b>bold</b>",)), Table("", "<i>", (Column("a", "<u>"),), (("<s>",),)))
    data = document_part(nodes, ())
    page = html5lib.HTMLParser(strict=True).parse(f"<!DOCTYPE html><html><head><title>n</title></head><body>{data}")
    assert not {tag.tag.removeprefix(HTML) for tag in page.iter()} & {"script", "b", "i", "u", "s"}
    assert "<script>alert(1)</script> & <b>bold</b>" in words_of(page)


def test_the_table_is_that_of_json(folder: RunFolder) -> None:
    from firmware_host.reporting.plans.limits import limits_document
    from firmware_host.reporting.render.json import json_document

    told = json.loads(json.dumps(json_document(limits_document(PLAN.limits))))
    frame = show(PLAN.limits).to_frame()
    assert frame["name"].tolist() == [check["name"] for check in told["checks"]]
    assert frame["margin"].tolist() == pytest.approx([check["margin"] for check in told["checks"]], nan_ok=True)
    segments = show(PLAN).to_frame()
    assert len(segments) == PLAN.segments.count
    assert folder.path.is_dir()


def test_without_pandas_one_error_tells_the_fix(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(InputError, match=r'pandas is not installed\. Install it: "pip install pandas"'):
        show(PLAN).to_frame()


def test_what_does_not_belong_together_is_refused(folder: RunFolder) -> None:
    other, record = load_job("tumbler-wrap"), run_subject(folder).record
    for of in (folder, other):
        with pytest.raises(InputError, match=r"the plan is not of this\. Give the setup that it was planned from"):
            show(PLAN, of)
    with pytest.raises(InputError, match=r"limits are shown by themselves\. Leave the second out"):
        show(PLAN.limits, SETUP)
    for told, where in ((record, SETUP), (replace(record, started="another day"), folder)):
        with pytest.raises(InputError, match=r"the record is not of this\. Give the folder of the run"):
            show(told, where)
    with pytest.raises(InputError, match=r"a str is not shown\. Show one of these: JobPlan, LimitReport, RunRecord"):
        show("shaft-scale")  # type: ignore[arg-type]


def test_the_names_that_a_notebook_knows_are_those_of_the_types() -> None:
    kinds = [getattr(import_module(module), name) for module, name in SHOWN_TYPES]
    assert [(kind.__module__, kind.__name__) for kind in kinds] == list(SHOWN_TYPES)
    assert kinds == [type(PLAN), type(PLAN.limits), RunRecord]


def test_in_a_notebook_plans_limits_and_records_display_themselves_with_their_picture(folder: RunFolder) -> None:
    formatter = DisplayFormatter()
    assert "text/html" not in formatter.format(PLAN)[0]
    load_ipython_extension(SimpleNamespace(display_formatter=formatter))
    for what, words in ((PLAN, "6 segments, each"), (PLAN.limits, "Verdict: "),
                        (run_subject(folder).record, "6 of 6 passes")):  # fmt: skip
        page = displayed(what, formatter)
        assert words in words_of(page)
        assert len(pictures_of(page)) == 1
    assert repr(show(PLAN)).startswith("6 segments, each")


def test_another_way_of_display_that_a_notebook_has_stays() -> None:
    formatter = DisplayFormatter()
    formatter.formatters["text/html"].for_type_by_name(*SHOWN_TYPES[0], lambda plan: "<p>mine</p>")
    load_ipython_extension(SimpleNamespace(display_formatter=formatter))
    assert formatter.format(PLAN)[0]["text/html"] == "<p>mine</p>"
    assert "Verdict: " in formatter.format(PLAN.limits)[0]["text/html"]


def test_a_notebook_needs_no_more_than_the_import_and_loads_nothing_before_it_displays(tmp_path: Path) -> None:
    code = (
        "import sys\n"
        "from IPython.core.interactiveshell import InteractiveShell\n"
        "shell = InteractiveShell.instance()\n"
        "def ran(cell):\n"
        "    done = shell.run_cell(cell)\n"
        "    done.raise_error()\n"
        "    return done.result\n"
        "ran('from firmware_host import load_job, plan_job\\nplan = plan_job(load_job(\"shaft-scale\"))')\n"
        "early = sorted({'matplotlib', 'jinja2', 'pandas'} & set(sys.modules))\n"
        "html = shell.display_formatter.format(ran('plan'), include=['text/html'])[0]['text/html']\n"
        "print()\n"
        "print(ascii([early, html]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        env={**environment(), "IPYTHONDIR": str(tmp_path)},
        check=True,
    )
    early, html = literal_eval(done.stdout.splitlines()[-1])
    assert early == []
    assert "<figcaption>The part, 50 mm across, seen along its axis. 6 segments, " in html
