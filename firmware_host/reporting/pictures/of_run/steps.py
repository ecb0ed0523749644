"""`steps`: where the board said that it stood at each standstill, beside where it was to be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from firmware_host.mechanics.guard import FloatArray
from firmware_host.reporting.measures import counted
from firmware_host.reporting.pictures.of_run.subject import nothing_stood
from firmware_host.reporting.pictures.picture import Named, Picture
from firmware_host.reporting.pictures.style import COPPER, INK, OLIVE, STEEL, gridded, legend_below, numbered
from firmware_host.station.journal.record import RunRecord

_HALF = 0.5
"""Microsteps by which a standstill may be reported off its place: the run itself proves that."""


class Standing(Protocol):
    """A standstill at a segment: where it was to be, and what the board reported, in microsteps from the job's zero."""

    @property
    def segment(self) -> int:
        """From 1."""

    @property
    def target(self) -> int:
        """As planned."""

    @property
    def reported(self) -> float:
        """To be compared with it."""


class Stood(Named, Protocol):
    """What stood at segments: a run, or its record by itself."""

    @property
    def record(self) -> RunRecord:
        """What became of its passes."""

    @property
    def stands(self) -> Sequence[Standing]:
        """In the order in which it stood there."""


class Steps(Picture[Stood]):
    """Above the step counter from the job's zero, below how far it is from the plan."""

    key = "steps"
    title = "Step counter at each standstill"
    shows = "where the axis stood each time, and how many microsteps that is from where it was to stand"

    def missing(self, of: Stood) -> str:
        return nothing_stood(of.stands)

    def draw(self, figure: Figure, of: Stood) -> str:
        place, error = figure.subplots(2, 1, sharex=True, height_ratios=(1.3, 1))
        order = np.arange(1.0, len(of.stands) + 1)
        planned = np.array([float(each.target) for each in of.stands])
        reported = np.array([each.reported for each in of.stands])
        place.plot(order, planned, color=STEEL, linestyle="none", marker="s", markersize=7, fillstyle="none",
                   label="planned")  # fmt: skip
        place.plot(order, reported, color=INK, linestyle="none", marker=".", markersize=6, label="reported")
        place.set_ylabel("from the job's zero\n(microsteps)")
        off = reported - planned
        _off(error, order, off)
        numbered(error, [each.segment for each in of.stands])
        for axes in (place, error):
            gridded(axes)
        figure.align_ylabels()
        legend_below(figure, place, error)
        return _told(of, off)


def _off(axes: Axes, order: FloatArray, off: FloatArray) -> None:
    axes.axhspan(-_HALF, _HALF, color=OLIVE, alpha=0.2, label="half a microstep")
    axes.axhline(0, color=INK, linewidth=0.8)
    axes.plot(order, off, color=INK, linestyle="none", marker=".", markersize=6)
    astray = np.abs(off) > _HALF
    if astray.any():
        axes.plot(order[astray], off[astray], color=COPPER, linestyle="none", marker="x", markersize=9,
                  markeredgewidth=2.0, label="off its place")  # fmt: skip
    most = max(_HALF, float(np.abs(off).max()))
    axes.set_ylim(-1.3 * most, 1.3 * most)
    axes.set_ylabel("reported - planned\n(microsteps)")


def _told(of: Stood, off: FloatArray) -> str:
    count, astray = off.size, int((np.abs(off) > _HALF).sum())
    most = max(float(np.abs(off).max()), 0.005)
    stood = f"{counted(count, 'standstill')}, each within {most:.2f} of a microstep of its place."
    if astray:
        stood = f"{astray} of {count} standstills more than half a microstep off, at most {most:.2f} microsteps."
    if of.record.reports == "planned":
        return f"{stood} The board reports planned places: this does not show that the motor stood there."
    return f"{stood} They are the steps that the board counted: it does not see a step that the motor lost."
