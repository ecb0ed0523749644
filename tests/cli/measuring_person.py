"""A person who measures a simulated machine at the command line: reads what `controller simulate --readings` tells."""

from __future__ import annotations

import json
import math
import random
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from firmware_host.model import load_job
from firmware_host.simulator.true_machine.axis import TrueAxis
from tests.commissioning.hidden.film import Film

FRAMES = 480.0
"""Of the camera, each second."""


class MeasuringPerson:
    """Answers each question of `commission run` by the last readings.

    What the readings do not hold (which way it turns, a film of a stop) is seen at the axis itself.
    """

    def __init__(self, job: str, readings: Path, axis: TrueAxis) -> None:
        self._job, self._readings, self._axis = job, readings, axis
        self._begun: dict[str, Any] = {}
        self._films: list[Film] = []
        self._rng = random.Random(3)

    def answer(self, asked: str) -> str:
        """What they type at a question, the text that was shown with it."""
        for pattern, answers in self._ANSWERS:
            if (found := re.search(pattern, asked, re.DOTALL)) is not None:
                return answers(self, found)
        raise NotImplementedError(f"{asked!r}: teach the person of the tests to read it")

    def look(self) -> None:
        """What they do at each standstill: the camera runs."""
        self._films.append(Film(self._axis.stop, FRAMES, self._rng))

    def _begin(self, _: re.Match[str]) -> str:
        self._begun = self._last()
        return "begin"

    def _line(self, _: re.Match[str]) -> str:
        """How far the line stands beyond the place where it was scribed when the procedure began."""
        now, begun = self._last(), self._begun
        per_turn = float(self._per_turn())
        turned = self._angle(now) - self._angle(begun)
        asked = 2 * math.pi * (now["pulses"] - begun["pulses"]) / per_turn
        return f"{math.degrees(turned - asked):.1f} deg"

    def _indicator(self, _: re.Match[str]) -> str:
        return f"{self._last()['height'] * 1e3:.2f} mm"

    def _filmed(self, found: re.Match[str]) -> str:
        """What is counted on the film of a move: the last five stops are the five moves that were filmed."""
        return f"{self._films[int(found['number']) - 6].read(found['what'].split()[-1]):.4g}"

    def _per_turn(self) -> Any:
        setup = load_job(self._job)
        return setup.machine.microsteps_per_part_turn(setup.job.part.contact)

    def _angle(self, reading: dict[str, Any]) -> float:
        return 2 * math.pi * float(reading["asked_turns"]) + float(reading["line_off"])

    def _all(self) -> list[dict[str, Any]]:
        text = self._readings.read_text(encoding="utf-8") if self._readings.exists() else ""
        return [json.loads(line) for line in text.splitlines()]

    def _last(self) -> dict[str, Any]:
        readings = self._all()
        return readings[-1] if readings else {"pulses": 0, "asked_turns": 0.0, "line_off": 0.0}

    _ANSWERS: tuple[tuple[str, Callable[[MeasuringPerson, re.Match[str]], str]], ...] = (
        (r"\d+ of \d+: [a-z-]+\s.*Begin it, skip it, or stop here\?", _begin),
        (r"Write [^?]*\?", lambda self, _: "yes"),
        (r"Is the laser off", lambda self, _: "off"),
        (r"which way did it turn\?", lambda self, _: self._axis.true.turns or "clockwise"),
        (r"how far does the line stand beyond its place", _line),
        (r"the reading, come from (below|above)\?", _line),
        (r"what does the indicator read\?", _indicator),
        (r"How will the swings be read\?", lambda self, _: "film"),
        (r"How many frames a second does the camera take\?", lambda self, _: f"{FRAMES:g}"),
        (r"Is it running\?", lambda self, _: "ready"),
        (
            r"Move (?P<number>\d+): how (many whole|many|wide was the) (?P<what>swings|frames|first|.* last)",
            _filmed,
        ),
    )
