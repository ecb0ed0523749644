"""`preview` and `wrong-numbers`: the mark as it will look, and what each wrong number makes of it."""

from __future__ import annotations

import math

from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure

from firmware_host.planning.preview.exposure import ACROSS, Exposure, exposure_of
from firmware_host.planning.preview.near import near_by, shows_at_closing_seam
from firmware_host.planning.preview.wrong import AS_PLANNED, Wrong, wrong_numbers
from firmware_host.reporting.pictures.picture import Picture, Subject
from firmware_host.reporting.pictures.style import COPPER

_LOOK = LinearSegmentedColormap.from_list("marked", [(0.0, "#efeae0"), (0.5, "#5d6a74"), (1.0, "#120c08")])
"""Blank, marked once, marked twice: each darker, so that it needs no colour."""
_POINTS = 1400
_OF_A_PANEL = 720
"""Points across: a little more than such a picture has where it is drawn."""


class Preview(Picture[Subject]):
    """The whole surface unrolled, and the seams near by that show most; with one thing wrong if that is asked for."""

    key = "preview"
    title = "The mark as it will look"
    shows = "the surface as it will be marked, with a test pattern: seams, fading and all"
    height = 5.2

    def __init__(self, wrong: Wrong = AS_PLANNED) -> None:
        self.wrong = wrong

    def draw(self, figure: Figure, of: Subject) -> str:
        whole = exposure_of(of.setup, of.plan, self.wrong, points=ACROSS)
        near = near_by(of.setup, of.plan, self.wrong, _POINTS)
        above, below = figure.subplots(2, 1)
        _image(above, whole)
        above.set_title(f"once around, {self.wrong.words}")
        _image(below, near)
        closing = shows_at_closing_seam(of.setup, of.plan, self.wrong)
        below.set_title("the closing seam, near by" if closing else "the first seams, near by")
        for axes in (above, below):
            axes.set_ylabel("along the axis (mm)")
        below.set_xlabel("along the surface, from where the mark begins (mm)")
        return f"A test pattern, {self.wrong.words}. {self.wrong.look}{_doubled(whole)}"


class WrongNumbers(Picture[Subject]):
    """As planned, and beside it each thing that may be wrong, on the first segments, or where it shows."""

    key = "wrong-numbers"
    title = "What each wrong number looks like"
    shows = "the seams as planned, and with each thing that may be wrong, to compare with a mark"

    def draw(self, figure: Figure, of: Subject) -> str:
        cases = (AS_PLANNED, *wrong_numbers(of.setup))
        figure.set_size_inches(self.width, 1.0 + 1.55 * math.ceil(len(cases) / 2))
        panels = figure.subplots(math.ceil(len(cases) / 2), 2).ravel().tolist()
        for axes, wrong in zip(panels, cases, strict=False):
            _image(axes, near_by(of.setup, of.plan, wrong, _OF_A_PANEL))
            closing = shows_at_closing_seam(of.setup, of.plan, wrong)
            axes.set_title(f"{wrong.words}: the closing seam" if closing else wrong.words, size=8)
            axes.set_axis_off()
        for axes in panels[len(cases) :]:
            axes.set_axis_off()
        return " ".join(f"{each.words[:1].upper()}{each.words[1:]}: {each.look}" for each in cases)


def _image(axes: Axes, exposure: Exposure) -> None:
    rows, columns = exposure.darkness.shape
    high, wide = rows * exposure.step * 1e3, columns * exposure.step * 1e3
    left = exposure.left * 1e3
    axes.imshow(
        exposure.darkness,
        cmap=_LOOK,
        vmin=0.0,
        vmax=2.0,
        extent=(left, left + wide, -high / 2, high / 2),
        origin="lower",
        interpolation="antialiased",
        aspect="auto",
    )
    around = 2 * math.pi * exposure.radius * 1e3
    centres = left + (exposure.centres * 1e3 - left) % around  # a strip beyond once around comes again at the left
    centres = centres[centres < left + wide]
    axes.plot(
        centres, [high / 2] * centres.size, color=COPPER, marker="v", linestyle="none", markersize=4, clip_on=False
    )


def _doubled(whole: Exposure) -> str:
    twice = float((whole.count > 1).sum()) * whole.step**2 * 1e6
    return f" {twice:.3g} mm² lie under two strips." if twice > 0 else ""
