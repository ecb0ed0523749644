"""`torque`: the motor's torque against speed, what an index needs of it, and the speeds to keep out of."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from firmware_host.mechanics.train.vibration import resonant_step_rates
from firmware_host.planning.load.case import LoadCase
from firmware_host.reporting.pictures.picture import Picture, Subject
from firmware_host.reporting.pictures.style import COPPER, INK, OLIVE, PALE, STEEL, gridded, legend_below

_POINTS = 401
_BEYOND = 1.8


class TorqueSpeed(Picture[Subject]):
    """Torques at the motor, N m, against its speed."""

    key = "torque"
    title = "Torque against speed"
    shows = "how much torque the motor has left at the speed of an index, and which speeds excite a swing"

    def draw(self, figure: Figure, of: Subject) -> str:
        load, motion = of.load, of.plan.limits.motion
        fastest = max(motion.speed * _BEYOND, motion.speed + 1e-9)
        axes = figure.subplots()
        speeds = np.linspace(0.0, fastest, _POINTS)
        pull_out = load.pull_out(speeds)
        to_motor = load.ratio * 60 / (2 * math.pi)
        rpm = speeds * to_motor
        axes.plot(rpm, pull_out, color=INK, label="pull-out torque of the motor")
        axes.plot(rpm, pull_out / load.safety_factor, color=OLIVE, linestyle="--",
                  label=f"over the safety factor {load.safety_factor:g}")  # fmt: skip
        _bands(axes, load, fastest * to_motor)
        up = float(load.torque(motion.acceleration).accelerating)
        down = float(load.torque(motion.acceleration).braking)
        steady = float(load.torque(0.0).accelerating)
        peak = motion.speed * to_motor
        axes.plot([0, peak, peak, 0], [up, up, steady, steady], color=COPPER, marker="o", markersize=3.5,
                  label="needed: speeding up, then at speed")  # fmt: skip
        axes.plot([peak, 0], [down, down], color=COPPER, linestyle=":", label="needed: braking")
        axes.set_ylim(0, 1.1 * float(pull_out.max()))
        axes.set_xlim(0, float(rpm[-1]))
        axes.set_xlabel("speed of the motor (rev/min)")
        axes.set_ylabel("torque at the motor (N·m)")
        _of_the_part(axes, load.ratio)
        legend_below(figure, axes, columns=3)
        gridded(axes)
        least = load.lowest_pull_out(motion.speed)
        return (
            f"Speeding up takes {up:.3g} N·m at the motor, up to {peak:.4g} rev/min; there and below it gives at least "
            f"{least:.3g} N·m, {least / load.safety_factor:.3g} N·m with the safety factor {load.safety_factor:g}."
        )


def _of_the_part(axes: Axes, ratio: float) -> None:
    """A second scale above: the same speeds as those of the part."""
    above = axes.twiny()
    above.set_xlim(*(limit * 6 / ratio for limit in axes.get_xlim()))
    above.set_xlabel("speed of the part (deg/s)")
    above.spines["top"].set_visible(True)


def _bands(axes: Axes, load: LoadCase, fastest_rpm: float) -> None:
    """The speeds that make rotor and load swing, and those where a motor may hunt."""
    per_rate = 60 / load.full_steps
    zeta = load.damping.middle
    low = resonant_step_rates(load.natural_band.lowest, zeta)[:, 0]
    high = resonant_step_rates(load.natural_band.highest, zeta)[:, 1]
    words = "excites the natural swing"
    for first, last in zip((low * per_rate).tolist(), (high * per_rate).tolist(), strict=True):
        if first < fastest_rpm:
            axes.axvspan(first, min(last, fastest_rpm), facecolor=PALE, edgecolor=STEEL, hatch="//", alpha=0.6,
                         linewidth=0, label=words)  # fmt: skip
            words = "_again"
    first, last = (rate * per_rate for rate in load.mid_range)
    if first < fastest_rpm:
        axes.axvspan(first, min(last, fastest_rpm), facecolor=PALE, edgecolor=INK, hatch="..", alpha=0.35, linewidth=0,
                     label="the motor may hunt")  # fmt: skip
