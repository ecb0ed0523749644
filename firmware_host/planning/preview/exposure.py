"""The surface of a part as it will be marked, point by point: how often, how dark.

Seen along the axis, the lens straight above it. A point of the part at the angle a (from where the mark begins, true)
stands, while segment k is marked with the part turned by t, at x = R sin(a - t) + e sin(g - t) across and as high as
R cos(a - t) + e cos(g - t): R the true radius, e the run-out at the angle g. A ray that leans outwards meets it where
it was drawn at x/(1 + d/F) in the focal plane, d below that, F the lens's focal length. What the marking side draws
there belongs to the artwork at r asin(x/r) around, r the radius entered, so that it lands in its place where all is
right; or at x around, where it is said to draw flat. The surface is as dark as anywhere up to the window's edge, and
fades by what light is lost beyond it as the beam widens; that a slant spreads the light is left to
`window.incidence_limit`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import InputError
from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.optics.beam import rayleigh_length, window_half_depth
from firmware_host.mechanics.optics.exposure import relative_fluence
from firmware_host.model import Setup
from firmware_host.model.job.window import Window
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.preview.pattern import inked
from firmware_host.planning.preview.wrong import AS_PLANNED, Wrong, segments_of
from firmware_host.planning.steps import round_half_even

USUAL_GROWTH = 1.1
"""Of the spot at the edge of a window that is stated without its beam, as `window.beam.spot_growth`: from memory."""
ACROSS = 2400
"""Points around the part."""
_FEWEST = 16
_BESIDE = 1.1
"""Width of the raster along the axis, over that of the mark."""
_FADED = 2.0
"""So many half-depths off focus nothing is seen any more: common practice, no source."""


@dataclass(frozen=True, eq=False)
class Exposure:
    """The surface unrolled: `step` m from point to point, both ways; its left edge `left` m from the mark's beginning.

    `count` (ny, nx), along and around: how many strips as drawn cover a point. `darkness` (ny, nx): 0 blank, 1 as dark
    as in the window, the sum where it was marked twice; the spot's own width is in that. `centres` (n,): where each
    strip's middle lies, m from the mark's beginning, in the order in which they are marked. `radius`: the true one, m.
    """

    step: float
    count: NDArray[np.uint8]
    darkness: NDArray[np.float32]
    centres: FloatArray
    radius: float
    left: float


def exposure_of(
    setup: Setup,
    plan: JobPlan,
    wrong: Wrong = AS_PLANNED,
    *,
    points: int = ACROSS,
    span: float | None = None,
    left: float = 0.0,
) -> Exposure:
    """What the mark of a job looks like with one thing `wrong`: `points` around, over `span` (m) or once around.

    `left`: where that begins, m from the mark's beginning, to a point; below 0 it is what lies before it.

    Raises `InputError` for fewer points than 16, or no span.
    """
    if points < _FEWEST or (span is not None and span <= 0):
        raise InputError(f"{points} points are no picture", f"Take {_FEWEST} or more, and a length", key="points")
    segments = segments_of(setup, plan.segments, wrong)
    radius = segments.window.radius * wrong.part
    around = 2 * math.pi * radius
    step = around / round(around * points / min(span or around, around))  # so that once around is whole
    surface = _Surface(setup, segments, wrong, radius, step, points)
    surface.left = round(left / step)
    for number in range(segments.count):
        surface.mark(number)
    centres = surface.turned * radius
    return Exposure(step, surface.count, surface.darkness, centres, radius, surface.left * step)


def middles(setup: Setup, segments: SegmentPlan, wrong: Wrong) -> FloatArray:
    """Where the middle of each strip falls on the true surface, m from where the mark begins."""
    places = segments.centres_deg()[0] / 360 - float(segments.start)
    first = places * 2 * math.pi * segments.window.radius
    return np.asarray(_turned(setup, segments, wrong) * (segments.window.radius * wrong.part) + first)


class _Surface:
    """The raster while it is marked strip by strip."""

    def __init__(
        self, setup: Setup, segments: SegmentPlan, wrong: Wrong, radius: float, step: float, points: int
    ) -> None:
        job, window = setup.job, segments.window
        self.radius, self.step, self._entered = radius, step, window.radius
        self.left = 0
        """Points from where the mark begins to the left edge."""
        self._wide = job.mark.width.si if job.mark.width is not None else job.part.whole_length.si
        rows = math.ceil(_BESIDE * self._wide / step)
        self._along = (np.arange(rows)[:, None] - (rows - 1) / 2) * step
        self._lean = _lean(job.window)
        self._wrong, self._flat = wrong, job.window.flat_field_corrected is False
        self.count = np.zeros((rows, points), dtype=np.uint8)
        self.darkness = np.zeros((rows, points), dtype=np.float32)
        self._halves = np.radians(segments.widths_deg()) / 2
        self._places = (segments.centres_deg() / 360 - float(segments.start)) * 2 * math.pi * self._entered
        self.turned = middles(setup, segments, wrong) / radius
        self._run_out = wrong.run_out * window.half_depth
        self._focal = window.focal_depth(math.pi * float(segments.widest))
        self._rayleigh = _rayleigh(setup, window.half_depth)
        self._spot = job.window.spot.si if job.window.spot is not None else 0.0
        self._full, self._none = (
            float(relative_fluence(times * window.half_depth, 1.0, self._rayleigh)) for times in (1.0, _FADED)
        )

    def mark(self, number: int) -> None:
        """Mark strip `number` where it falls."""
        turned, half = float(self.turned[number]), float(self._halves[number])
        edge = self._entered * (half if self._flat else math.sin(half))
        columns, angle = self._near(turned, edge)
        if columns.size == 0:
            return
        x = self.radius * np.sin(angle) - self._run_out * math.sin(turned)
        high = self.radius * np.cos(angle) + self._run_out * math.cos(turned)
        defocus = self.radius - self._focal - high
        fluence = relative_fluence(defocus, np.sign(np.cos(angle)), self._rayleigh)
        x = x / (1 + defocus * self._lean)
        dark = np.clip((fluence - self._none) / (self._full - self._none), 0.0, 1.0)
        skew = self._wrong.skew
        drawn_x = x * math.cos(skew) + self._along * math.sin(skew)
        drawn_y = self._along * math.cos(skew) - x * math.sin(skew)
        within = np.abs(drawn_y) <= self._wide / 2
        at = self._places[number] + self._around(drawn_x)
        burnt = within & (np.abs(drawn_x) <= edge + self._spot / 2) & inked(at, drawn_y, self._wide)
        self.count[:, columns] += within & (np.abs(drawn_x) <= edge)
        self.darkness[:, columns] += np.where(burnt, dark, 0.0).astype(np.float32)

    def _around(self, drawn: FloatArray) -> FloatArray:
        """Which place of the artwork (m along the surface, from the strip's middle) is drawn at `drawn` (m)."""
        if self._flat:
            return drawn
        return np.asarray(self._entered * np.arcsin(np.clip(drawn / self._entered, -1.0, 1.0)))

    def _near(self, turned: float, edge: float) -> tuple[NDArray[np.intp], FloatArray]:
        """The columns that the strip can touch, and their angle from straight above the part's middle (rad)."""
        aside = self._wide / 2 * abs(math.sin(self._wrong.skew)) + self._run_out + self._spot
        widest = math.asin(min((edge + aside) / self.radius, 1.0))
        around = round(2 * math.pi * self.radius / self.step)
        first = math.floor((turned - widest) * self.radius / self.step)
        places: NDArray[np.intp] = np.arange(
            first, min(math.ceil((turned + widest) * self.radius / self.step) + 1, first + around)
        )
        columns = (places - self.left) % around
        shown = columns < self.count.shape[1]
        angle = np.asarray((places + 0.5) * (self.step / self.radius) - turned, dtype=np.float64)
        return columns[shown], angle[shown]


def _turned(setup: Setup, segments: SegmentPlan, wrong: Wrong) -> FloatArray:
    """How far the part is truly turned for each strip, beyond the first (rad); whole microsteps."""
    machine = setup.machine
    per_turn = machine.microsteps_per_part_turn(setup.job.part.contact)
    places = (block.first + index * block.pitch for block in segments.blocks for index in range(block.count))
    steps = np.array([round_half_even(place * per_turn) for place in places])
    of_angle = machine.drive.surface_scale(wrong.part, None) / wrong.part
    return np.asarray((steps - steps[0]) * (of_angle * 2 * math.pi / float(per_turn)))


def _lean(window: Window) -> float:
    """What a ray leans outwards for each m that it is off the middle (1/m); 0 for a lens of which that isn't known."""
    if window.telecentric is not False or window.focal_length is None:
        return 0.0
    return 1 / window.focal_length.si


def _rayleigh(setup: Setup, half_depth: float) -> float:
    """The beam's Rayleigh length (m): as described, or as the window's half-depth says with the usual growth."""
    beam = setup.job.window.beam
    if beam is not None:
        return rayleigh_length(beam.waist_diameter.si / 2, beam.wavelength.si, beam.beam_quality)
    return half_depth / window_half_depth(1.0, USUAL_GROWTH)
