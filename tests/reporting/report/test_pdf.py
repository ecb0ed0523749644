"""A report as PDF: by a real browser where there is one, read back by another library; and what is told otherwise."""

from __future__ import annotations

import io
import re
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from pypdf import PdfReader

from firmware_host.clock import SystemClock, VirtualClock
from firmware_host.errors import InputError
from firmware_host.reporting.report.page import Paper, report_page
from firmware_host.reporting.report.pdf import report_pdf
from tests.cli.command import call
from tests.reporting.report.test_in_browser import shortened
from tests.support.browser import chromium

POINTS = {Paper.A4: (595, 842), Paper.LETTER: (612, 792)}
"""ISO 216: 210 mm by 297 mm; ANSI Y14.1: 8.5 in by 11 in; a point is a 72nd of an inch."""


@pytest.mark.some(1)
@pytest.mark.parametrize("paper", Paper, ids=lambda each: each.value)
def test_a_browser_prints_every_page_on_the_paper_that_was_asked_for(paper: Paper) -> None:
    place = chromium()
    if place is None:
        pytest.skip("no Chromium here (apt-get install chromium)")
    made = shortened()
    read = PdfReader(io.BytesIO(report_pdf(report_page(made, paper=paper), SystemClock(), [place])))
    assert {tuple(round(float(each)) for each in page.mediabox[2:]) for page in read.pages} == {POINTS[paper]}
    texts = [" ".join(page.extract_text().split()) for page in read.pages]
    assert 3 <= len(texts) <= 8
    assert made.title in texts[0]
    assert f"{made.verdict_of}: {made.verdict}" in texts[0]
    assert made.sources[-1].sha256 in texts[0], "the first page holds all that belongs there"
    assert "Segments and seams" not in texts[0]
    assert all(len(text) > 60 for text in texts), "no page is blank"
    assert "margin" in "".join(texts)


@pytest.mark.slow
def test_the_command_of_the_page_writes_a_pdf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What docs/pages/report.md shows, in real time."""
    if chromium() is None:
        pytest.skip("no Chromium here (apt-get install chromium)")
    text = (Path(__file__).parents[3] / "docs" / "pages" / "report.md").read_text(encoding="utf-8")
    (command,) = re.findall(r"^\$ circumstep (report .*\.pdf .*)$", text, re.MULTILINE)
    monkeypatch.chdir(tmp_path)
    assert call(*command.split()).status == 0
    (written,) = tmp_path.glob("*.pdf")
    read = PdfReader(written)
    assert tuple(round(float(each)) for each in read.pages[0].mediabox[2:]) == POINTS[Paper.LETTER]


@pytest.mark.posix("a shell script in place of a browser")
def test_a_browser_that_fails_or_hangs_is_given_up_and_the_next_one_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    bodies = {
        "fails": "exit 3",
        "hangs": "exec sleep 600",
        "half": 'for each; do case $each in --print-to-pdf=*) printf "%%PDF-1.4 half" > "${each#*=}";; esac; done',
        "prints": 'for each; do case $each in --print-to-pdf=*) printf "%%PDF-1.4 %%%%EOF" > "${each#*=}";; esac; done',
    }
    scripts = {}
    for name, body in bodies.items():
        script = tmp_path / name
        script.write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
        script.chmod(0o755)
        scripts[name] = str(script)
    nowhere = str(tmp_path / "nowhere")
    clock = SystemClock()
    assert report_pdf("page", clock, [nowhere, scripts["fails"], scripts["prints"]]).startswith(b"%PDF-1.4")
    for given_up in (scripts["fails"], scripts["half"], nowhere):
        with pytest.raises(InputError, match="no PDF was printed by"):
            report_pdf("page", clock, [given_up])
    with pytest.raises(InputError, match=r"no PDF was printed by .*hangs"):
        report_pdf("page", VirtualClock(), [scripts["hangs"]])


def test_without_a_browser_weasyprint_lays_it_out_and_without_both_the_fix_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = []

    def laid_out(string: str) -> SimpleNamespace:
        asked.append(string)
        return SimpleNamespace(write_pdf=lambda: b"%PDF-laid out")

    monkeypatch.setitem(sys.modules, "weasyprint", SimpleNamespace(HTML=laid_out))
    assert report_pdf("the page", VirtualClock(), []) == b"%PDF-laid out"
    assert asked == ["the page"]
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(InputError, match="nothing is installed here that prints a PDF") as raised:
        report_pdf("the page", VirtualClock(), [])
    assert "pip install weasyprint" in raised.value.remedy
    assert "write a .html" in raised.value.remedy


@pytest.mark.slow
def test_the_real_weasyprint_makes_the_same_pages() -> None:
    pytest.importorskip(
        "weasyprint", reason="no WeasyPrint here (pip install weasyprint)", exc_type=(ImportError, OSError)
    )
    read = PdfReader(io.BytesIO(report_pdf(report_page(shortened(), paper=Paper.A4), VirtualClock(), [])))
    assert {tuple(round(float(each)) for each in page.mediabox[2:]) for page in read.pages} == {POINTS[Paper.A4]}
    assert "The limits: holds" in " ".join(read.pages[0].extract_text().split())


def test_the_command_says_in_one_message_that_nothing_here_prints(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("firmware_host.reporting.report.pdf.installed_browsers", lambda: iter(()))
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    monkeypatch.setattr("firmware_host.cli.see.report._of", lambda *given: shortened())
    file = tmp_path / "r.pdf"
    ended = call("report", "sleeve-label", "--output", str(file))
    assert ended.status == 2
    assert "nothing is installed here that prints a PDF" in ended.err
    assert not file.exists()
    html = call("report", "sleeve-label", "--output", str(tmp_path / "r.html"), "--paper", "letter")
    assert html.status == 0, html.err
    assert "@page { size: letter; }" in (tmp_path / "r.html").read_text("utf-8")
