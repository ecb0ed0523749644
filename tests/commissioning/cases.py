"""What was stated of drawn machines beside what is true of them: how many intervals hold, as a table."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple


class Case(NamedTuple):
    """One quantity of one machine: what is true, what was stated, and by how much at 95 %."""

    quantity: str
    seed: int
    true: float
    found: float
    within: float

    @property
    def holds(self) -> bool:
        """Whether the interval that is stated holds what is true."""
        return abs(self.found - self.true) <= self.within


class Line(NamedTuple):
    """Of one quantity: how many machines showed it, how many intervals hold the truth, how wide they are (median).

    What was told of a ramp is in shares of the quickest that limits allow.
    """

    quantity: str
    cases: int
    held: int
    width: float

    @property
    def share(self) -> float:
        """Of the intervals that hold the truth."""
        return self.held / self.cases


def table(cases: Iterable[Case]) -> list[Line]:
    """A line a quantity."""
    lines: dict[str, list[Case]] = {}
    for case in cases:
        lines.setdefault(case.quantity, []).append(case)
    return [
        Line(
            quantity,
            len(each),
            sum(case.holds for case in each),
            sorted(case.within / abs(case.true) if case.true else 0.0 for case in each)[len(each) // 2],
        )
        for quantity, each in lines.items()
    ]


def in_lines(cases: Iterable[Case]) -> str:
    """The table as text."""
    rows = [f"{'quantity':20} {'machines':>8} {'held':>6} {'share':>7} {'median +-':>10}"]
    for line in table(cases):
        rows.append(f"{line.quantity:20} {line.cases:8} {line.held:6} {line.share:7.1%} {line.width:10.2%}")
    return "".join(f"{row}\n" for row in rows)


def missed(cases: Iterable[Case]) -> str:
    """Those that do not hold, a line each."""
    return "".join(
        f"  seed {case.seed}: {case.quantity} {case.true:.5g}, found {case.found:.5g} +- {case.within:.3g}\n"
        for case in cases
        if not case.holds
    )
