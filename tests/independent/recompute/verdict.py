"""Value and limit of one check, and the verdict that follows from them."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite

NARROW = 0.2
_NEAR = 1e-6


@dataclass
class Found:
    """What a recomputed limit says: `value` may be at most `limit`; None where no number is to be had.

    `missing`: data are missing, so that it is not known unless it fails. `advisory`: it is exceeded, and never fails.
    `accepted`: somebody accepts it by name. `stated_margin`: where it isn't (limit - value)/limit. `within`: how far
    two computations of the value may differ. `most`: the same with the largest value that may be counted with.
    """

    value: float | None
    limit: float | None
    missing: bool = False
    advisory: bool = False
    accepted: bool = False
    stated_margin: float | None = None
    within: float = 1e-6
    most: Found | None = None

    @property
    def margin(self) -> float | None:
        if self.stated_margin is not None or self.value is None or self.limit is None:
            return self.stated_margin
        if not isfinite(self.value):
            return -inf
        if self.limit > 0:
            return (self.limit - self.value) / self.limit
        return 0.0 if self.value <= 0 else -inf

    def verdicts(self) -> set[str]:
        """Those that are right: two where the margin lies on the border."""
        if self.margin is None:
            return {"accepted" if self.accepted else "not known"}
        if self.most is not None and self.most.margin is not None and self.within < 1:
            last = self.most.margin if isfinite(self.most.margin) else -1.0
            steps = [self.margin + (last - self.margin) * part / 8 for part in range(9)]
            passed = [NARROW / 2] if last < NARROW / 2 < self.margin else []
            return {self._named(margin) for margin in [*steps, self.margin + 1e-6, *passed]}
        near = max(_NEAR, self.within * (1 + abs(self.margin if isfinite(self.margin) else 0.0)))
        return {self._named(self.margin - near), self._named(self.margin), self._named(self.margin + near)}

    def _named(self, margin: float) -> str:
        if self.accepted and (margin < -1e-9 or self.missing):
            return "accepted"
        if margin < -1e-9:
            return "exceeded" if self.advisory else "fails"
        if self.missing:
            return "not known"
        return "holds narrowly" if margin < NARROW - 1e-9 else "holds"


UNKNOWN = Found(None, None)
