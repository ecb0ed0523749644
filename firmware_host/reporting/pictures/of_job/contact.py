"""`rollers`: the part on its rollers, to scale, with the forces at the contacts while it speeds up."""

from __future__ import annotations

import math

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from firmware_host.mechanics.contact.rollers import contact_forces
from firmware_host.mechanics.contact.trough import DrivenRows, Trough
from firmware_host.reporting.pictures.picture import Picture, Subject
from firmware_host.reporting.pictures.style import COPPER, GRID, INK, OLIVE, PALE, STEEL

_LONGEST = 0.9
"""The longest arrow, over the part's radius."""


class Contact(Picture[Subject]):
    """Seen along the axis: the driven row left, the other right, turning the way in which the driven row grips less."""

    key = "rollers"
    title = "The part on its rollers: forces while it speeds up"
    shows = "how the part lies on its rollers, what presses there, and what drives it"
    height = 4.8

    def missing(self, of: Subject) -> str:
        return "" if of.load.trough is not None else "the machine holds the part in a chuck: it has no rollers"

    def draw(self, figure: Figure, of: Subject) -> str:
        trough = of.load.trough
        if trough is None:
            raise ValueError(self.missing(of))
        acceleration = of.plan.limits.motion.acceleration
        forces = contact_forces(trough, acceleration, of.load.imbalance_torque)
        axes = figure.subplots()
        _bodies(axes, trough)
        normals = (float(forces.normal_driven), float(forces.normal_other))
        tractions = (float(forces.traction_driven), float(forces.traction_other))
        scale = _LONGEST * trough.part_diameter / 2 * 1e3 / max(trough.weight, *map(abs, normals), *map(abs, tractions))
        _arrow(axes, (0.0, 0.0), (0.0, -trough.weight * scale), INK)
        axes.text(0.0, 0.08 * trough.part_diameter * 1e3, f"weight {trough.weight:.3g} N", ha="center")
        for side, name, normal, traction in zip((-1, 1), _names(trough), normals, tractions, strict=True):
            _at_contact(axes, trough, side, name, normal * scale, traction * scale, (normal, traction))
        axes.set_aspect("equal")
        axes.set_axis_off()
        axes.set_xlim(*(side * 1.35 * trough.part_diameter * 1e3 for side in (-1, 1)))
        needed = float(forces.friction_needed)
        has = f"; there is {of.load.friction:.3g}" if of.load.friction is not None else ""
        return (
            f"The part lies on two rows of rollers, each contact {math.degrees(trough.half_angle):.3g} degrees from "
            f"the vertical. The driven row carries {normals[0]:.3g} N and drives with {tractions[0]:.3g} N, the other "
            f"carries {normals[1]:.3g} N. A friction of {needed:.3g} is needed{has}."
        )


def _names(trough: Trough) -> tuple[str, str]:
    return ("driven", "driven, too" if trough.driven is DrivenRows.BOTH else "idle")


def _bodies(axes: Axes, trough: Trough) -> None:
    part, roller = trough.part_diameter / 2 * 1e3, trough.roller_diameter / 2 * 1e3
    axes.add_patch(Circle((0, 0), part, facecolor=PALE, edgecolor=INK, linewidth=1.2))
    for side in (-1, 1):
        x = side * trough.centre_distance / 2 * 1e3
        y = -(part + roller) * math.cos(trough.half_angle)
        driven = side < 0 or trough.driven is DrivenRows.BOTH
        axes.add_patch(Circle((x, y), roller, facecolor=STEEL if driven else GRID, edgecolor=INK, alpha=0.55,
                              hatch="//" if driven else ""))  # fmt: skip
    axes.set_ylim(-1.05 * (part + 2 * roller), 1.1 * part)


def _at_contact(
    axes: Axes, trough: Trough, side: int, name: str, normal: float, traction: float, newtons: tuple[float, float]
) -> None:
    """The forces on the part at one contact: the normal towards its middle, the traction along its surface."""
    part, beta = trough.part_diameter / 2 * 1e3, trough.half_angle
    at = (side * part * math.sin(beta), -part * math.cos(beta))
    _arrow(axes, at, (-side * math.sin(beta) * normal, math.cos(beta) * normal), OLIVE)
    _arrow(axes, at, (math.cos(beta) * traction, side * math.sin(beta) * traction), COPPER)
    words = f"{name} row\npresses {newtons[0]:.3g} N\n{_drives(newtons[1])}"
    axes.annotate(words, xy=at, xytext=(side * 1.9 * part, -0.6 * part), ha="center", va="center", size=9,
                  arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.6})  # fmt: skip


def _drives(traction: float) -> str:
    return f"drives with {traction:.3g} N" if traction >= 0 else f"drags with {-traction:.3g} N"


def _arrow(axes: Axes, at: tuple[float, float], reach: tuple[float, float], colour: str) -> None:
    tip = (at[0] + reach[0], at[1] + reach[1])
    axes.annotate("", xy=tip, xytext=at, arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 1.8})
