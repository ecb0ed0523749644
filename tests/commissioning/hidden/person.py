"""A person who reads what a true machine really did, as well as the instruments allow."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from fractions import Fraction

from firmware_host.commissioning.procedures.motion.swinging import PUSHED
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import Person
from firmware_host.simulator.true_machine.axis import TrueAxis
from firmware_host.station.hand.hand import Hand
from tests.commissioning.hidden.film import Film

READ_ANGLE = math.radians(0.2)
READ_LENGTH = 0.01e-3
READ_WARMTH = 0.5
_MOST_PUSHES = 5


@dataclass
class Reader(Person):
    """Reads to the instruments' limits; `stops_after` readings it goes home. `truths`: angles as they really were.

    `scribed`: where the part stood when its line was scribed (rad), and that of the drive's shaft.
    """

    axis: TrueAxis
    hand: Hand
    rng: random.Random
    stops_after: int = 10_000
    frames_per_s: float = 480.0
    within_angle: float = READ_ANGLE
    way_to_read: str = "pushed"
    asked: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    scribed: tuple[float, float] = (0.0, 0.0)
    films: list[Film] = field(default_factory=list)
    truths: dict[str, float] = field(default_factory=dict)
    _watches: bool = False

    def __post_init__(self) -> None:
        self.scribed = (self.axis.part_angle - self._asked, self.axis.roller_angle - self._asked * self._shaft_turns)
        self.axis.told = self._film

    def tell(self, text: str) -> None:
        self.told.append(text)
        self._watches = "watch how it swings" in text

    def answer(self, ask: Ask) -> Answer:
        if len(self.asked) >= self.stops_after:
            raise KeyboardInterrupt
        self.asked.append(ask.key)
        assert self.hand.where.still or not self.hand.where.energised, "a reading is taken while it stands"
        name, _, number = ask.key.rpartition("-")
        match ask.kind, name:
            case "choice", _:
                return self._chosen(ask)
            case "length", _:
                return self.axis.height() + self.rng.uniform(-READ_LENGTH, READ_LENGTH)
            case "temperature", _:
                return self.axis.temperature(self.hand.now_s).case + self.rng.uniform(-READ_WARMTH, READ_WARMTH)
            case "number", "" if number == "within":
                return READ_WARMTH
            case "number", "frames-a":
                return self.frames_per_s
            case "number", "swings" | "frames" | "first" | "last" if number.isdigit():
                return self.films[int(number) - 1].read(name)
            case (("angle" | "part-angle"), _):
                self.truths[ask.key] = self._roller if ask.key.startswith("roller") else self._line
                return self.truths[ask.key] + self.rng.uniform(-self.within_angle, self.within_angle)
        raise NotImplementedError(f"{ask}: teach the person of the tests to read it")

    def _chosen(self, ask: Ask) -> str:
        if ask.key == "ready":
            self.films = []
        if ask.key == "scribed":
            self.scribed = (self._line + self.scribed[0], self._roller + self.scribed[1])
        if ask.key == "pushed":
            self.films = [self._pushed_film() for _ in range(_MOST_PUSHES)]
        wished = (self.axis.true.turns, self.way_to_read)
        return next((each for each in wished if each in ask.choices), ask.choices[0])

    def _pushed_film(self) -> Film:
        """A hand pushes the part nearly as far as it was told to (`PUSHED`, rad of the motor's torque curve)."""
        rotor = self.axis.rotor
        aside = self.rng.uniform(0.75, 1.0) * PUSHED / (rotor.teeth * rotor.turns)
        return Film(self.axis.pushed(aside), self.frames_per_s, self.rng)

    @property
    def _sign(self) -> int:
        return self.axis.machine.axis.sign

    @property
    def _asked(self) -> float:
        """Where the part should stand (rad), by the hand."""
        where = self.hand.where
        return 2 * math.pi * float(Fraction(where.microsteps) / self.hand.plan.per_turn)

    @property
    def _shaft_turns(self) -> float:
        return float(self.hand.plan.per_turn / self.axis.machine.microsteps_per_shaft_turn)

    @property
    def _line(self) -> float:
        return self._sign * self.axis.part_angle - self.scribed[0] - self._asked

    @property
    def _roller(self) -> float:
        return self._sign * self.axis.roller_angle - self.scribed[1] - self._asked * self._shaft_turns

    def _film(self) -> None:
        if self._watches:
            self.films.append(Film(self.axis.stop, self.frames_per_s, self.rng))
