"""`budget`: what the motor's torque goes into, and whose inertia it feels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from firmware_host.planning.load.case import LoadCase
from firmware_host.reporting.measures import percent
from firmware_host.reporting.pictures.picture import Picture, Subject
from firmware_host.reporting.pictures.style import COPPER, GRID, INK, OLIVE, PALE, STEEL, gridded

_LOOKS = ((STEEL, ""), (COPPER, "//"), (OLIVE, ".."), (PALE, "xx"), (GRID, "\\\\"), (INK, ""))


class Budget(Picture[Subject]):
    """One bar for the torque at the motor while it speeds up, one for the inertia there."""

    key = "budget"
    title = "Where torque and inertia go"
    shows = "what takes the motor's torque while the part speeds up, and which turning body weighs most"
    height = 3.9

    def draw(self, figure: Figure, of: Subject) -> str:
        torque, inertia = figure.subplots(2, 1)
        parts = torque_parts(of.load, of.plan.limits.motion.acceleration)
        bodies = [("rotor", of.load.rotor_inertia), *((item.name, item.reflected) for item in of.load.items)]
        _bar(torque, parts, 1.0, "torque at the motor (N·m)")
        _bar(inertia, bodies, 1e7, "inertia as the motor feels it (g·cm²)")
        figure.align_ylabels()
        return f"Torque: {_told(parts)}. Inertia: {_told(bodies)}."


def torque_parts(load: LoadCase, acceleration: float) -> list[tuple[str, float]]:
    """(name, N m at the motor) of what speeding up takes; the sum is what the limit `torque-accelerating` counts.

    Each is what the whole grows by when it is added to those before it.
    """
    bare = replace(load, friction_torque=0.0, imbalance_torque=0.0)
    rotor = replace(bare, load_inertia=0.0)
    growing = (
        ("the rotor and the gearing", rotor, acceleration),
        ("the part and its drive", bare, acceleration),
        ("friction", replace(bare, friction_torque=load.friction_torque), acceleration),
        ("imbalance", load, acceleration),
    )
    parts, before = [], 0.0
    for name, case, turned in growing:
        whole = float(case.torque(turned).accelerating)
        parts.append((name, whole - before))
        before = whole
    return parts


def _bar(axes: Axes, parts: Sequence[tuple[str, float]], factor: float, label: str) -> None:
    start = 0.0
    for (name, value), (colour, hatch) in zip(parts, _LOOKS * (1 + len(parts) // len(_LOOKS)), strict=False):
        if value > 0:
            axes.barh(
                0, value * factor, left=start, color=colour, hatch=hatch, edgecolor=INK, linewidth=0.5, label=name
            )
            start += value * factor
    axes.set_yticks([])
    axes.set_xlim(0, start * 1.02 if start > 0 else 1.0)
    axes.set_xlabel(label)
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3)
    gridded(axes, along="x")


def _told(parts: Sequence[tuple[str, float]]) -> str:
    whole = sum(value for _, value in parts) or 1.0
    return ", ".join(f"{name} {percent(value / whole)}" for name, value in sorted(parts, key=lambda part: -part[1]))
