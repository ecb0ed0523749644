"""What is known of one part of a table once it is planned, and how it is planned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.model.files.loading import Setup
from firmware_host.planning.guess import Guess
from firmware_host.planning.interrupt import Check
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.plan import Layout, plan_job


@dataclass(frozen=True, slots=True)
class PartLayout:
    """What a part's segments come to.

    `segments`: how many; `width_deg`: of the widest. `gap` (m, + gap, - overlap): the seam that is farthest from
    closed, as it must be; `lowest`, `highest` (m): the least and the largest that any may come to, each 0 without a
    seam. `showing`: how many may show; None where no spot is known.
    """

    segments: int
    width_deg: float
    gap: float
    lowest: float
    highest: float
    showing: int | None


@dataclass(frozen=True, slots=True)
class PartMotion:
    """A part's own motion and what the limits say to it: as in `LimitReport` and `SafeMotion`, in SI units.

    `tightest`: the check with the least margin of those that make the verdict, and its `margin`, None where none is
    known. `margins`: of each check.
    """

    verdict: Verdict
    reasons: tuple[str, ...]
    tightest: str
    margin: float | None
    margins: Mapping[str, float | None]
    binding: tuple[str, ...]
    acceleration: float
    speed: float
    move_s: float
    settle_s: float

    @property
    def index_s(self) -> float:
        """An average index with its settling, s."""
        return self.move_s + self.settle_s


def planned(setup: Setup, check: Check, guess: Guess | None = None) -> tuple[PartLayout, PartMotion]:
    """The plan of one part, see `plan_job`; `guess`: near what its motion lies, if that is known."""
    plan = plan_job(setup, check=check, guess=guess)
    return laid_out(plan.layout), _moved(plan.limits)


def _moved(report: LimitReport) -> PartMotion:
    tightest, motion = report.tightest, report.motion
    return PartMotion(
        verdict=report.verdict,
        reasons=report.reasons,
        tightest=tightest.name if tightest is not None else "",
        margin=tightest.margin if tightest is not None else None,
        margins={check.name: check.margin for check in report.checks},
        binding=motion.binding,
        acceleration=motion.acceleration,
        speed=motion.speed,
        move_s=motion.timing.move_s,
        settle_s=motion.timing.settle_s,
    )


def farthest_from_closed(gaps: FloatArray) -> FloatArray:
    """The seam that is, of those along the last axis, m; 0 without any."""
    if not gaps.shape[-1]:
        return np.zeros(gaps.shape[:-1])
    places = np.abs(gaps).argmax(axis=-1)
    return np.take_along_axis(gaps, places[..., np.newaxis], -1)[..., 0]


def laid_out(layout: Layout) -> PartLayout:
    """What the segments and seams of `layout` come to."""
    seams = layout.seams
    return PartLayout(
        segments=layout.segments.count,
        width_deg=float(layout.segments.widest * 360),
        gap=float(farthest_from_closed(seams.gap)),
        lowest=float(seams.lowest.min(initial=np.inf)) if seams.gap.size else 0.0,
        highest=float(seams.highest.max(initial=-np.inf)) if seams.gap.size else 0.0,
        showing=int(seams.showing().sum()) if seams.tolerance is not None else None,
    )
