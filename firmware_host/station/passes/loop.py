"""The passes of a run: for each segment move, prove the standstill, settle; for each pass open the gate and wait.

Every act is journalled before it is done. The gate is open only from a standstill proof to the first sign that the axis
moves, and whatever goes wrong, it is closed before anything else happens. Wishes (`control`) are looked at after each
pass and at the last moment before the gate opens.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable

from firmware_host.controller.deadlines import UsualTime
from firmware_host.controller.learned import Position
from firmware_host.controller.sender import LOOK_S
from firmware_host.model import Setup
from firmware_host.planning.index.unwinding_settle import unwind_settle
from firmware_host.planning.plan import JobPlan
from firmware_host.station.axis_mover import AxisMover
from firmware_host.station.gates.gate import PassRequest, PassState
from firmware_host.station.journal import events
from firmware_host.station.journal.journal import Journal
from firmware_host.station.note_failure import note_failure
from firmware_host.station.passes.control import PassKey
from firmware_host.station.passes.motion import Motion
from firmware_host.station.passes.move_times import MoveTimes
from firmware_host.station.passes.station import Station
from firmware_host.station.passes.time_left import TimeLeft
from firmware_host.station.passes.watched import WATCH_S, opened, until_done
from firmware_host.station.progress import Phase, RunState

_FRESH_S = 0.005
"""A report no older than this (s) need not be asked for again before the gate opens."""
_JOURNALLED_S = 0.03
"""So long at the most before the settle time is over, the opening of the gate is journalled (s)."""


class PassLoop:
    """One go at the passes that are left: `to_do` in order, those `done` before it began, `passes` for each segment.

    `again`: those of `to_do` that were done before and are to be repeated.
    """

    def __init__(
        self,
        setup: Setup,
        plan: JobPlan,
        station: Station,
        journal: Journal,
        motion: Motion,
        *,
        to_do: Iterable[PassKey],
        done: Iterable[PassKey],
        passes: int,
        again: Iterable[PassKey] = (),
    ) -> None:
        self._setup = setup
        self._plan = plan
        self._station = station
        self._journal = journal
        self._motion = motion
        self._targets = plan.route.segment_targets().tolist()
        self._to_do = deque(to_do)
        self._done_of = Counter(segment for segment, _ in done)
        self._done = self._done_of.total()
        self._left_of = Counter(segment for segment, _ in self._to_do)
        self._passes = passes
        self._at: PassKey = (0, 0)
        self._last: PassKey | None = None
        self._done_here: set[PassKey] = set()
        self._again = set(again)
        self._journalling = UsualTime(0.0, _JOURNALLED_S)
        self._left_s: float | None = None
        self._times = MoveTimes(station.controller, station.clock)
        self._time = TimeLeft(station.clock, plan.settle_s)

    def run(self, mover: AxisMover, plan: JobPlan) -> None:
        """Do them, one after the other; `plan`: with the settling of the moves that the board really makes."""
        self._plan = plan
        self._time = TimeLeft(self._station.clock, plan.settle_s)
        mover.look = self._times.look
        asked = sorted(self._done_of.keys() | self._left_of.keys())
        self._station.progress.begins(plan, {segment: self._passes_of(segment) for segment in asked})
        standing: int | None = None
        settled_s = 0.0
        while True:
            self._heed(standing)
            if not self._to_do:
                if self._station.control.ends() or standing is None:
                    return  # resumed with no pass left, it stands nowhere to hold at
                continue
            segment, number = self._to_do[0]
            if segment != standing:
                settled_s = self._stand_at(mover, segment, number)
                standing = segment
            elif self._mark(segment, number, settled_s):
                self._count(mover)
            else:
                self._time.interrupted()

    def tell(self, phase: Phase, key: PassKey | None = None) -> None:
        """Say what the run is at: which phase, and at which segment and pass if that is another one."""
        self._at = key = key if key is not None else self._at
        part = self._station.part
        self._station.progress.state(
            RunState(
                phase,
                still=phase in ("settling", "marking", "held"),
                gate_open=phase == "marking",
                segment=key[0],
                segments=len(self._targets),
                number=key[1],
                passes=self._passes,
                done=self._done,
                of=self._done + len(self._to_do),
                following=self._following(),
                left_s=self._left_s,
                part=part.number if part is not None else 0,
                parts=part.of if part is not None else 0,
                serial=part.serial if part is not None else "",
            )
        )

    def check_stop(self) -> None:
        """Stop if the operator, a signal or the marking side wishes it."""
        station = self._station
        if station.gate.wants_stop():
            station.stop.ask("by the marking side")
        station.stop.check()

    def _count(self, mover: AxisMover) -> None:
        """The first of the passes to do is done."""
        self._last = self._to_do.popleft()
        self._done += 1
        self._changed(self._last[0], done=1, left=-1)
        self._done_here.add(self._last)
        self._again.discard(self._last)
        left = len(self._to_do)
        self._time.marked()
        self._left_s = self._time.left_s(mover, self._last[0], self._to_do)
        self._station.progress.done(self._done, self._done + left, self._left_s)

    def _following(self) -> PassKey | None:
        """The pass behind the one that the run is at."""
        ahead = 1 if self._to_do and self._to_do[0] == self._at else 0
        return self._to_do[ahead] if ahead < len(self._to_do) else None

    def _passes_of(self, segment: int) -> tuple[int, int]:
        """How many passes of a segment are done, and of how many."""
        done = self._done_of[segment]
        return done, done + self._left_of[segment]

    def _changed(self, segment: int, *, done: int, left: int) -> None:
        """So many more passes of a segment are done, and so many more left."""
        self._done_of[segment] += done
        self._left_of[segment] += left
        self._station.progress.marked(segment, *self._passes_of(segment))

    # --- wishes ----------------------------------------------------------------------------------------------------

    def _heed(self, standing: int | None) -> None:
        """Do what was wished meanwhile; hold as long as that is wished, if the axis is `standing` at a segment."""
        control = self._station.control
        while True:
            while (segment := control.take_skip()) is not None:
                self._skip(segment)
            while (key := control.take_repeat()) is not None:
                self._repeat(key)
            control.stands_at(self._to_do[0] if self._to_do else None, self._last)
            if standing is None or not control.holds:
                return
            self._hold(standing)

    def _skip(self, segment: int) -> None:
        """Leave out what is left of a segment; a pass that was to be repeated stays done."""
        left = [key for key in self._to_do if key[0] == segment]
        if not left:
            self._station.progress.note(f"segment {segment} is not skipped: nothing of it is left")
            return
        self._journal.write(events.Skip(segment=segment))
        self._to_do = deque(key for key in self._to_do if key[0] != segment)
        done_before = len(self._again.intersection(left))
        self._done += done_before
        self._changed(segment, done=done_before, left=-len(left))
        self._again.difference_update(left)
        self._station.progress.note(f"segment {segment} is skipped, as the operator wished; it is recorded")

    def _repeat(self, key: PassKey) -> None:
        """Mark a pass that is done once more, before the others."""
        segment, number = key
        if key in self._to_do or key not in self._done_here:
            self._station.progress.note(f"segment {segment}, pass {number} is not repeated: it is not done")
            return
        self._journal.write(events.Repeat(segment=segment, number=number))
        self._to_do.appendleft(key)
        self._done -= 1
        self._changed(segment, done=-1, left=1)
        self._again.add(key)
        told = f"segment {segment}, pass {number} is marked again, as the operator wished; it is recorded"
        self._station.progress.note(told)

    def _hold(self, standing: int) -> None:
        """Watch that nothing moves, with the gate closed, until the run is to carry on or something else is wished."""
        station = self._station
        station.progress.stage("held: the gate is closed, the motor holds the part")
        coming = self._to_do[0] if self._to_do else None
        here = [key for key in (self._last, coming) if key is not None and key[0] == standing]
        self.tell("held", here[0] if here else (standing, 0))
        while station.control.holds and not station.control.asks:
            self.check_stop()
            station.controller.watch()
            station.progress.still_so()
            station.controller.hear(WATCH_S)
        self._time.interrupted()

    # --- a segment -------------------------------------------------------------------------------------------------

    def _stand_at(self, mover: AxisMover, segment: int, number: int) -> float:
        """Move to a segment and prove that it stands there; when the settle time is over (monotonic s).

        It runs from the first sign of the standstill, while the others are awaited and the standstill is journalled:
        at once if there is time for that, else with the opening of the gate.
        """
        station = self._station
        target = self._targets[segment - 1]
        self.tell("turning", (segment, number))
        self._time.moves(mover, segment)
        self._unwind(mover, segment)
        station.progress.stage(f"moving to segment {segment} of {len(self._targets)}")
        position = mover.position(segment)
        with self._motion.act(events.Move(segment=segment, target=target, position=position)):
            proof = mover.move(segment, mover.on_the_way(position, self.check_stop))
        reported = mover.reported(proof, segment)
        stood = events.Standstill(
            segment=segment,
            target=target,
            position=position,
            reported=round(reported, 4),
            reports="planned" if station.controller.learned.position.value is Position.PLANNED else "motor",
        )
        settled_s = proof.since_s + self._plan.settle_s
        self._journal.write(stood, with_next=self._open_from(settled_s) <= station.clock.monotonic())
        station.progress.standstill(segment, target, reported)
        self._times.require_as_planned()
        if note := self._times.take_note():
            station.progress.note(note)
        self._time.settles(settled_s)
        self.tell("settling", (segment, number))
        return settled_s

    def _open_from(self, settled_s: float) -> float:
        """When to begin to open the gate for it to be open at `settled_s`: a look, and a line of the journal."""
        return settled_s - self._journalling.usual_s - self._station.controller.answer_time.usual_s

    def _unwind(self, mover: AxisMover, segment: int) -> None:
        """Take whole turns back before a segment that asks for it; from then on the journal counts with them."""
        due = mover.unwinding(segment)
        if due is None:
            return
        count = abs(due.turns - mover.turns)
        rings_s = unwind_settle(self._setup.machine, self._setup.job, self._plan.program, count)
        self._station.progress.stage(f"unwinding {count} whole turn{'s' if count > 1 else ''}")
        with self._motion.act(events.Unwind(segment=segment, target=due.target, turns=due.turns)):
            stood_s = mover.unwind(segment, mover.on_the_way(due.target, self.check_stop))
        self._journal.write(events.ZeroSet(origin_steps=mover.origin, at=mover.at, turns=mover.turns))
        self._wait_until(stood_s + rings_s)

    # --- a pass ----------------------------------------------------------------------------------------------------

    def _mark(self, segment: int, number: int, settled_s: float) -> bool:
        """Open the gate for a pass, no sooner than it has settled (monotonic s), and wait until it is marked.

        False where something was wished before it opened, or the segment is to be skipped.
        """
        station = self._station
        angle = float(self._targets[segment - 1] / self._plan.route.per_part_turn * 360)
        request = PassRequest(segment, len(self._targets), number, self._passes, angle, station.part)
        station.progress.stage(f"marking {request}")
        self._wait_until(self._open_from(settled_s))
        station.controller.watch(fresh_s=_FRESH_S)
        station.stop.check()
        if station.control.wishes:
            return False
        self._open(request, settled_s)
        with opened(station.gate, station.controller, request, lambda error: self._closed(error, segment, number)):
            self.tell("marking", (segment, number))
            marked = until_done(station.gate.poll, station.controller, lambda state: self._look(state, segment))
        self.tell("settling")
        self._journal.write(events.GateClosed(segment=segment, number=number))
        if marked:
            self._journal.write(events.PassDone(segment=segment, number=number))
        return marked

    def _open(self, request: PassRequest, settled_s: float) -> None:
        """Journal that the gate opens, and wait until it may (monotonic s)."""
        station, key = self._station, (request.segment, request.number)
        begun_s = station.clock.monotonic()
        self._journal.write(events.GateOpen(segment=request.segment, number=request.number))
        opened_s = station.clock.monotonic()
        self._journalling.note(opened_s - begun_s)
        station.control.stands_at(key, key)
        station.clock.sleep(settled_s - opened_s)

    def _closed(self, error: BaseException, segment: int, number: int) -> None:
        """The gate was closed because of `error`: say so before anything else is tried."""
        note_failure(error, lambda: self._journal.write(events.GateClosed(segment=segment, number=number)))
        self._station.progress.note(f"the gate is closed ({error}); the axis is stopped now")

    def _look(self, state: PassState, segment: int) -> bool:
        """One look while it is marked; True if the segment is to be skipped."""
        station = self._station
        station.progress.still_so()
        if state is PassState.STOP:
            station.stop.ask("by the operator")
        station.stop.check()
        return station.control.skips(segment)

    def _wait_until(self, end_s: float) -> None:
        while (left_s := end_s - self._station.clock.monotonic()) > 0:
            self.check_stop()
            self._station.progress.still_so()
            self._station.clock.sleep(min(left_s, LOOK_S))
