"""Who sees everything from outside: when the gate was open, when the motors turned, and what is marked on the part."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from firmware_host.simulator.device import MotionInterval

PassKey = tuple[int, int]
PASS_S = 0.5
LONG_PASS_S = 3.0
"""How long the marking of one pass takes; the longer one shows a gate that is closed too late."""
LATEST_S = 2.0
"""How long after a reset, an alarm, a pulled cable or a wish to stop the gate may stay open, at most."""


@dataclass
class Opening:
    """One opening of the gate; `off_steps`: how far the part stood beside the planned place, as far as a controller can
    know it. Times in s.
    """

    key: PassKey
    opened_s: float
    off_steps: int
    needs_s: float = PASS_S
    closed_s: float | None = None
    shut_by_s: float | None = None
    """When something happened after which the gate may not stay open."""

    @property
    def complete(self) -> bool:
        """True if the pass was marked to its end."""
        return self.closed_s is not None and self.closed_s - self.opened_s >= self.needs_s - 1e-9


@dataclass
class Observer:
    """`story` has the openings and the questions in their order; `place_known` is False between lost steps that no
    controller can see and the next zero.
    """

    story: list[Opening | tuple[PassKey, bool]] = field(default_factory=list)
    pass_s: float = PASS_S
    place_known: bool = True
    broken: list[str] = field(default_factory=list)
    """Promises found broken while the run went on."""

    @property
    def openings(self) -> list[Opening]:
        return [entry for entry in self.story if isinstance(entry, Opening)]

    @property
    def asked(self) -> list[PassKey]:
        return [entry[0] for entry in self.story if isinstance(entry, tuple)]

    def marked(self, key: PassKey) -> bool:
        """What a look at the part tells: whether the pass is there, whole."""
        return any(opening.complete for opening in self.openings if opening.key == key)

    def open(self, key: PassKey, now_s: float, off_steps: int) -> None:
        self.story.append(Opening(key, now_s, off_steps if self.place_known else 0, self.pass_s))

    def shut_by(self, now_s: float) -> None:
        """Something has happened after which an open gate has to be closed."""
        for opening in self.openings[-1:]:
            if opening.closed_s is None and opening.shut_by_s is None:
                opening.shut_by_s = now_s

    def close(self, now_s: float) -> None:
        for opening in self.openings[-1:]:
            if opening.closed_s is None:
                opening.closed_s = now_s

    def broken_promises(
        self, log: Iterable[MotionInterval], wanted: Iterable[PassKey], *, ended: bool, settle_s: float = 0.0
    ) -> list[str]:
        """Every promise that was broken; `wanted` are the passes of the job, `ended` says that the run came to its end,
        `settle_s` how long after its last step the part may be marked.

        "gate open while moving", "gate open before it settled", "gate closed late", "marked beside its place", "pass
        repeated", "pass skipped", and what was noted.
        """
        broken = list(self.broken)
        travels = list(log)
        for opening in self.openings:
            closed_s = opening.closed_s if opening.closed_s is not None else float("inf")
            for travel in travels:
                if travel.end_s > opening.opened_s and travel.start_s < closed_s:
                    broken.append(f"gate open while moving: {opening}, {travel}")
                elif travel.end_s <= opening.opened_s < travel.end_s + settle_s - 1e-9:
                    broken.append(f"gate open before it settled: {opening}, {travel}")
            if opening.shut_by_s is not None and closed_s > opening.shut_by_s + LATEST_S:
                broken.append(f"gate closed late: {opening}")
            if opening.off_steps:
                broken.append(f"marked beside its place: {opening}")
        broken += self._repeated()
        if ended:
            broken += [f"pass skipped: {key}" for key in wanted if not self.marked(key)]
        return broken

    def _repeated(self) -> list[str]:
        """Passes opened again without a question in between that was answered with "not done"."""
        broken, may_open = [], {}
        for entry in self.story:
            if isinstance(entry, tuple):
                may_open[entry[0]] = not entry[1]
            elif not may_open.get(entry.key, True):
                broken.append(f"pass repeated without a question: {entry}")
            else:
                may_open[entry.key] = False
        return broken
