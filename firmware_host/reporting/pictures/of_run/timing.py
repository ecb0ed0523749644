"""`timing`: what each index took, beside the plan, and where the time of the run went."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from firmware_host.reporting.measures import counted
from firmware_host.reporting.pictures.of_run.subject import RunSubject, nothing_stood
from firmware_host.reporting.pictures.picture import Picture
from firmware_host.reporting.pictures.style import COPPER, INK, OLIVE, STEEL, gridded, legend_below, numbered
from firmware_host.reporting.render.duration import duration_text
from firmware_host.station.runs.pass_times import fixed_pass_s

_LOOKS = (("turning", STEEL, ""), ("settling", OLIVE, "//"), ("gate open", COPPER, ".."))
_MOST_BARS = 2000
"""More bars than these are drawn as points of an image: a drawing of lines would be too large a file."""

Bar = tuple[float, float]
"""When it begins and how long it lasts, s."""


class Spent(NamedTuple):
    """The bars of one row: turning, settling, gate open."""

    turning: list[Bar]
    settling: list[Bar]
    marking: list[Bar]


class Timing(Picture[RunSubject]):
    """Above the run as it went and as it was planned, below each index."""

    key = "timing"
    title = "The run in time, planned and measured"
    shows = "where the time of the run went, and what each index took beside the plan"
    height = 5.0

    def missing(self, of: RunSubject) -> str:
        return nothing_stood(of.stands)

    def draw(self, figure: Figure, of: RunSubject) -> str:
        rows, indexes = figure.subplots(2, 1, height_ratios=(1, 1.7))
        measured = as_measured(of)
        planned = as_planned(of, measured)
        _rows(rows, measured, planned)
        _indexes(indexes, of)
        handles = [Patch(facecolor=colour, hatch=hatch, edgecolor=INK, linewidth=0.5, label=word)
                   for word, colour, hatch in _LOOKS]  # fmt: skip
        rows.legend(handles=handles, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3)
        legend_below(figure, indexes)
        return _told(of, measured)


def as_measured(of: RunSubject) -> Spent:
    """What the journal tells, in seconds since the run began."""
    began = of.began_s()
    spent = Spent([], [], [])
    for stand in of.stands:
        shift = began[stand.session] - of.sessions[stand.session].start_s
        if stand.set_off_s is not None:
            spent.turning.append((stand.set_off_s + shift, stand.stood_s - stand.set_off_s))
        if stand.openings:
            spent.settling.append((stand.stood_s + shift, stand.openings[0].opened_s - stand.stood_s))
        for opening in stand.openings:
            if opening.closed_s is not None:
                spent.marking.append((opening.opened_s + shift, opening.closed_s - opening.opened_s))
    return spent


def as_planned(of: RunSubject, measured: Spent) -> Spent:
    """The same standstills one behind the other as planned, from when the first was set off to.

    A pass takes what the job's gate fixes, else as long as it took. Of a way that nobody knows the time is as it was.
    """
    fixed_s = fixed_pass_s(of.setup.job)
    spent = Spent([], [], [])
    at = measured.turning[0][0] if measured.turning else 0.0
    for stand in of.stands:
        turning_s = of.planned_turning_s(stand)
        if turning_s is None:
            turning_s = 0.0 if stand.set_off_s is None else stand.stood_s - stand.set_off_s
        for bars, lasts in ((spent.turning, turning_s), (spent.settling, of.plan.settle_s)):
            bars.append((at, lasts))
            at += lasts
        for opening in stand.openings:
            if opening.closed_s is not None:
                lasts = fixed_s if fixed_s is not None else opening.closed_s - opening.opened_s
                spent.marking.append((at, lasts))
                at += lasts
    return spent


def _rows(axes: Axes, measured: Spent, planned: Spent) -> None:
    for height, spent in ((1.0, planned), (0.0, measured)):
        for (_, colour, hatch), bars in zip(_LOOKS, spent, strict=True):
            axes.broken_barh(bars, (height - 0.38, 0.76), facecolor=colour, hatch=hatch, edgecolor=INK, linewidth=0.3,
                             alpha=0.85, rasterized=len(bars) > _MOST_BARS)  # fmt: skip
    axes.set_yticks([0, 1], ["measured", "planned"])
    axes.set_ylim(-0.6, 1.6)
    axes.set_xlim(left=0)
    axes.set_xlabel("time since the run began (s)")
    gridded(axes, along="x")


def _indexes(axes: Axes, of: RunSubject) -> None:
    planned = [of.planned_index_s(each) for each in of.stands]
    measured = [each.index_s for each in of.stands]
    for values, look in ((planned, {"marker": "s", "markersize": 7, "fillstyle": "none", "color": STEEL}),
                         (measured, {"marker": ".", "markersize": 6, "color": INK})):  # fmt: skip
        order = [number for number, value in enumerate(values, 1) if value is not None]
        known = [value for value in values if value is not None]
        label = "planned" if values is planned else "measured"
        axes.plot(order, known, linestyle="none", label=label, **look)  # type: ignore[arg-type]
    axes.set_ylim(bottom=0)
    axes.set_ylabel("turning and settling (s)")
    numbered(axes, [each.segment for each in of.stands])
    gridded(axes)


def _told(of: RunSubject, measured: Spent) -> str:
    pairs = of.index_pairs()
    spent = ", ".join(f"{word} {_text(_sum(bars))}" for (word, _, _), bars in zip(_LOOKS, measured, strict=True))
    told = f"{counted(len(of.stands), 'standstill')}; {spent}."
    if not pairs:
        return f"{told} No index can be compared with the plan."
    later = np.array([took - plan for _, plan, took in pairs])
    longest = pairs[int(np.argmax(later))][0]
    took, planned = _range([took for _, _, took in pairs]), _range([plan for _, plan, _ in pairs])
    return (
        f"{told} From setting off until the gate opened an index took {took}; planned: {planned}. That is "
        f"{_more(float(np.median(later)))} at the median, {_more(float(later.max()))} at segment {longest.segment}: "
        "the controller's answers and the line are in it."
    )


def _sum(bars: Sequence[Bar]) -> float:
    return sum(lasts for _, lasts in bars)


def _text(seconds: float) -> str:
    return f"{seconds:.3g} s" if seconds < 100 else duration_text(seconds)


def _range(values: Sequence[float]) -> str:
    low, high = f"{min(values):.3g}", f"{max(values):.3g}"
    return f"{low} s" if low == high else f"{low} to {high} s"


def _more(seconds: float) -> str:
    return f"{abs(seconds):.2g} s {'more' if seconds >= 0 else 'less'}"
