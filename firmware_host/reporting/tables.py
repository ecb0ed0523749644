"""Plans as tables for a terminal (rich renderables); a plain text stream shows them as plain text."""

from __future__ import annotations

import math
from collections.abc import Mapping

from rich.markup import escape
from rich.table import Table

from firmware_host.planning.layout.seams import Seams
from firmware_host.planning.limits.report import LimitCheck, LimitReport, Verdict
from firmware_host.planning.plan import Layout
from firmware_host.reporting.index_lines import index_lines
from firmware_host.reporting.table_parts import add_rows, number, percent, plain_table, verdict_text
from firmware_host.station.journal.record import PassRecord, RunRecord


def segment_table(plan: Layout) -> Table:
    """Where each segment lies, its microstep, and the seam behind it."""
    segments, seams = plan.segments, plan.seams
    table = plain_table(
        "Segments", "segment", "from deg", "centre deg", "to deg", "arc mm", "microstep", "seam after it mm"
    )
    centres, widths, arcs = segments.centres_deg(), segments.widths_deg(), segments.arcs()
    targets = plan.route.segment_targets()
    gaps = [f"{gap * 1e3:+.4f} ± {sure * 1e3:.4f}" for gap, sure in zip(seams.gap, seams.uncertainty, strict=True)]
    gaps += ["-"] * (segments.count - len(gaps))
    if seams.closing:
        gaps[-1] += " closing"
    rows = (
        (str(i + 1), f"{c - w / 2:.3f}", f"{c:.3f}", f"{c + w / 2:.3f}", f"{a * 1e3:.3f}", str(t), g)
        for i, (c, w, a, t, g) in enumerate(
            zip(centres.tolist(), widths.tolist(), arcs.tolist(), targets.tolist(), gaps, strict=True)
        )
    )
    add_rows(table, rows, segments.count)
    return table


def seam_lines(seams: Seams) -> list[str]:
    """The seam budget in words: what it is made of, whether seams may show, and which way a wrong diameter shows."""
    lines = [f"  {name}: {value * 1e3:.4f} mm" for name, value in seams.terms.items()]
    head = ["Seam budget, worst case, along the surface (+ is a gap, - an overlap):", *lines]
    if seams.tolerance is None:
        head.append("Give window.spot_diameter to learn whether a seam will show.")
    else:
        showing = int(seams.showing().sum())
        words = f"{showing} of {seams.gap.size} seams may show" if showing else "no seam should show"
        head.append(f"A seam shows from {seams.tolerance * 1e3:.3f} mm (half the spot; common practice): {words}.")
    return [*head, *seams.warnings]


def limit_table(report: LimitReport) -> Table:
    """Every limit with its value, margin and verdict."""
    table = plain_table(
        "Limits", "check", "value", "limit", "unit", "margin", "verdict", left=frozenset({"check", "unit", "verdict"})
    )
    for check in report.checks:
        margin, verdict = percent(check.margin), verdict_text(check.verdict)
        table.add_row(escape(check.name), number(check.value), number(check.limit), check.unit, margin, verdict)
    return table


def limit_lines(report: LimitReport) -> list[str]:
    """What the limits amount to: the motion they allow, each limit's formula and source, and what would help."""
    motion = report.motion
    lines = [
        f"Verdict: {report.verdict.value}. Motion of the part: {math.degrees(motion.acceleration):.4g} deg/s^2, "
        f"{math.degrees(motion.speed):.4g} deg/s; bound by {', '.join(motion.binding) or 'nothing'}.",
    ]
    lines += [f"  {_story(check)}" for check in report.checks if check.verdict is not Verdict.HOLDS]
    lines += [f"  {check.name}: {_basis(check)}" for check in report.checks if check.verdict is Verdict.HOLDS]
    if report.advice is not None:
        lines += index_lines(report.advice)
    lines.append("An estimate from the data given: prove it on the machine, first without the laser.")
    return lines


def _story(check: LimitCheck) -> str:
    return f"{check.name} {check.verdict.value}: {_basis(check)}. {check.remedy}"


def _basis(check: LimitCheck) -> str:
    return f"{check.formula} [{check.source}]"


def run_table(record: RunRecord, counters: Mapping[int, int] | None = None) -> Table:
    """One row per pass: planned and reported position, and a step counter's own reading by segment if there is one."""
    extra = ("step counter", "error") if counters is not None else ()
    table = plain_table("Passes", "segment", "pass", "planned", "reported", *extra, "gate", left=frozenset({"gate"}))
    rows = (
        (
            str(entry.segment),
            str(entry.number),
            str(entry.planned_microstep),
            "-" if entry.reported_microstep is None else f"{entry.reported_microstep:.2f}",
            *_counted(entry, counters),
            entry.status,
        )
        for entry in record.passes
    )
    add_rows(table, rows, len(record.passes))
    return table


def _counted(entry: PassRecord, counters: Mapping[int, int] | None) -> tuple[str, ...]:
    if counters is None:
        return ()
    count = counters.get(entry.segment)
    return ("-", "-") if count is None else (str(count), f"{count - entry.planned_microstep:+d}")
