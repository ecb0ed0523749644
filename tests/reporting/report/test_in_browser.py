"""The report in a browser: nothing that keeps somebody from reading it, nothing asked for, as wide as its screen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from firmware_host.reporting.report.page import report_page
from tests.reporting.report.test_page import report
from tests.support.browser import DESK, PHONE, Scheme, look, opened_page, serious_findings, wider_than_screen

_LOOKS: tuple[tuple[tuple[int, int], Scheme], ...] = ((PHONE, "dark"), (DESK, "light"))
_ROWS_ALIKE = "tbody tr:nth-child(n+4)"


def test_it_reads_well_asks_for_nothing_and_fits_its_screen(browser: Any, tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    file.write_text(report_page(report("bottle-band")), encoding="utf-8")
    with opened_page(browser) as seen:
        seen.page.goto(file.as_uri())
        for size, scheme in _LOOKS:
            look(seen.page, size, scheme)
            assert serious_findings(seen.page, beside=_ROWS_ALIKE) == [], (size, scheme)
            assert wider_than_screen(seen.page) == 0, (size, scheme)
        assert seen.asked_beyond(file.as_uri()) == []
        assert seen.errors == []
