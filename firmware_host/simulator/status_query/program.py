"""The program state: modes, offsets and the parser's own position, all in 32-bit floats.

The parser's position (units) and the planner's (steps) are two things: they agree only while nobody changes the steps
per unit in between.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from firmware_host.simulator.axis.single_precision import single
from firmware_host.simulator.status_query.refusal import RefusedLineError
from firmware_host.simulator.status_query.words import Words

UNITS_PER_INCH = 25.4
FIRST_SYSTEM = 540


@dataclass(frozen=True)
class Move:
    """A straight move to `target` (machine units, one per axis); `feed` in units/min, or in 1/min if `inverse_time`,
    or None for as fast as the axes go.
    """

    target: tuple[float, ...]
    feed: float | None
    inverse_time: bool = False


@dataclass(frozen=True)
class Modes:
    """What stays in force from line to line. G words are kept as ten times their number."""

    motion: int = 0
    plane: int = 170
    units: int = 210
    distance: int = 900
    feed_mode: int = 940
    system: int = FIRST_SYSTEM
    spindle: int = 5
    coolant: tuple[int, ...] = ()
    feed: float = 0.0
    speed: float = 0.0

    def output_letters(self) -> str:
        """The outputs that are on, as a status report names them."""
        letters = {3: "S", 4: "C"}.get(self.spindle, "")
        return letters + ("F" if 8 in self.coolant else "") + ("M" if 7 in self.coolant else "")


@dataclass
class LinePlan:
    """What a line makes the board do, in this order: outputs, dwell, storing, moves, program stop."""

    outputs: list[str] = field(default_factory=list)
    dwell_s: float | None = None
    stores: bool = False
    moves: list[Move] = field(default_factory=list)
    stop: int | None = None


class Program:
    """Interprets words one line at a time. `systems` holds G54..G59, `homes` what G28 and G30 go to (both stored)."""

    def __init__(self, axes: str, metric_letters: str = "") -> None:
        self.axes = axes
        self._metric = frozenset(axes.index(letter) for letter in metric_letters)
        zero = [0.0] * len(axes)
        self.systems = [list(zero) for _ in range(6)]
        self.homes = {280: list(zero), 300: list(zero)}
        self.shift = list(zero)
        self.position = list(zero)
        self.modes = Modes()

    def restart(self, position: list[float]) -> None:
        """What a reset leaves: the stored offsets, the given position (machine units), every mode back to its start."""
        self.shift = [0.0] * len(self.axes)
        self.modes = Modes()
        self.position = position

    def offsets(self) -> list[float]:
        """Machine minus work coordinate, per axis, in units."""
        system = self.systems[self._system_index()]
        return [single(a + b) for a, b in zip(system, self.shift, strict=True)]

    def read(self, words: Words) -> LinePlan:
        """Take over a line's words and return what is to be done; a RefusedLineError leaves all as it was."""
        modes, shift, homes = self.modes, list(self.shift), dict(self.homes)
        try:
            return self._read(words)
        except RefusedLineError:
            self.modes, self.shift, self.homes = modes, shift, homes
            raise

    def jog(self, words: Words) -> Move:
        """A jog: one move at its own feed and in its own units and distance mode; modes and feed stay."""
        allowed = {"once", "distance", "units"}
        if words.m or set(words.g) - allowed or words.g.get("once", 530) != 530:
            raise RefusedLineError(16)
        before = self.modes
        taken: dict[str, Any] = {group: tenths for group, tenths in words.g.items() if group != "once"}
        self.modes = replace(before, **taken)
        try:
            if "F" not in words.values or self._length(words.values["F"]) <= 0:
                raise RefusedLineError(22)
            if not self._axis_words(words):
                raise RefusedLineError(26)
            return Move(self._target(words, words.g.get("once") == 530), self._length(words.values["F"]))
        finally:
            self.modes = before

    # --- inside ---------------------------------------------------------------------------------------------

    def _read(self, words: Words) -> LinePlan:
        plan = LinePlan()
        once = words.g.get("once")
        has_axes = bool(self._axis_words(words))
        uses_axes = once in (100, 280, 300, 920)
        if uses_axes and "motion" in words.g:
            raise RefusedLineError(24)
        self._take_modes(words, plan)
        if once == 40:
            if words.values.get("P", -1.0) < 0:
                raise RefusedLineError(28)
            plan.dwell_s = words.values["P"]
        elif once is not None and once != 530:
            self._once(once, words, plan)
        moves = not uses_axes and (has_axes or once == 530)
        if moves:
            plan.moves.append(self._motion(words, machine=once == 530))
        if "stop" in words.m:
            plan.stop = words.m["stop"]
        if plan.stop in (2, 30):
            plan.outputs += ["M5", "M9"]
            self.modes = Modes(units=self.modes.units, feed=self.modes.feed, speed=self.modes.speed)
        return plan

    def _take_modes(self, words: Words, plan: LinePlan) -> None:
        names = {"feed": "feed_mode"}
        taken = {"motion", "plane", "units", "distance", "feed", "system"}
        modal: dict[str, Any] = {names.get(group, group): tenths for group, tenths in words.g.items() if group in taken}
        self.modes = replace(self.modes, **modal)
        if "F" in words.values:
            if words.values["F"] < 0:
                raise RefusedLineError(4)
            inverse = self.modes.feed_mode == 930
            feed = words.values["F"] if inverse else self._length(words.values["F"])
            self.modes = replace(self.modes, feed=feed)
        elif "feed" in words.g:
            self.modes = replace(self.modes, feed=0.0)
        if "S" in words.values:
            if words.values["S"] < 0:
                raise RefusedLineError(4)
            self.modes = replace(self.modes, speed=words.values["S"])
        if "spindle" in words.m:
            self.modes = replace(self.modes, spindle=words.m["spindle"])
            plan.outputs.append(f"M{words.m['spindle']}")
        if "coolant" in words.m:
            number = words.m["coolant"]
            on = () if number == 9 else tuple(sorted({*self.modes.coolant, number}))
            self.modes = replace(self.modes, coolant=on)
            plan.outputs.append(f"M{number}")

    def _motion(self, words: Words, *, machine: bool) -> Move:
        if machine and self.modes.motion not in (0, 10):
            raise RefusedLineError(30)
        if self.modes.motion == 800:
            raise RefusedLineError(31)
        if not self._axis_words(words):
            raise RefusedLineError(26)
        target = self._target(words, machine)
        if self.modes.motion == 0:
            return Move(target, None)
        inverse = self.modes.feed_mode == 930
        if self.modes.feed <= 0 or (inverse and "F" not in words.values):
            raise RefusedLineError(22)
        return Move(target, self.modes.feed, inverse)

    def _once(self, once: int, words: Words, plan: LinePlan) -> None:
        if once == 100:
            self._set_system(words)
            plan.stores = True
        elif once in (281, 301):
            self.homes[once - 1] = list(self.position)
            plan.stores = True
        elif once == 920:
            named = self._axis_words(words)
            if not named:
                raise RefusedLineError(26)
            system = self.systems[self._system_index()]
            for index, value in named.items():
                self.shift[index] = single(single(self.position[index] - system[index]) - value)
        elif once == 921:
            self.shift = [0.0] * len(self.axes)
        else:
            named = self._axis_words(words)
            home = self.homes[once]
            if named:
                plan.moves.append(Move(self._target(words, machine=False), None))
                home = [home[i] if i in named else now for i, now in enumerate(self.position)]
            plan.moves.append(Move(tuple(home), None))

    def _set_system(self, words: Words) -> None:
        which = words.values.get("L")
        number = words.values.get("P", -1.0)
        named = self._axis_words(words)
        if which not in (2.0, 20.0) or number < 0 or number != int(number):
            raise RefusedLineError(28)
        if number > 6:
            raise RefusedLineError(29)
        if not named:
            raise RefusedLineError(26)
        system = self.systems[int(number) - 1 if number else self._system_index()]
        for index, value in named.items():
            if which == 20.0:
                system[index] = single(single(self.position[index] - self.shift[index]) - value)
            elif self.modes.distance == 910:
                system[index] = single(system[index] + value)
            else:
                system[index] = value

    def _system_index(self) -> int:
        return (self.modes.system - FIRST_SYSTEM) // 10

    def _length(self, value: float) -> float:
        return single(value * UNITS_PER_INCH) if self.modes.units == 200 else value

    def _axis_words(self, words: Words) -> dict[int, float]:
        """Axis words in units by axis index. Inches turn degrees too, but for the axes that are known as rotary: the
        board takes every other one for a length.
        """
        named = {i: words.values[axis] for i, axis in enumerate(self.axes) if axis in words.values}
        return {i: value if i in self._metric else self._length(value) for i, value in named.items()}

    def _target(self, words: Words, machine: bool) -> tuple[float, ...]:
        target = list(self.position)
        offsets = self.offsets()
        for index, value in self._axis_words(words).items():
            if machine:
                target[index] = value
            elif self.modes.distance == 910:
                target[index] = single(self.position[index] + value)
            else:
                target[index] = single(value + offsets[index])
        return tuple(target)
