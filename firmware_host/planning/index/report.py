"""What is said about the speed of an index: the choice, its bound, and other choices beside it, as data."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.planning.index.safe_motion import SafeMotion
from firmware_host.planning.index.timing import IndexTiming
from firmware_host.planning.limits.check import Verdict


@dataclass(frozen=True, slots=True)
class MarginLoss:
    """What a choice takes from the limit of that `name`: its margin `before` and `after`, parts of the limit."""

    name: str
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class OtherChoice:
    """Another setting or machine for the same indexes.

    `acceleration` (rad/s^2) and `speed` (rad/s) of the part, what the indexes take, and `quicker`: how many times less
    an index with its settling takes than with the setting it is compared with. `verdict`: of all limits at that motion;
    `losses`: the limits of which less would be left, the tightest first. None and empty where it is no quicker.
    """

    what: str
    acceleration: float
    speed: float
    timing: IndexTiming
    quicker: float
    verdict: Verdict | None = None
    losses: tuple[MarginLoss, ...] = ()


@dataclass(frozen=True, slots=True)
class IndexAdvice:
    """What there is to say about the chosen motion.

    `bound_s`: an average move whose acceleration followed the torque at every speed, s; None where the torque isn't
    known. `cautious`: the usual cautious setting on the same machine; its `quicker` is below 1 where the choice is
    quicker. `stronger`: what the next-stronger motor, current, supply and board would give, each alone, and what a
    speed or an acceleration that the job states costs; those that can't move the load are left out.
    """

    motion: SafeMotion
    bound_s: float | None = None
    cautious: OtherChoice | None = None
    stronger: tuple[OtherChoice, ...] = ()
