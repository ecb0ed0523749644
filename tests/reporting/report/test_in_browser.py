"""The report in a browser: nothing that keeps somebody from reading it, nothing asked for, as wide as its screen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from firmware_host.reporting.pictures.drawn import drawn
from firmware_host.reporting.pictures.picture import Subject
from firmware_host.reporting.pictures.registry import PICTURES
from firmware_host.reporting.plans.limits import limits_document
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.report.page import report_page
from firmware_host.reporting.report.report import Chapter, Report, sources_of
from tests.reporting.report.test_page import MADE
from tests.reporting.shown import shipped
from tests.support.browser import DESK, PHONE, Scheme, look, opened_page, serious_findings, wider_than_screen

_LOOKS: tuple[tuple[tuple[int, int], Scheme], ...] = ((PHONE, "dark"), (DESK, "light"))
_ROWS_ALIKE = "tbody tr:nth-child(n+4)"


def shortened() -> Report:
    """A report of every kind of block, with one picture: what a browser makes of it takes long enough."""
    setup, plan = shipped("bottle-band")
    picture = drawn(PICTURES[0], Subject.of(setup, plan))
    chapters = (
        Chapter("Pictures", pictures=(picture,)),
        Chapter("Segments and seams", segments_document(plan.layout)),
        Chapter("Limits", limits_document(plan.limits)),
    )
    sources = sources_of((setup.job_source, setup.machine_source))
    return Report(
        title=setup.job.name,
        asked=("What was asked.",),
        answer=("It holds.",),
        verdict_of="The limits",
        verdict="holds",
        binds=("What binds.",),
        reliability=("How reliable it is.",),
        chapters=chapters,
        sources=sources,
        made=MADE,
    )


def test_it_reads_well_asks_for_nothing_and_fits_its_screen(browser: Any, tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    file.write_text(report_page(shortened()), encoding="utf-8")
    with opened_page(browser) as seen:
        seen.page.goto(file.as_uri())
        for size, scheme in _LOOKS:
            look(seen.page, size, scheme)
            assert serious_findings(seen.page, beside=_ROWS_ALIKE) == [], (size, scheme)
            assert wider_than_screen(seen.page) == 0, (size, scheme)
        assert seen.asked_beyond(file.as_uri()) == []
        assert seen.errors == []
