"""The state of one simulated board, and what its parts do to one another."""

from __future__ import annotations

import math
from typing import Literal

from firmware_host.simulator.axis.motion import Block, BlockKind
from firmware_host.simulator.axis.single_precision import to_position, to_steps
from firmware_host.simulator.axis.straight_move import AxisLimits, slowed, straight_block
from firmware_host.simulator.board_core import BoardCore, Lateness
from firmware_host.simulator.status_query.program import Move, Program
from firmware_host.simulator.status_query.settings import SettingsStore
from firmware_host.simulator.status_query.variant import StatusQueryVariant

NEVER_RELEASE_MS = 255
NO_SCALE_POSITION = 2147483.648
"""What a board shows of a position that it divides by 0 steps/unit."""

StateWord = Literal["Idle", "Run", "Hold:0", "Hold:1", "Jog", "Alarm", "Check", "Home", "Sleep"]


class Board(BoardCore):
    """Everything the board knows. `answered_early`: the line under way has had its answer already."""

    def __init__(self, variant: StatusQueryVariant, start_s: float) -> None:
        super().__init__(variant.axes, start_s)
        self.variant = variant
        self.settings = SettingsStore(variant)
        self.program = Program(variant.axes, variant.ways.metric_letters)
        self.queued = [0] * len(variant.axes)
        self.locked = False
        self.checking = False
        self.sleeping = False
        self.homing = False
        self.paused = False
        self.answered_early = False
        self.latched_error: int | None = None
        self.stuck_at_limit = False
        self.hung = False
        self.start_lines_read = False
        self.homed: set[int] = set()
        self.restarts = self.resumes = self.resets_in_motion = 0
        self.resetting_until_s = -math.inf
        self._speed_before_hold = 0.0
        self.write_until_s = -math.inf
        self.boot_until_s = -math.inf
        self.outputs: list[tuple[float, str]] = []
        self._idle_late = Lateness(variant.idle_delay_s, variant.idle_spread_s)

    # --- state ----------------------------------------------------------------------------------------------

    def shown_state(self) -> StateWord:
        """The state as the report says it; some variants say idle before the last step."""
        word = self.state_word()
        early = self.now_s >= self.kernel.planned_end_s() - self.variant.idle_early_s
        return "Idle" if word in ("Run", "Jog") and self.variant.idle_early_s and early else word

    def state_word(self) -> StateWord:
        """The state the board acts by, which lags behind the last step by `idle_delay_s` or more."""
        flags: tuple[tuple[bool, StateWord], ...] = (
            (self.sleeping, "Sleep"),
            (self.locked, "Alarm"),
            (self.checking, "Check"),
            (self.homing, "Home"),
            (self.kernel.holding == "slowing", "Hold:1"),
            (self.kernel.holding == "held", "Hold:0"),
        )
        for flag, word in flags:
            if flag:
                return word
        if self.kernel.moving() or self.now_s < self.idle_shown_s():
            return "Jog" if self.kernel.kind() == "jog" else "Run"
        return "Idle"

    def idle_shown_s(self) -> float:
        """Instant (s) from which a board that stands still says so."""
        lock_ms = self.settings["$1"]
        waits_s = 1.25 * lock_ms / 1000 if self.variant.ways.idle_waits and lock_ms != NEVER_RELEASE_MS else 0.0
        return self._idle_late.after(self.kernel.last_end_s) + waits_s

    def note_standstill(self, since_s: float) -> None:
        """Motion has ended: `$1` as it is now decides when the motors are released; a later `$1` has to wait for the
        next motion (from memory).
        """
        lock_ms = self.settings["$1"]
        self.released_after_s = math.inf if lock_ms == NEVER_RELEASE_MS else since_s + lock_ms / 1000

    def released(self) -> bool:
        return self.sleeping or super().released()

    # --- positions ------------------------------------------------------------------------------------------

    def steps_per_unit(self, index: int) -> float:
        return self.settings.per_axis(100, index)

    def machine_position(self) -> list[float]:
        """Machine coordinates in units from the step counters, as 32-bit floats."""
        counters = self.kernel.counters_at(self.now_s)
        scales = [self.steps_per_unit(index) for index in range(len(counters))]
        pairs = zip(counters, scales, strict=True)
        return [to_position(count, scale) if scale else NO_SCALE_POSITION for count, scale in pairs]

    def stays_metric(self, index: int) -> bool:
        """Whether reports in inches give this axis in its own unit."""
        mask = int(self.settings.get("$376", 0))
        rotary = "ABC".find(self.variant.axes[index])
        return rotary >= 0 and bool(mask >> rotary & 1)

    def rescale(self, before: list[float]) -> None:
        """After other steps per unit: a board that keeps its position (`before`, units) counts anew from there."""
        if self.variant.ways.scale_change == "position stays":
            for index, value in enumerate(before):
                if self.steps_per_unit(index) and value != NO_SCALE_POSITION:
                    self.kernel.set_counter(index, to_steps(value, self.steps_per_unit(index)))
            self.synchronise()

    # --- what the report shows of the motion and the outputs --------------------------------------------------

    def hold(self) -> None:
        """Slow down to a stop, and keep in mind how quick it was."""
        if self.kernel.holding == "no":
            self._speed_before_hold = self.kernel.speed_at(self.now_s)
        self.kernel.hold(self.now_s)

    def resume(self) -> None:
        """End a completed hold, and say so where this board does."""
        paused, drops = self.kernel.holding == "held", len(self.kernel) > 0
        if self.kernel.resume(self.now_s) and paused:
            self.paused = False
            self.resumes += drops
            if self.variant.speech.resumed:
                self.say(self.variant.speech.resumed, self.variant.status_delay_s)

    def shown_speed(self) -> float:
        """Units/s along the path; of a held motion, on some boards, those from before the hold."""
        holding = self.kernel.holding != "no" and len(self.kernel) > 0
        if holding and self.variant.ways.hold_shows_feed:
            return self._speed_before_hold
        return self.kernel.speed_at(self.now_s)

    def spindle_speed(self) -> float:
        """The speed that is put out: within the limits of `$30` and `$31`; 0 while the output is off."""
        modes = self.program.modes
        if modes.spindle not in (3, 4):
            return 0.0
        return max(self.settings["$31"], min(modes.speed, self.settings["$30"]))

    def synchronise(self) -> None:
        """Let planner and parser start from where the counters stand."""
        self.queued = list(self.kernel.counters_at(self.now_s))
        self.program.position = self.machine_position()

    def within_travel(self, target: tuple[float, ...]) -> bool:
        """Whether every coordinate lies between 0 and the axis' travel, on the side the board works on."""
        sign = self.variant.travel_direction
        kept = [i for i in range(len(target)) if i in self.homed or not self.variant.ways.limits_need_homing]
        return all(0 <= target[i] * sign <= self.settings.per_axis(130, i) for i in kept)

    def drop_paused_jog(self) -> None:
        """A jog that has been held is not resumed: what is left of it is forgotten."""
        if self.kernel.holding == "held" and self.kernel.kind() == "jog":
            self.cut_motion()
            self.synchronise()

    # --- resets ---------------------------------------------------------------------------------------------

    def cut_motion(self) -> bool:
        """Drop all motion; whether something was moving, so that the position is lost."""
        moving = self.kernel.moving()
        self.kernel.abort(self.now_s)
        if moving:
            self.note_standstill(self.now_s)
        return moving

    def soft_reset(self) -> None:
        """Forget the program and the queue, keep the counters; in motion that loses the position."""
        ways = self.variant.ways
        if self.stuck_at_limit:
            self.say("ok", self.variant.ok_delay_s)
        takes_s = self.settings["$1"] / 1000 if ways.reset_waits else 0.0
        asleep = self.sleeping and ways.sleep == "deaf"
        if self.cut_motion() and not self._misses_the_alarm():
            self.alarm(3, takes_s)
            takes_s += ways.alarm_pause_s
        self.locked = self.locked or asleep
        self.resetting_until_s = self.now_s + takes_s if takes_s else -math.inf
        self._restart(takes_s)

    def _misses_the_alarm(self) -> bool:
        """Whether this reset in motion is one of those that say no alarm."""
        self.resets_in_motion += 1
        every = self.variant.ways.missed_alarm_every
        return every > 0 and self.resets_in_motion % every == 0

    def hardware_reset(self) -> None:
        """Start anew from position 0, whatever the motors' true position is; what was not yet said stays unsaid."""
        self.cut_motion()
        self.drop_unsaid()
        for index in range(len(self.variant.axes)):
            self.kernel.set_counter(index, 0)
        self.kernel.last_end_s = -math.inf
        self.locked, self.hung, self.homed = bool(self.settings["$22"]), False, set()
        self.resetting_until_s = -math.inf
        self.boot_until_s = self.now_s + self.variant.boot_s
        self.note_standstill(self.now_s)
        greets = self.variant.greets_at_power_up or self.restarts > 0
        self._restart(self.variant.boot_s, greets=greets)

    def alarm(self, number: int, delay_s: float = 0.0) -> None:
        """Lock the board and say why."""
        self.locked = True
        self.say(f"ALARM:{number}", delay_s)

    def _restart(self, delay_s: float, *, greets: bool = True) -> None:
        self.checking = self.sleeping = self.homing = self.paused = self.stuck_at_limit = False
        self.restarts += 1
        self.latched_error = None
        self.queued = list(self.kernel.counters_at(self.now_s))
        self.program.restart(self.machine_position())
        if self.variant.greets and greets:
            locked = (self.variant.speech.locked,) if self.locked else ()
            for line in (*self.variant.speech.greeting, *locked):
                self.say(line, delay_s)

    # --- motion ---------------------------------------------------------------------------------------------

    def queue_move(self, move: Move, kind: BlockKind) -> None:
        """Queue a straight move to the target's steps; one that stays on its step makes no motion.

        The planner's position is in steps and stays as it is when the steps per unit change: the next move makes up
        the difference.
        """
        self.program.position = list(move.target)
        goal = [to_steps(value, self.steps_per_unit(index)) for index, value in enumerate(move.target)]
        self.queue_steps(goal, move, kind)

    def queue_steps(self, goal: list[int], move: Move, kind: BlockKind) -> None:
        """Queue a straight move to absolute step counters, at the move's feed within the axes' limits."""
        scales = [self.steps_per_unit(index) for index in range(len(goal))]
        goal = [new if scale else old for new, old, scale in zip(goal, self.queued, scales, strict=True)]
        delta = tuple(new - old for new, old in zip(goal, self.queued, strict=True))
        self.queued = goal
        if any(delta):
            self.kernel.queue(self._block(delta, move, kind), self.now_s)

    def _block(self, delta: tuple[int, ...], move: Move, kind: BlockKind) -> Block:
        variant, mask = self.variant, int(self.settings["$3"])
        axes = [
            AxisLimits(
                self.steps_per_unit(index) or 1.0,
                self.settings.per_axis(110, index) / 60,
                self.settings.per_axis(120, index),
                -1 if mask >> index & 1 else 1,
            )
            for index in range(len(delta))
        ]
        block = straight_block(
            delta, axes, highest_step_rate=variant.highest_step_rate, when_too_fast=variant.when_too_fast, kind=kind
        )
        if move.feed is None:
            return block
        return slowed(block, move.feed / 60 * (block.length if move.inverse_time else 1.0))
