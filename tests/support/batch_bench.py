"""A batch on the bench: a scripted side that answers between parts, and what has to be true at the end."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firmware_host.errors import FirmwareHostError
from firmware_host.model import Setup
from firmware_host.model.files.parts import PartRow, numbered_parts
from firmware_host.station.batch.batch import ResumableBatch, resume_parts, run_parts
from firmware_host.station.batch.events import BATCH_FORM
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.loop import BatchWays
from firmware_host.station.batch.record import BatchRecord
from firmware_host.station.batch.side import (
    Again,
    BatchSide,
    Good,
    LeaveOut,
    NextPart,
    PickUp,
    Ready,
    Scrap,
    Stop,
    Wait,
)
from firmware_host.station.batch.state import BatchState, replay_batch
from firmware_host.station.gates.gate import PartContext
from firmware_host.station.journal.journal import events_of
from firmware_host.station.journal.record import PassRecord, RunRecord
from firmware_host.station.passes.control import RunControl
from firmware_host.station.stop_request import stopped_while
from tests.support.station_bench import StationBench, changed_setup

Key = tuple[int, int, int]
"""(part, segment, pass)."""


def batch_setup(name: str = "shaft-scale", *, finish: str = "unwind") -> Setup:
    """Three segments of 10 mm, two passes each, at a motion that is stated: the same for every diameter."""
    index = {"finish": finish, "settle": "0.25 s", "speed": "90 deg/s", "acceleration": "300 deg/s^2"}
    return changed_setup(name, mark={"arc": "30 mm", "width": "10 mm", "passes": 2}, segments={"count": 3}, index=index)


@dataclass
class ScriptedSide(BatchSide):
    """Answers as it was told: `ready` and `judged` by the part's number, each answer once; else ready, and good.

    `told` is everything that was asked, in order; `takes_s` is spent on each answer.
    """

    ready: dict[int, list[Ready | LeaveOut | Stop]] = field(default_factory=dict)
    judged: dict[int, list[Good | Scrap | Again | Stop]] = field(default_factory=dict)
    refusals: list[Ready | LeaveOut | Stop] = field(default_factory=list)
    picked_up: PickUp | Scrap | Stop = field(default_factory=PickUp)
    takes_s: float = 0.0
    told: list[tuple[str, int]] = field(default_factory=list)
    parts: list[NextPart] = field(default_factory=list)
    errors: list[FirmwareHostError] = field(default_factory=list)
    on_ask: Callable[[], None] = lambda: None

    def change(self, part: NextPart, wait: Wait) -> Ready | LeaveOut | Stop:
        self.parts.append(part)
        self._asked("change", part.part, wait)
        return self.ready[part.part.number].pop(0) if self.ready.get(part.part.number) else Ready()

    def refused(self, part: NextPart, error: FirmwareHostError, wait: Wait) -> Ready | LeaveOut | Stop:
        self.errors.append(error)
        self._asked("refused", part.part, wait)
        return self.refusals.pop(0)

    def judge(self, part: PartContext, record: RunRecord, wait: Wait) -> Good | Scrap | Again | Stop:
        self._asked("judge", part, wait)
        return self.judged[part.number].pop(0) if self.judged.get(part.number) else Good()

    def interrupted(self, part: PartContext, record: RunRecord, wait: Wait) -> PickUp | Scrap | Stop:
        self._asked("interrupted", part, wait)
        return self.picked_up

    def _asked(self, what: str, part: PartContext, wait: Wait) -> None:
        self.told.append((what, part.number))
        self.on_ask()
        wait(self.takes_s)


class BatchBench(StationBench):
    """A station on the bench, and a batch that is run on it; each run and each resume opens the controller anew."""

    def __init__(
        self,
        tmp_path: Path,
        setup: Setup | None = None,
        rows: Iterable[PartRow] | int = 3,
        *,
        side: ScriptedSide | None = None,
        **options: Any,
    ) -> None:
        super().__init__(tmp_path, setup or batch_setup(), **options)
        self.rows = numbered_parts(rows) if isinstance(rows, int) else tuple(rows)
        self.side = side if side is not None else ScriptedSide()
        self.batch = BatchFolder.create(tmp_path / "runs", self.setup.job.name, len(self.rows), self.clock.now())
        self.folder = self.batch.kept

    def run_batch(self, **ways: Any) -> BatchRecord:
        """Open, run the batch, close."""
        with stopped_while("opening the controller"):
            controller = self.open()
        try:
            return run_parts(self.setup, self.rows, self.station(controller), self.batch, self.ways(ways))
        finally:
            controller.close()

    def resume_batch(self, *, done: Callable[[Key], bool] | bool = False, **ways: Any) -> BatchRecord:
        """Open, resume the batch, close; `done`: what is said of a pass that is asked about."""

        def ask(entry: PassRecord) -> bool:
            self.asked.append((entry.segment, entry.number))
            part = self.state().next
            number = part.number if part is not None else 0
            return done if isinstance(done, bool) else done((number, entry.segment, entry.number))

        self.control = RunControl()
        found = ResumableBatch.read(self.batch)
        with stopped_while("opening the controller"):
            controller = self.open(drop_held_motion=True)
        try:
            return resume_parts(found, self.station(controller), self.ways({"ask": ask} | ways))
        finally:
            controller.close()

    def ways(self, options: Mapping[str, Any]) -> BatchWays:
        return BatchWays(**({"side": self.side} | dict(options)))

    def state(self) -> BatchState:
        """Where the batch stands by its journal."""
        return replay_batch(events_of(self.batch.journal, BATCH_FORM))

    def marked(self) -> Counter[Key]:
        """How often the gate was open to the end of a pass, by part, segment and pass."""
        return Counter(
            (request.part.number, request.segment, request.number)
            for opened_s, closed_s, request in self.gate.opened
            if request.part is not None and closed_s is not None and closed_s - opened_s >= 0.5 - 1e-6
        )

    def every_pass(self, parts: Iterable[int]) -> Counter[Key]:
        """Every pass of these parts once."""
        passes = self.setup.job.mark.passes
        return Counter(
            (part, segment, number)
            for part in parts
            for segment in range(1, self.plan.segments.count + 1)
            for number in range(1, passes + 1)
        )
