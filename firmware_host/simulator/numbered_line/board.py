"""The state of one simulated board of the dialect `numbered-line`, and what its parts do to one another.

Positions are 32-bit floats in axis units. `position` is the machine coordinate that has been planned up to; the
program's own coordinate is that minus `offset`. A G92 changes the offset only: the machine coordinate stays as large
as it was.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable, Mapping

from firmware_host.simulator.axis.motion import Block, BlockKind
from firmware_host.simulator.axis.single_precision import single, to_position, to_steps
from firmware_host.simulator.axis.straight_move import AxisLimits, slowed, starting, straight_block
from firmware_host.simulator.board_core import BoardCore, Lateness
from firmware_host.simulator.numbered_line.numbering import LineCheck, NumberedCommand
from firmware_host.simulator.numbered_line.settings import LineSettings
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from firmware_host.simulator.numbered_line.words import RefusedCommandError

TIMEOUT = "M84 S"
"""Stepper time-out (s, 0 = never) on boards that store it."""
Z_JUMP = "M207 Z"
SLOWEST_PER_S = 0.05
"""No move is asked to go slower than this (units/s; from memory)."""


class NumberedBoard(BoardCore):
    """Everything the board knows.

    `lines` are the commands that wait their turn. `outputs` holds (s, pin, value) of every M42 carried out;
    `heater_writes` what M204 did to a heater. `greeting` gives what is said behind `start`, `last_words` what is said
    at a halt; `z_jump_raised` tells whether the start-speed jump of Z was found too low. `homed` holds the letters of
    axes homed since the last start, `bounds_on` whether bounds that hold then are switched on. `halts_at_s` is when a
    halt under way comes to its end (inf: there is none).
    """

    def __init__(self, variant: NumberedLineVariant, start_s: float) -> None:
        super().__init__(variant.axes, start_s, variant.motion.bunches)
        self.variant = variant
        self.settings = LineSettings(variant)
        self.check = LineCheck(variant)
        self.lines: deque[NumberedCommand] = deque()
        self.position = [0.0] * len(variant.axes)
        self.offset = [0.0] * len(variant.axes)
        self.queued = [0] * len(variant.axes)
        self.absolute = True
        self.unit = 1.0
        self.feed = variant.start_feed
        self.halted = False
        self.input_dropped = False
        self.boot_until_s = -math.inf
        self.timeout_s = variant.release_after_s
        self.sync_late = Lateness(variant.sync_delay_s, variant.sync_spread_s)
        self.outputs: list[tuple[float, int, int]] = []
        self.heater_writes: list[tuple[float, Mapping[str, str]]] = []
        self.greeting: Callable[[], Iterable[str]] = tuple
        self.last_words: Callable[[], Iterable[str]] = tuple
        self.homed: set[str] = set()
        self.bounds_on = True
        self.z_jump_raised = False
        self.halts_at_s = math.inf

    # --- positions ------------------------------------------------------------------------------------------

    def steps_per_unit(self, index: int) -> float:
        return self.settings[f"M92 {self.variant.axes[index]}"]

    def counters(self) -> tuple[int, ...]:
        return self.kernel.counters_at(self.now_s)

    def machine_position(self) -> list[float]:
        """Machine coordinates of where the step counters stand."""
        return [to_position(count, self.steps_per_unit(index)) for index, count in enumerate(self.counters())]

    def synchronise(self) -> None:
        """Plan on from where the counters stand."""
        self.queued = list(self.counters())
        self.position = self.machine_position()

    def place(self, index: int, position: float) -> None:
        """Declare the standing axis to be at this machine coordinate; step count included."""
        self.position[index] = position
        self.queued[index] = to_steps(position, self.steps_per_unit(index))
        self.kernel.set_counter(index, self.queued[index])

    def set_scale(self, index: int, steps_per_unit: float) -> None:
        """Change the steps per unit of the standing axis: either its position or its step count becomes another."""
        self.settings[f"M92 {self.variant.axes[index]}"] = steps_per_unit
        if self.variant.scale_change_moves_nothing:
            return
        if self.variant.scale_change_shifts_position:
            self.position[index] = to_position(self.queued[index], self.steps_per_unit(index))
        else:
            self.place(index, self.position[index])

    def load_settings(self, *, delivered: bool = False) -> None:
        """Take the settings stored, or those `delivered`; a start-speed jump of Z below one step's is raised to it."""
        if delivered:
            self.settings.deliver()
        else:
            self.settings.load()
        self.z_jump_raised = False
        if Z_JUMP in self.settings:
            lowest = math.sqrt(2 * self.settings["M201 Z"] / self.settings["M92 Z"])
            self.z_jump_raised = self.settings[Z_JUMP] < single(lowest)
            self.settings[Z_JUMP] = max(self.settings[Z_JUMP], lowest)

    def set_offset(self, index: int, value: float) -> None:
        """Let the standing axis' program coordinate be `value` (units)."""
        if self.variant.offset_moves_counts:
            self.offset[index] = 0.0
            self.place(index, _finite(value))
        else:
            self.offset[index] = _finite(single(self.position[index] - value))

    # --- motion ---------------------------------------------------------------------------------------------

    def target(self, words: Mapping[int, float]) -> list[float]:
        """Machine coordinates of a move's end from its words (units, by axis index)."""
        target = list(self.position)
        for index, value in words.items():
            base = self.offset[index] if self.absolute else self.position[index]
            target[index] = _finite(single(value + base))
        return target

    def queue_move(self, target: list[float], feed: float) -> bool:
        """Queue a straight move at `feed` units/min; one that stays on its step makes no motion.

        False if it is refused because of the axis' bounds: nothing is changed then.
        """
        within = [self._within(index, value) for index, value in enumerate(target)]
        if within != target and self.variant.motion.bounds == "refused":
            return False
        target = self.position = within
        goal = [to_steps(value, self.steps_per_unit(index)) for index, value in enumerate(target)]
        most = max(abs(new - old) for new, old in zip(goal, self.queued, strict=True))
        if most >= self.variant.motion.shortest_move_steps:
            self.queue_steps(goal, max(feed / 60, SLOWEST_PER_S), "move")
        return True

    def _within(self, index: int, position: float) -> float:
        """The machine coordinate, or the bound next to it that holds now."""
        ways, axis = self.variant.motion, self.variant.axes[index]
        if ways.bounds == "none" or (
            ways.bounds == "clipped once homed" and not (self.bounds_on and axis in self.homed)
        ):
            return position
        lowest, highest = (self.settings.get(f"{end} {axis}") for end in ("min", "max"))
        position = position if lowest is None else max(position, lowest)
        return position if highest is None else min(position, highest)

    def queue_steps(self, goal: list[int], speed: float, kind: BlockKind) -> None:
        """Queue a straight move to absolute step counts at `speed` units/s, within the limits."""
        delta = tuple(new - old for new, old in zip(goal, self.queued, strict=True))
        self.queued = goal
        if any(delta):
            self.kernel.queue(slowed(self._block(delta, kind), speed), self.now_s)

    def _block(self, delta: tuple[int, ...], kind: BlockKind) -> Block:
        settings, variant = self.settings, self.variant
        general = settings[f"M204 {self._acceleration_letter(delta)}"] if variant.m204 == "acceleration" else math.inf
        plain = self._acceleration_letter(delta) == "T"
        governing = variant.motion.plain_acceleration if plain else "M201"
        axes = [
            AxisLimits(
                settings[f"M92 {axis}"],
                settings[f"M203 {axis}"],
                settings.get(f"{governing} {axis}", settings[f"M201 {axis}"]),
                -1 if axis in variant.reversed_axes else 1,
            )
            for axis in variant.axes
        ]
        block = straight_block(
            delta, axes, highest_step_rate=variant.highest_step_rate, when_too_fast=variant.when_too_fast, kind=kind
        )
        jump = settings[variant.motion.jump_setting] / 2 if variant.motion.jump_setting else 0.0
        return starting(slowed(block, block.speed, general), jump, variant.motion.first_step_rate)

    def _acceleration_letter(self, delta: tuple[int, ...]) -> str:
        feeding = [bool(steps) for axis, steps in zip(self.variant.axes, delta, strict=True) if axis == "E"]
        others = [bool(steps) for axis, steps in zip(self.variant.axes, delta, strict=True) if axis != "E"]
        if not any(feeding):
            return "T"
        return "P" if any(others) else "R"

    def cut_motion(self) -> None:
        """Drop all motion at once and plan on from the counters, which may not tell the truth any more."""
        moving = self.kernel.moving()
        self.kernel.abort(self.now_s, runs_on=self.variant.motion.cut_runs_on)
        self.synchronise()
        if moving:
            self.note_standstill(self.now_s)

    def note_standstill(self, since_s: float) -> None:
        """The motors stand since `since_s`: the time-out runs."""
        self.released_after_s = math.inf if self.timeout_s is None else since_s + self.timeout_s

    def set_timeout(self, timeout_s: float | None) -> None:
        """Change the time-out. Motors already released stay so until they are energised or move."""
        self.timeout_s = timeout_s
        if TIMEOUT in self.settings:
            self.settings[TIMEOUT] = timeout_s or 0.0
        if not self.released():
            self.note_standstill(self.now_s)

    # --- halts and resets -----------------------------------------------------------------------------------

    def halt(self) -> None:
        """Stop everything for good, release the motors, say why. Whatever was received is forgotten."""
        self.input_dropped = True
        self.lines.clear()
        for text in self.last_words():
            self.say(text)
        if self.variant.halts_after_s:
            self.halts_at_s = self.now_s + self.variant.halts_after_s
            self.halted = True
        else:
            self.end_halt()

    def end_halt(self) -> None:
        """Cut the motion of a halt, then start anew or wait for a reset."""
        self.halts_at_s = math.inf
        self.cut_motion()
        if self.variant.after_halt == "restarts":
            self.restart(boots=not self.variant.halts_after_s)
        else:
            self.halted = True
            self.released_after_s = self.now_s

    def restart(self, *, boots: bool = True) -> None:
        """Start anew: position 0, numbers from 1, stored settings, motors released until they are energised.

        `boots`: bytes are lost and nothing is said for a while.
        """
        self.halts_at_s = math.inf
        self.cut_motion()
        self.drop_unsaid()
        self.halted = False
        self.input_dropped = True
        self.lines.clear()
        self.check.restart()
        self.load_settings()
        self.homed.clear()
        self.bounds_on = True
        for index in range(len(self.variant.axes)):
            self.offset[index] = 0.0
            self.place(index, 0.0)
        self.absolute, self.unit, self.feed = True, 1.0, self.variant.start_feed
        self.timeout_s = self.settings.get(TIMEOUT, self.variant.release_after_s) or None
        self.released_after_s = self.now_s
        boot_s = self.variant.boot_loss_s if boots else 0.0
        self.boot_until_s = self.now_s + boot_s
        if self.variant.greets:
            for line in ("start", *self.greeting()):
                self.say(line, boot_s)


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise RefusedCommandError("coordinate out of range")
    return value
