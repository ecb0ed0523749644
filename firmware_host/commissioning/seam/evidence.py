"""How well each cause explains the readings: least squares for its amount, and the evidence for it beside the others.

The readings less what should be read are y = A x + noise, with the noise's covariance S (JCGM 100:2008, 5.2). For one
cause the amount is the generalised least-squares estimate x = (A' S^-1 A)^-1 A' S^-1 y, with the covariance
(A' S^-1 A)^-1. The evidence is the density of y with the amount drawn from a normal distribution, mostly of the usual
size and now and then of an unusual one (D. J. C. MacKay, Information Theory, Inference, and Learning Algorithms,
Cambridge 2003, chapter 28): a cause that can explain anything gains nothing by that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from firmware_host.commissioning.estimates.measured import NORMAL_95
from firmware_host.commissioning.seam.causes import Cause
from firmware_host.commissioning.seam.correction import Correction, Off
from firmware_host.commissioning.seam.marked import MarkedPart
from firmware_host.commissioning.seam.readings import Reading, SeamReading
from firmware_host.model import Setup

Floats = NDArray[np.float64]

_UNUSUAL = 0.15
"""How often an amount is of the unusual size: common practice, no source."""
_OFTEN_NOTHING = 4.0
"""How often nothing is wrong, beside one of the causes: common practice, no source."""
_MISFIT = 3.0
"""A cause whose rest passes what is expected of noise by so many of its standard deviations does not explain it."""


@dataclass(frozen=True)
class Evidence:
    """All readings together: `excess` (m,) over what should be read, and its `covariance` (m, m)."""

    excess: Floats
    covariance: Floats

    def whitened(self, values: Floats) -> Floats:
        """`values` (m,) or (m, k) in units of the noise, with the correlations taken out."""
        solved: Floats = np.linalg.solve(np.linalg.cholesky(self.covariance), values)
        return solved


@dataclass(frozen=True)
class Explanation:
    """One cause and how it explains the readings.

    `amounts` and `deviations` (standard uncertainty): of it; empty for no cause. `shift` (m,): what it adds to the
    readings at that. `rest`: sum of squares of what it leaves, in units of the noise, with `freedom` degrees.
    `evidence`: natural logarithm of its density, with how often it occurs in it.
    """

    cause: Cause | None
    amounts: tuple[float, ...]
    deviations: tuple[float, ...]
    shift: Floats
    rest: float
    freedom: int
    evidence: float

    @property
    def fits(self) -> bool:
        """Whether what it leaves unexplained is no more than the readings' noise."""
        return self.rest <= self.freedom + _MISFIT * math.sqrt(2 * max(self.freedom, 1)) + _MISFIT

    @property
    def amount(self) -> float:
        """The size of what is wrong: of two amounts the length."""
        return self.amounts[0] if len(self.amounts) == 1 else math.hypot(*self.amounts)

    def correction(self, setup: Setup) -> Correction | None:
        """What to write where this is the cause; None where no number of a file is wrong."""
        if self.cause is None:
            return None
        return self.cause.corrected(setup, Off(self.amount, NORMAL_95 * max(self.deviations)))


def evidence_of(part: MarkedPart, readings: Sequence[Reading]) -> Evidence:
    """The readings (at least one) with the noise of each, and what they have in common."""
    excess = np.array([reading.excess(part) for reading in readings])
    variance = np.array([reading.deviation**2 for reading in readings])
    covariance = np.diag(variance)
    at = np.array([reading.seam - 1 if isinstance(reading, SeamReading) else -1 for reading in readings])
    seam = at >= 0
    for number in set(at[seam].tolist()):
        same = (at == number).astype(float)
        covariance += np.outer(same, same) * part.scatter**2
    for common in part.common:
        pattern = np.where(seam, common[np.maximum(at, 0)], 0.0)
        covariance += np.outer(pattern, pattern)
    return Evidence(excess, covariance)


def explained_by(cause: Cause, part: MarkedPart, readings: Sequence[Reading], found: Evidence) -> Explanation:
    """How `cause` explains the readings; an amount that can't be negative is no less than zero."""
    effects = np.array([reading.effect(cause, part) for reading in readings])
    design, excess = found.whitened(effects), found.whitened(found.excess)
    precision = design.T @ design
    covariance = np.linalg.pinv(precision)
    amounts = covariance @ design.T @ excess
    deviations = tuple(
        math.sqrt(max(float(covariance[k, k]), 0.0)) if precision[k, k] > 0 else math.inf for k in range(cause.count)
    )
    density = np.logaddexp(
        math.log(1 - _UNUSUAL) + _log_density(design, excess, cause, cause.usual),
        math.log(_UNUSUAL) + _log_density(design, excess, cause, cause.unusual),
    )
    if cause.one_sided:
        amounts = np.maximum(amounts, 0.0)
    shift = effects @ amounts
    left = found.whitened(found.excess - shift)
    return Explanation(
        cause=cause,
        amounts=tuple(amounts.tolist()),
        deviations=deviations,
        shift=shift,
        rest=float(left @ left),
        freedom=max(len(readings) - int(np.linalg.matrix_rank(design)), 0),
        evidence=float(density) + math.log(cause.often),
    )


def nothing_wrong(found: Evidence, *, looks_right: bool = True) -> Explanation:
    """How well the readings are explained without any cause; often there is none, unless the mark looks wrong."""
    excess = found.whitened(found.excess)
    rest = float(excess @ excess)
    evidence = -rest / 2 + (math.log(_OFTEN_NOTHING) if looks_right else 0.0)
    return Explanation(None, (), (), np.zeros_like(found.excess), rest, excess.size, evidence)


def apart(first: Explanation, second: Explanation, found: Evidence) -> float:
    """How far apart two explanations of the same readings are, in standard deviations of the noise."""
    return float(np.linalg.norm(found.whitened(first.shift - second.shift)))


def _log_density(design: Floats, excess: Floats, cause: Cause, size: float) -> float:
    """Of the whitened readings, the amounts drawn with the standard deviation `size`; constants left out."""
    scaled = design * size
    inner = np.eye(cause.count) + scaled.T @ scaled
    pull = np.linalg.solve(inner, scaled.T @ excess)
    value = -0.5 * float(excess @ excess - (scaled.T @ excess) @ pull) - 0.5 * float(np.linalg.slogdet(inner)[1])
    if cause.one_sided:
        share = NormalDist().cdf(float(pull[0]) * math.sqrt(float(inner[0, 0])))
        value += math.log(max(2 * share, 1e-300))
    return value
