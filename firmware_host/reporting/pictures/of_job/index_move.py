"""`index`: speed, acceleration, what swings on, and when the gate may open, against time."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.swing_in_time import commanded_speed, lag_in_time
from firmware_host.planning.route.moves import Purpose, Route
from firmware_host.planning.route.velocity import IndexMotion, plan_index
from firmware_host.reporting.measures import number
from firmware_host.reporting.pictures.picture import Picture, Subject
from firmware_host.reporting.pictures.style import COPPER, INK, OLIVE, STEEL, gridded, legend_below

_POINTS = 2001
_AFTER = 0.35
"""How much of the move and its settling is shown of the time in which the gate is open."""


class IndexMove(Picture[Subject]):
    """The longest move to a segment, as planned, and how far part and rotor swing behind it."""

    key = "index"
    title = "The index move in time"
    shows = "speed and acceleration of a move, how it swings on, and when the gate opens"

    def draw(self, figure: Figure, of: Subject) -> str:
        plan = of.plan
        motion = plan.limits.motion
        longest = float(_to_segments(plan.route).max()) * 2 * math.pi
        move = plan_index(longest, motion.acceleration, motion.speed)
        ends = float(move.duration)
        opens = ends + plan.settle_s
        times = np.linspace(0.0, opens * (1 + _AFTER), _POINTS)
        speed, swing = figure.subplots(2, 1, sharex=True)
        _speed(speed, times, move)
        most = _swing(swing, times, move, of)
        for axes in (speed, swing):
            axes.axvspan(opens * 1e3, times[-1] * 1e3, color=OLIVE, alpha=0.25)
            axes.axvline(ends * 1e3, color=INK, linestyle=":", linewidth=1.0)
            gridded(axes)
        speed.text(opens * 1e3, speed.get_ylim()[1] * 0.92, " gate may open", va="top", color=INK)
        swing.set_xlabel("time from the start of the move (ms)")
        figure.align_ylabels()
        legend_below(figure, swing)
        peak, ramp = (number(math.degrees(each), 4) for each in (float(move.peak_speed), motion.acceleration))
        return (
            f"A move of {math.degrees(longest):.4g} degrees takes {ends:.3g} s: it speeds up with {ramp} degrees/s² "
            f"to {peak} degrees/s and brakes the same way. Part and rotor swing behind it by up to {most:.2g} "
            f"microsteps; after {plan.settle_s:.3g} s of settling the gate may open."
        )


def _to_segments(route: Route) -> FloatArray:
    """The lengths (turns) of the moves from segment to segment; of all moves where there are no such."""
    indexes = route.index_turns[route.purpose == Purpose.INDEX]
    return indexes if indexes.size else route.index_turns


def _speed(axes: Axes, times: FloatArray, move: IndexMotion) -> None:
    speed = commanded_speed(times, float(move.acceleration), float(move.ramp_time), float(move.cruise_time))
    axes.plot(times * 1e3, np.degrees(speed), color=STEEL)
    axes.fill_between(times * 1e3, np.degrees(speed), color=STEEL, alpha=0.15)
    axes.set_ylabel("part (deg/s)")
    axes.set_ylim(0, 1.2 * math.degrees(float(move.peak_speed)))
    axes.set_title(f"acceleration {number(math.degrees(float(move.acceleration)), 4)} deg/s²")


def _swing(axes: Axes, times: FloatArray, move: IndexMotion, of: Subject) -> float:
    """Draw how far the part lags (microsteps) with the least damping at both ends of the natural frequency's range."""
    load = of.load
    per_radian = float(of.plan.route.per_part_turn) / (2 * math.pi)
    ramp = (float(move.acceleration), float(move.ramp_time), float(move.cruise_time))
    most = 0.0
    ends = (("lowest", load.natural_band.lowest, "-"), ("highest", load.natural_band.highest, "--"))
    for words, natural, line in ends:
        lag = lag_in_time(times, *ramp, natural, load.damping.lowest) * per_radian
        label = f"{words} frequency, {natural / (2 * math.pi):.3g} Hz"
        axes.plot(times * 1e3, lag, color=COPPER, linestyle=line, linewidth=1.1, label=label)
        most = max(most, float(np.abs(lag).max()))
    axes.axhspan(-0.5, 0.5, color=OLIVE, alpha=0.25, label="half a microstep")
    axes.set_ylabel("lag (microsteps)")
    return most
