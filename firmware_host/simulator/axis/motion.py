"""The motion kernel: queued straight moves turned into positions as a function of time, with look-ahead and hold.

The position is analytic: a question about any instant costs the same, however long the motion takes. Times in s,
lengths in axis units along the path, counts in whole steps.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from firmware_host.simulator.axis.velocity import Phase, block_phases, reachable, waiting_phase
from firmware_host.simulator.device import MotionInterval, Stretch

COLLINEAR_COSINE = 0.999999
"""Above this cosine between two directions a corner is taken at speed (this board's own tolerance)."""

BlockKind = Literal["move", "jog", "home"]


@dataclass(frozen=True)
class Block:
    """A straight move: one entry per axis in `delta_steps` (controller's sign), `shaft_sign` (+1 or -1, the direction
    pin) and `direction` (unit vector); `length` > 0, `speed` > 0, `acceleration` > 0; above `crash_speed` the board
    crashes. `start_speed` (units/s, >= 0) is the speed at which it starts from rest and at which it ends, without a
    ramp. `lead_steps`: 1 if the first step is made at once (`length` is that from the first step to the last then),
    else 0. `wait_s`: from rest, what goes by between the first step and the second, the speed rising unseen.
    """

    delta_steps: tuple[int, ...]
    shaft_sign: tuple[int, ...]
    direction: tuple[float, ...]
    length: float
    speed: float
    acceleration: float
    crash_speed: float = math.inf
    kind: BlockKind = "move"
    start_speed: float = 0.0
    lead_steps: int = 0
    wait_s: float = 0.0

    @property
    def most_steps(self) -> int:
        """Steps of the quickest axis."""
        return max(map(abs, self.delta_steps))

    @property
    def slow_end(self) -> float:
        """Speed (units/s) at which it starts from rest and ends."""
        return min(self.start_speed, self.speed)

    def lasting(self, times: float) -> Block:
        """The same move that takes so many `times` (> 0) as long."""
        return replace(
            self,
            speed=self.speed / times,
            acceleration=self.acceleration / times**2,
            crash_speed=self.crash_speed / times,
            start_speed=self.start_speed / times,
            wait_s=self.wait_s * times,
        )

    def goes_on_from(self, other: Block) -> bool:
        """Whether this block continues `other` in the same direction, so that no stop is needed between."""
        return sum(a * b for a, b in zip(self.direction, other.direction, strict=True)) > COLLINEAR_COSINE

    def steps_along(self, length: float) -> tuple[int, ...]:
        """Whole steps made per axis once `length` lies behind; the last step falls on the block's end."""
        if length >= self.length:
            return self.delta_steps
        part, most = length / self.length, self.most_steps
        part = (self.lead_steps + (most - self.lead_steps) * part) / most
        return tuple(int(delta * part) for delta in self.delta_steps)


class MotionKernel:
    """Runs blocks one after the other. `advance` must be called with never decreasing times.

    `bunches`: (steps/s, size) in rising order: above that rate of the quickest axis the steps come so many at a time.
    """

    def __init__(self, axes: str, start_s: float, bunches: Sequence[tuple[float, int]] = ()) -> None:
        self._axes = axes
        self._bunches = bunches
        self.last_times = 1.0
        """So many times as long as its limits ask does a move take, for a clock that runs as many times as quick."""
        self._blocks: deque[Block] = deque()
        self._phases: deque[Phase] = deque()
        self._along = 0.0
        self._speed = 0.0
        self._bunched_made: tuple[int, ...] = ()
        self._counter = [0] * len(axes)
        self._shaft = [0] * len(axes)
        self._log_start_s = start_s
        self._log_from = [0] * len(axes)
        self._last_of: dict[str, int] = {}
        self.log: list[MotionInterval] = []
        self.followed: int | None = None
        """Place of the axis whose pulses are noted in `stretches`; None: nobody asks for them."""
        self.stretches: list[Stretch] = []
        self._pulses = [0] * len(axes)
        self._noted_s = start_s
        self.last_end_s = -math.inf
        self.ended: BlockKind = "move"
        self.crash_s: float | None = None
        self.holding: Literal["no", "slowing", "held"] = "no"

    # --- questions ------------------------------------------------------------------------------------------

    def __len__(self) -> int:
        return len(self._blocks)

    def moving(self) -> bool:
        return bool(self._phases)

    def next_event_s(self) -> float | None:
        """Next end of a stretch or crash (s), None at standstill."""
        if not self._phases:
            return None
        end_s = self._phases[0].end_s
        return end_s if self.crash_s is None else min(end_s, self.crash_s)

    def planned_end_s(self) -> float:
        """Instant (s) of the last step of all that is planned; of the last one made if nothing is."""
        return self._phases[-1].end_s if self._phases else self.last_end_s

    def kind(self) -> BlockKind:
        """Kind of the block under way, or of the last one."""
        return self._blocks[0].kind if self._blocks else self.ended

    def counters_at(self, now_s: float) -> tuple[int, ...]:
        """Step counters as the controller keeps them, one per axis."""
        made = self._made_at(now_s)
        return tuple(count + step for count, step in zip(self._counter, made, strict=True))

    def shafts_at(self, now_s: float) -> tuple[int, ...]:
        """True steps of the motors, one per axis."""
        made = self._made_at(now_s)
        signs = self._blocks[0].shaft_sign if self._blocks else (1,) * len(made)
        return tuple(shaft + sign * step for shaft, sign, step in zip(self._shaft, signs, made, strict=True))

    def speed_at(self, now_s: float) -> float:
        """Speed along the path, units/s."""
        return self._phases[0].at(now_s)[1] if self._phases else 0.0

    def _made_at(self, now_s: float) -> tuple[int, ...]:
        if not self._blocks:
            return (0,) * len(self._axes)
        along, speed = self._phases[0].at(now_s) if self._phases else (self._along, 0.0)
        return self._bunched(self._blocks[0], along, speed)

    def _bunched(self, block: Block, along: float, speed: float) -> tuple[int, ...]:
        """Steps made of `block`: at a high rate they come several at a time, and its last ones with its end.

        A step once told is made, also where the size of the bunches changes.
        """
        made = block.steps_along(along)
        if not self._bunches or along >= block.length:
            return made
        rate = speed * (block.most_steps - block.lead_steps) / block.length
        size = max((size for above, size in self._bunches if rate > above), default=1)
        bunched = (int(steps / size) * size for steps in made)
        before = self._bunched_made or (0,) * len(made)
        self._bunched_made = tuple(max(one, other, key=abs) for one, other in zip(before, bunched, strict=True))
        return self._bunched_made

    # --- orders ---------------------------------------------------------------------------------------------

    def queue(self, block: Block, now_s: float) -> None:
        """Append a block; it starts at once if nothing is under way and no hold is on."""
        self.advance(now_s)
        if not self._blocks:
            self._mark(now_s)
        self._blocks.append(block if self.last_times == 1.0 else block.lasting(self.last_times))
        if self.holding == "no":
            self._replan(now_s)

    def hold(self, now_s: float) -> None:
        """Slow down along the path to a stop, keeping what is left."""
        self.advance(now_s)
        if self.holding != "no":
            return
        self._note_pulses(now_s)
        if self._phases:
            self._along, self._speed = self._phases[0].at(now_s)
        self._phases = deque(self._stopping(now_s))
        self.holding = "slowing" if self._phases else "held"
        self._find_crash()

    def resume(self, now_s: float) -> bool:
        """Resume after a completed hold; False (and nothing done) while still slowing."""
        self.advance(now_s)
        if self.holding == "slowing":
            return False
        self.holding = "no"
        self._mark(now_s)
        self._replan(now_s)
        return True

    def abort(self, now_s: float, *, runs_on: bool = True) -> None:
        """Cut the pulses and drop the queue. From speed, the rotor runs on unseen by the ramp's own stopping distance
        v^2/(2a) (rounded down to whole steps): the counters no longer tell the truth. Without `runs_on` it stands with
        its pulses.
        """
        self.advance(now_s)
        self._note_pulses(now_s)
        if self._blocks:
            block = self._blocks[0]
            along, speed = self._phases[0].at(now_s) if self._phases else (self._along, 0.0)
            made = self._bunched(block, along, speed)
            skid = speed * speed / (2 * block.acceleration * block.length) if runs_on else 0.0
            for axis, (delta, sign) in enumerate(zip(block.delta_steps, block.shaft_sign, strict=True)):
                self._counter[axis] += made[axis]
                self._pulses[axis] += sign * made[axis]
                self._shaft[axis] += sign * (made[axis] + int(skid * delta))
            self.ended = block.kind
            self.last_end_s = now_s if self._phases else self.last_end_s
            self._blocks.clear()
            self._phases.clear()
            self._record(now_s)
        self._along = self._speed = 0.0
        self._bunched_made = ()
        self.crash_s = None
        self.holding = "no"

    def set_counter(self, axis: int, steps: int) -> None:
        """Declare the standing motor of `axis` to be at `steps`; the shaft does not turn."""
        self._counter[axis] = steps

    def advance(self, now_s: float) -> None:
        """Complete every stretch that ends up to `now_s`."""
        while self._phases and self._phases[0].end_s <= now_s:
            self._note_pulses(self._phases[0].end_s)
            phase = self._phases.popleft()
            self._along, self._speed = phase.to_length, phase.exit
            if phase.ends_block:
                self._finish(phase.end_s)
            if not self._phases:
                self.last_end_s = phase.end_s
                self._record(phase.end_s)
                self._speed = 0.0
                self.holding = "held" if self.holding == "slowing" else self.holding

    # --- inside ---------------------------------------------------------------------------------------------

    def _finish(self, end_s: float) -> None:
        block = self._blocks.popleft()
        for axis, (delta, sign) in enumerate(zip(block.delta_steps, block.shaft_sign, strict=True)):
            self._counter[axis] += delta
            self._pulses[axis] += sign * delta
            self._shaft[axis] += sign * delta
        self._along = 0.0
        self._bunched_made = ()
        self.ended = block.kind
        self._record(end_s)

    def _replan(self, now_s: float) -> None:
        """Backward pass for the speeds from which one can still stop, forward pass for those that can be reached."""
        self._note_pulses(now_s)
        if self._phases:
            self._along, self._speed = self._phases[0].at(now_s)
        blocks = list(self._blocks)
        standing = not self._phases and self._speed == 0.0
        limits = [0.0] * len(blocks) + [blocks[-1].slow_end if blocks else 0.0]
        for index in range(len(blocks) - 1, 0, -1):
            block, before = blocks[index], blocks[index - 1]
            goes_on = block.goes_on_from(before)
            corner = min(block.speed, before.speed) if goes_on else min(block.slow_end, before.slow_end)
            limits[index] = min(corner, reachable(limits[index + 1], block.acceleration, block.length))
        self._phases = deque()
        speed, along, start_s = self._speed, self._along, now_s
        if standing and blocks:
            speed = min(blocks[0].slow_end, reachable(limits[1], blocks[0].acceleration, blocks[0].length))
        for index, block in enumerate(blocks):
            if (waiting := _waiting(block, start_s, along, speed)) is not None:
                self._phases.append(waiting)
                along, start_s = waiting.to_length, waiting.end_s
                speed = min(speed + block.acceleration * waiting.duration_s, block.speed)
                speed = min(speed, reachable(limits[index + 1], block.acceleration, block.length - along))
            leave = min(limits[index + 1], reachable(speed, block.acceleration, block.length - along))
            phases = block_phases(start_s, along, block.length, (speed, block.speed, leave), block.acceleration)
            self._phases.extend(phases)
            speed, along, start_s = leave, 0.0, phases[-1].end_s
        self._find_crash()

    def _stopping(self, now_s: float) -> Iterator[Phase]:
        """Stretches that slow down to a stop; the plan made sure that this needs no more than the blocks queued."""
        speed, along, start_s = self._speed, self._along, now_s
        for index, block in enumerate(self._blocks):
            if speed <= 1e-9 * block.speed:
                return
            rest = block.length - along
            needed = speed * speed / (2 * block.acceleration)
            if needed < rest * (1 - 1e-9):
                yield Phase(start_s, speed / block.acceleration, along, along + needed, speed, 0.0, False)
                return
            last = index == len(self._blocks) - 1
            leave = 0.0 if last else math.sqrt(max(0.0, speed * speed - 2 * block.acceleration * rest))
            phase = Phase(
                start_s, (speed - leave) / block.acceleration, along, block.length, speed, leave, ends_block=True
            )
            yield phase
            speed, along, start_s = leave, 0.0, phase.end_s

    def _note_pulses(self, until_s: float) -> None:
        """Note what the followed motor gets of the stretch under way, up to `until_s`."""
        if self.followed is None or not self._phases:
            return
        phase, block = self._phases[0], self._blocks[0]
        start_s = max(phase.start_s, self._noted_s)
        if until_s <= start_s:
            return
        self._noted_s = until_s
        own = block.shaft_sign[self.followed] * block.delta_steps[self.followed]
        part = (block.most_steps - block.lead_steps) / block.most_steps
        ends = [phase.at(instant_s) for instant_s in (start_s, until_s)]
        places = [own * (block.lead_steps / block.most_steps + part * along / block.length) for along, _ in ends]
        if ends[1][0] >= block.length:
            places[1] = own
        rates = [own * part * speed / block.length * self.last_times for _, speed in ends]
        lasted_s = (until_s - start_s) / self.last_times
        base = self._pulses[self.followed]
        self.stretches.append(Stretch(start_s, until_s, lasted_s, base, *places, *rates))

    def _find_crash(self) -> None:
        self.crash_s = None
        index = 0
        for phase in self._phases:
            self.crash_s = phase.reaches_s(self._blocks[index].crash_speed)
            if self.crash_s is not None:
                return
            index += phase.ends_block

    def _mark(self, now_s: float) -> None:
        self._log_start_s = now_s
        self._log_from = list(self.shafts_at(now_s))

    def _record(self, end_s: float) -> None:
        """Log what each motor has done since the last mark; an unbroken travel stays one interval."""
        shafts: Sequence[int] = self._shaft if not self._blocks else self.shafts_at(end_s)
        for axis, first, last in zip(self._axes, self._log_from, shafts, strict=True):
            if first == last:
                continue
            index = self._last_of.get(axis)
            before = self.log[index] if index is not None else None
            if (
                before is not None
                and index is not None
                and before.end_s == self._log_start_s
                and (before.to_steps > before.from_steps) == (last > first)
            ):
                self.log[index] = MotionInterval(axis, before.start_s, end_s, before.from_steps, last)
            else:
                self._last_of[axis] = len(self.log)
                self.log.append(MotionInterval(axis, self._log_start_s, end_s, first, last))
        self._log_start_s, self._log_from = end_s, list(shafts)


def _waiting(block: Block, start_s: float, along: float, speed: float) -> Phase | None:
    """The rest of the wait between the first step and the second; None if there is none, or not any more."""
    second = block.length / max(1, block.most_steps - block.lead_steps)
    if not block.wait_s or along >= second or speed > block.slow_end * (1 + 1e-9):
        return None
    return waiting_phase(start_s, along, second, block.wait_s * (1 - along / second))
