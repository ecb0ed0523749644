"""What happens to a board's targets far from machine zero."""

from __future__ import annotations

from typing import Protocol


class Runs(Protocol):
    """A bench that carries lines out and knows the true steps of axis A."""

    def run(self, *lines: str) -> list[str]: ...

    def steps(self) -> int: ...


def targets_one_step_off(bench: Runs) -> int:
    """How many of 59 targets, 0.1 units apart at 10 steps/unit, come to stand one step off; none may be further off."""
    base = bench.steps()
    off = 0
    for count in range(1, 60):
        bench.run(f"G0A{count / 10}")
        difference = bench.steps() - base - count
        assert abs(difference) <= 1
        off += difference != 0
    return off
