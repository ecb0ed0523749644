"""`margins`: what is left of every limit, the least first."""

from __future__ import annotations

from typing import Protocol

from matplotlib.figure import Figure

from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import NARROW_MARGIN, LimitCheck, Verdict
from firmware_host.reporting.measures import percent
from firmware_host.reporting.pictures.picture import Named, Picture
from firmware_host.reporting.pictures.style import COPPER, INK, OLIVE, PALE, STEEL, gridded

_LOWEST, _HIGHEST = -1.0, 1.0
"""Longer bars are cut: the number beside them is whole."""
_LOOK = {
    Verdict.HOLDS: (STEEL, ""),
    Verdict.NARROW: (OLIVE, "//"),
    Verdict.ACCEPTED: (PALE, "xx"),
    Verdict.EXCEEDED: (COPPER, ".."),
    Verdict.NOT_KNOWN: (PALE, "--"),
    Verdict.FAILS: (COPPER, ""),
}


class Limited(Named, Protocol):
    """What has limits: a planned job, or a report of limits by itself."""

    @property
    def limits(self) -> LimitReport:
        """All of them."""


class Margins(Picture[Limited]):
    """A bar for each limit: how much of it is left, in percent of the limit; what is below nothing is exceeded."""

    key = "margins"
    title = "What is left of each limit"
    shows = "the margin of every limit, the tightest at the top"
    height = 6.4

    def draw(self, figure: Figure, of: Limited) -> str:
        report = of.limits
        checks = sorted(report.checks, key=lambda check: (check.margin is None, check.margin or 0.0))
        figure.set_size_inches(self.width, 1.4 + 0.21 * len(checks))
        axes = figure.subplots()
        places = range(len(checks))
        shares = [min(max(check.margin, _LOWEST), _HIGHEST) if check.margin is not None else 0.0 for check in checks]
        bars = axes.barh(places, [100 * share for share in shares], height=0.72, edgecolor=INK, linewidth=0.5)
        for bar, check, share in zip(bars, checks, shares, strict=True):
            colour, hatch = _LOOK[check.verdict]
            bar.set(facecolor=colour, hatch=hatch, alpha=0.85)
            axes.text(max(100 * share, 0.0) + 1, bar.get_y() + bar.get_height() / 2, _words(check), va="center", size=8)
        axes.set_yticks(places, [check.name for check in checks])
        axes.invert_yaxis()
        axes.axvline(0, color=INK, linewidth=1.0)
        axes.axvline(100 * NARROW_MARGIN, color=INK, linewidth=0.8, linestyle=":")
        axes.set_xlim(min(0.0, *(105 * share for share in shares)), 130)
        axes.set_xticks([each for each in range(-100, 101, 20) if each >= axes.get_xlim()[0]])
        axes.set_xlabel("left of the limit (%); less than 20 % holds narrowly")
        gridded(axes, along="x")
        tightest = report.tightest
        told = f"; the tightest is {tightest.name}, {_words(tightest)}" if tightest is not None else ""
        return f"{len(checks)} limits, together: {report.verdict.value}{told}."


def _words(check: LimitCheck) -> str:
    """The verdict with the margin; beyond the whole limit as so many times it: nobody says 1283 %."""
    if check.margin is None:
        return check.verdict.value
    if abs(check.margin) > 1:
        return f"{check.verdict.value}, at {1 + abs(check.margin):.3g} times the limit"
    if check.margin < 0:
        return f"{check.verdict.value}, by {percent(-check.margin)}"
    return f"{check.verdict.value}, {percent(check.margin)} left"
