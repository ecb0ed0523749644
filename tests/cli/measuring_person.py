"""A person who measures a simulated machine at the command line: reads what `controller simulate --readings` tells."""

from __future__ import annotations

import json
import math
import random
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from firmware_host.clock import Clock
from firmware_host.commissioning.procedures.motion.swinging import PUSHED
from firmware_host.model import load_job
from firmware_host.simulator.true_machine.axis import TrueAxis
from tests.commissioning.hidden.film import Film

FRAMES = 480.0
"""Of the camera, each second."""
CORD, STEP = 0.06, 0.002
"""The cord of `drag`: the diameter that it runs on (m), and the smallest weight (kg)."""
HANGS, APART, LENGTH, SWINGS = 1.85, 0.1, 0.5, 20
"""The part of `inertia` (kg) on its two cords (m), and how many swings are timed at once."""
GOOD_RUNGS = (6, 14)
"""Of the ladder: with a step of 0.1 mm and the focus 1 mm deep, a window of 0.45 mm to each side."""
_GRAVITY = 9.80665


class MeasuringPerson:
    """Answers each question of `commission run` by the last readings.

    What the readings do not hold (which way it turns, a film of a stop, weights, temperatures, what a mark shows) is
    taken from the axis itself, as well as an instrument tells it. `mistypes`: a question at which they first type
    something wrong, and then take it back. `stops_at`: a procedure before which they stop, once.
    """

    def __init__(
        self, job: str, readings: Path, axis: TrueAxis, clock: Clock, *, mistypes: str = "", stops_at: str = ""
    ) -> None:
        self._job, self._readings, self._axis, self._clock = job, readings, axis, clock
        self._begun: dict[str, Any] = {}
        self._films: list[Film] = []
        self._rng = random.Random(3)
        self._mistypes, self._stops_at = mistypes, stops_at
        self._types_back = False
        self.reads = True
        """Whether they read the instruments at each standstill; nobody does for the hour of the job's cycle."""
        self._stood = 0.0

    def answer(self, asked: str) -> str:
        """What they type at a question, the text that was shown with it."""
        text = " ".join(asked.split())
        if self._types_back:
            self._types_back = False
            return "back"
        for pattern, answers in self._ANSWERS:
            if (found := re.search(rf"{pattern}[^?]*\?( \([^()]*\))?$", text)) is not None:
                return self._typed(text, answers(self, found))
        raise NotImplementedError(f"{text!r}: teach the person of the tests to read it")

    def _typed(self, text: str, answer: str) -> str:
        if self._mistypes and self._mistypes in text:
            self._mistypes, self._types_back = "", True
            return answer.replace("0.", "6.", 1)
        return answer

    # --- places and lengths ------------------------------------------------------------------------------------------

    def _begin(self, found: re.Match[str]) -> str:
        if self._stops_at and found["key"] == self._stops_at:
            self._stops_at = ""
            return "stop"
        self._begun, self.reads = self._last(), found["key"] != "warm-up"
        return "begin"

    def _scribed(self, _: re.Match[str]) -> str:
        self._begun = self._last()
        return "done"

    def _line(self, _: re.Match[str]) -> str:
        """How far the line stands beyond the place where it was scribed when the procedure began, or since."""
        now, begun = self._last(), self._begun
        per_turn = float(self._per_turn())
        turned = self._angle(now) - self._angle(begun)
        asked = 2 * math.pi * (now["pulses"] - begun["pulses"]) / per_turn
        return f"{math.degrees(turned - asked):z.1f} deg"

    def _indicator(self, _: re.Match[str]) -> str:
        return f"{self._last()['height'] * 1e3:z.2f} mm"

    def _behind(self, _: re.Match[str]) -> str:
        """How far the line on the driven roller stands beyond its place."""
        return f"{math.degrees(self._last()['roller_off'] - self._begun['roller_off']):z.1f} deg"

    def _let_go(self, _: re.Match[str]) -> str:
        self._stood += math.degrees(self._axis.power_off())
        return f"{self._stood:.1f} deg"

    def _still_there(self, _: re.Match[str]) -> str:
        return f"{self._stood:.1f} deg"

    # --- swings ------------------------------------------------------------------------------------------------------

    def _pushed(self, _: re.Match[str]) -> str:
        rotor = self._axis.rotor
        most = PUSHED / (rotor.teeth * rotor.turns)
        pushes = [self._axis.pushed(self._rng.uniform(0.75, 1.0) * most) for _ in range(5)]
        self._films = [Film(each, FRAMES, self._rng) for each in pushes]
        return "yes"

    def _filmed(self, found: re.Match[str]) -> str:
        """What is counted on a film."""
        return f"{self._films[int(found['number']) - 1].read(found['what'].split()[-1]):.3g}"

    def _swings(self, _: re.Match[str]) -> str:
        """The time of the part's swings on its two cords; a hand stops the watch."""
        inertia = self._axis.loose.inertia - load_job(self._job).machine.drive.shaft_body.inertia
        period = math.sqrt(16 * math.pi**2 * LENGTH * inertia / (HANGS * _GRAVITY * APART**2))
        return f"{SWINGS * period + self._rng.uniform(-0.1, 0.1):.2f} s"

    # --- weights, warmth, marks --------------------------------------------------------------------------------------

    def _weight(self, found: re.Match[str]) -> str:
        """The first weight, in its steps, that turns it at that place and that way."""
        loose = self._axis.loose
        helps = -loose.imbalance * math.sin(math.radians(float(found["at"])))
        torque = loose.friction + (helps if found["way"].startswith("the way") else -helps)
        return f"{math.ceil(torque / (_GRAVITY * CORD / 2) / STEP) * STEP * 1e3:.0f} g"

    def _case(self, _: re.Match[str]) -> str:
        return f"{self._warmth() + self._rng.uniform(-0.3, 0.3):.1f} degC"

    def _warmth(self) -> float:
        """Of the case, degC; as the air until somebody asks."""
        return self._axis.temperature(self._clock.monotonic()).case

    def _rung(self, found: re.Match[str]) -> str:
        return str(GOOD_RUNGS[found["which"] == "last"] + (self._rng.random() < 0.2))

    # --- what was read -----------------------------------------------------------------------------------------------

    def _per_turn(self) -> Any:
        setup = load_job(self._job)
        return setup.machine.microsteps_per_part_turn(setup.job.part.contact)

    def _angle(self, reading: dict[str, Any]) -> float:
        return 2 * math.pi * float(reading["asked_turns"]) + float(reading["line_off"])

    def _last(self) -> dict[str, Any]:
        text = self._readings.read_text(encoding="utf-8") if self._readings.exists() else ""
        lines = text.splitlines()
        nothing = {"pulses": 0, "asked_turns": 0.0, "line_off": 0.0, "roller_off": 0.0}
        return json.loads(lines[-1]) if lines else nothing  # type: ignore[no-any-return]

    _ANSWERS: tuple[tuple[str, Callable[[MeasuringPerson, re.Match[str]], str]], ...] = (
        (r"\d+ of \d+: (?P<key>[a-z-]+) .*Begin it, skip it, or stop here", _begin),
        (r"Write [a-z]", lambda self, _: "yes"),
        (r"Is the laser off", lambda self, _: "off"),
        (r"Try to turn the shaft by hand", lambda self, _: "holds"),
        (r"which way did it turn", lambda self, _: self._axis.true.turns or "clockwise"),
        (r"Is the line scribed where it stands now", _scribed),
        (r"how far does the line stand beyond its place", _line),
        (r"how far beyond its mark does the line stand", _line),
        (r"the reading, come from (below|above)", _line),
        (r"what does the indicator read", _indicator),
        (r"how far beyond its place is the line on the part", _line),
        (r"And the line on the driven roller", _behind),
        (r"Is the belt off", lambda self, _: "yes"),
        (r"The diameter that the cord runs on", lambda self, _: f"{CORD * 1e3:.0f} mm"),
        (r"The smallest weight that you add", lambda self, _: f"{STEP * 1e3:.0f} g"),
        (r"by hand to (?P<at>[\d.]+) deg\. The weight that just turns it (?P<way>the way|the other)", _weight),
        (r"And the gearing's efficiency", lambda self, _: "no"),
        (r"How is it measured", lambda self, _: "two-cords"),
        (r"Is the part in it", lambda self, _: "yes"),
        (r"What hangs there: its mass", lambda self, _: f"{HANGS:g} kg"),
        (r"The smallest step of that scale", lambda self, _: "5 g"),
        (r"How far are the cords apart", lambda self, _: f"{APART * 1e3:.0f} mm"),
        (r"How long are they", lambda self, _: f"{LENGTH * 1e3:.0f} mm"),
        (r"how many swings to and fro", lambda self, _: str(SWINGS)),
        (r"How far does it swing to one side", lambda self, _: "8 deg"),
        (r"the time of these swings", _swings),
        (r"How will the swings be read", lambda self, _: "pushed"),
        (r"How many frames a second does the camera take", lambda self, _: f"{FRAMES:g}"),
        (r"Is it running", lambda self, _: "ready"),
        (r"Is that filmed", _pushed),
        (
            r"(Move|Push) (?P<number>\d+): how (many whole|many|wide was the) (?P<what>swings|frames|first|last)",
            _filmed,
        ),
        (r"How many degC may the thermometer be off", lambda self, _: "0.5"),
        (r"The air around the motor", lambda self, _: f"{self._warmth():.1f} degC"),
        (r"The case, (before|after)", _case),
        (r"motor on: where is the line", _still_there),
        (r"And now, let go of", _let_go),
        (r"nobody exposed", lambda self, _: "ready"),
        (r"to the (right|left): the (?P<which>first|last) rung", _rung),
    )
