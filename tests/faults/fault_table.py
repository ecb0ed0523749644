"""The table of fault against outcome. As a script: python tests/faults/fault_table.py --runs 10000 [--first 0]."""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.faults.line.fault_plan import FaultKind
from tests.faults.play import Outcome, Played, play

PROMISES = (
    "gate open while moving",
    "gate open before it settled",
    "pass skipped",
    "pass repeated without a question",
    "marked beside its place",
    "gate closed late",
    "files do not fit",
    "hang",
    "traceback",
)


@dataclass
class Table:
    """Counts of runs by (dialect, fault, outcome): a run with several faults counts in the row of each."""

    runs: int = 0
    indexes: int = 0
    cells: Counter[tuple[str, str, Outcome]] = field(default_factory=Counter)
    boards: set[str] = field(default_factory=set)
    broken: list[Played] = field(default_factory=list)

    @classmethod
    def of(cls, seeds: Iterable[int]) -> Table:
        """Play every seed."""
        table = cls()
        for seed in seeds:
            table.add(play(seed))
        return table

    def add(self, played: Played) -> None:
        self.runs += 1
        self.indexes += played.indexes
        self.boards.add(played.board)
        for name in {fault.kind.value for fault in played.struck} or {"none"}:
            self.cells[played.board.split("/")[0], name, played.outcome] += 1
        if played.broken:
            self.broken.append(played)

    def count(self, promise: str) -> int:
        """Runs in which a promise was broken."""
        return sum(any(line.startswith(promise) for line in played.broken) for played in self.broken)

    def lines(self) -> list[str]:
        """The table, then the promises, then every run that broke one."""
        head = f"{'fault':16}{'dialect':16}" + "".join(f"{outcome.value:>16}" for outcome in Outcome)
        rows = [
            f"{name:16}{dialect:16}" + "".join(f"{self.cells[dialect, name, outcome]:16}" for outcome in Outcome)
            for name in ["none", *(kind.value for kind in FaultKind)]
            for dialect in sorted({board.split("/")[0] for board in self.boards})
        ]
        promises = [f"{promise}: {self.count(promise)}" for promise in PROMISES]
        told = [f"seed {played.seed} ({played.board}): {played.broken[0]}" for played in self.broken]
        return [
            f"{self.runs} runs with {self.indexes} indexes on {len(self.boards)} boards",
            head,
            *rows,
            *promises,
            *told,
        ]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    table = Table.of(range(options.first, options.first + options.runs))
    sys.stdout.write("\n".join([*table.lines(), ""]))
    return 1 if table.broken else 0


if __name__ == "__main__":
    sys.exit(main())
