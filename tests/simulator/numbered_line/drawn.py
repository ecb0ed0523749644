"""A recording's questions with other values and its groups in another order, and what must follow from what is sent.

The expectation is worked out from the lines alone, in fractions: it shares no code with the simulated board.
"""

from __future__ import annotations

import math
import random
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import groupby

from tests.simulator.numbered_line.bench import numbered
from tests.simulator.numbered_line.playback import plain
from tests.simulator.numbered_line.recording import Exchange
from tests.support.exchanges import shape

FIRST = ("opening", "started", "line count", "who it is", "position, steps counted", "settings", "motors")
"""Headings of groups that keep their place: what they show is that of a board as delivered."""
LAST = "M112"
"""From the group whose heading begins so, starts follow one another: their order is part of what is recorded."""
_SENT = re.compile(r"N(\d+)(?: (.*)\*(\d+))?")
_MOVE = re.compile(r"G[01]\b")


def form(text: str) -> str:
    """The text with every number masked; of an echo only that it is one."""
    return "Got:" if text.startswith("Got:") else shape(text.rstrip())


def reordered(exchanges: Sequence[Exchange], chance: random.Random) -> list[Exchange]:
    """The same with its middle groups shuffled, each begun at machine zero, and with other values all through."""
    groups = [list(group) for _, group in groupby(exchanges, key=lambda exchange: exchange.heading)]
    first = next(i for i, group in enumerate(groups) if not group[0].heading.startswith(FIRST))
    last = next(i for i, group in enumerate(groups) if group[0].heading.startswith(LAST))
    middle = groups[first:last]
    chance.shuffle(middle)
    factor, at_s = chance.uniform(0.75, 1.4), 0.0
    out: list[Exchange] = []
    for group in groups[:first] + middle + groups[last:]:
        begun = [Exchange(words, 0.0, "between") for words in BETWEEN]
        for exchange in (begun if group in middle else []) + group:
            at_s += 6.0 if exchange.heading == "between" else 1.53
            out.append(replace(exchange, sent=_other(exchange.sent, factor, chance), at_s=at_s))
    return out


BETWEEN = ("M400", "G1 X@ F6000", "M400", "M114", "G92 X0")
"""Sent before a shuffled group; @ stands for machine zero, or a hair above it."""


def _other(sent: str | None, factor: float, chance: random.Random) -> str | None:
    """The line with another value for each word that is no switch."""
    match = re.fullmatch(r"(N\d+ |)(G0|G1|G92|M92|M20[1-4])( .*?)(\*\d+|)", sent or "")
    if match is None or "@" in match[3]:
        return sent
    own = factor if match[2].startswith("G") else chance.uniform(0.6, 1.5)
    words = re.sub(r"([XPST])(-?[\d.]+)", lambda m: f"{m[1]}{round(float(m[2]) * own, 4):g}", match[3])
    words = re.sub(r"F(\d+)", lambda m: f"F{round(int(m[1]) * factor)}", words)
    return f"{match[1]}{match[2]}{words}{match[4]}"


@dataclass
class Expected:
    """What follows from the lines sent to one board. `stored_shown`: its listing shows what is stored.

    `offset` = machine coordinate of the program's zero. Rates are units/s.
    """

    stored_shown: bool
    shortest: int
    bounds: tuple[Fraction, Fraction]
    settings: dict[str, Fraction]
    stored: dict[str, Fraction] = field(default_factory=dict)
    delivered: dict[str, Fraction] = field(default_factory=dict)
    position: Fraction = Fraction(0)
    offset: Fraction = Fraction(0)
    count: int = 0
    homed: bool = False
    bounded: bool = True
    last: int = 0

    def __post_init__(self) -> None:
        self.stored, self.delivered = dict(self.settings), dict(self.settings)

    # --- numbers --------------------------------------------------------------------------------------------

    def line(self, exchange: Exchange) -> tuple[str, str]:
        """What to send now, put into this playback's numbering; and its words if they will be carried out."""
        sent = (exchange.sent or "").replace("@", f"{float(-self.offset) + 2e-5:.6f}")
        if exchange.heading == "between":
            self.last += 1
            return numbered(self.last, sent), sent
        match = _SENT.fullmatch(sent)
        if match is None or match[2] is None:
            return sent, sent if re.match("[GM]", sent) else ""
        number, words = int(match[1]), match[2]
        if words.startswith("M110"):
            self.last = 0
            return numbered(0, words), words
        step, sound = exchange.step, exchange.sound
        if step == 1 and sound:
            self.last += 1
            return numbered(self.last, words), words
        line = numbered(self.last + step if step >= 1 else number, words)
        return line if sound else f"{line}1", ""

    # --- state ----------------------------------------------------------------------------------------------

    def carry_out(self, words: str) -> None:
        """Follow a line that the board takes."""
        code = words.partition(" ")[0]
        values = {m[1]: Fraction(m[2]) for m in re.finditer(r"([A-Z])(-?[\d.]+)", words.partition(" ")[2])}
        if _MOVE.match(code) and "X" in values:
            self._move(values["X"] + self.offset)
        elif code == "G92" and "X" in values:
            self.offset = self.position - values["X"]
        elif code == "G28":
            self.homed, self.position, self.offset, self.count = True, Fraction(0), Fraction(0), 0
        elif code == "M211" and "S" in values:
            self.bounded = values["S"] != 0
        elif code in ("M500", "M501", "M502"):
            self._keep(code)
        else:
            self._set(code, values)

    def _move(self, target: Fraction) -> None:
        lowest, highest = self.bounds
        if self.stored_shown and not lowest <= target <= highest:
            return
        if not self.stored_shown and self.homed and self.bounded:
            target = min(max(target, lowest), highest)
        self.position = target
        goal = _rounded(target * self.settings["M92 X"])
        if abs(goal - self.count) >= self.shortest:
            self.count = goal

    def _keep(self, code: str) -> None:
        if code == "M500":
            self.stored = dict(self.settings)
            return
        self.settings = dict(self.stored if code == "M501" else self.delivered)
        self._rescaled()

    def _rescaled(self) -> None:
        if not self.stored_shown:
            self.count = _rounded(self.position * self.settings["M92 X"])

    def _set(self, code: str, values: dict[str, Fraction]) -> None:
        if code == "M204" and "S" in values:
            values = {"P": values["S"], "T": values["S"]}
        for letter, value in values.items():
            if f"{code} {letter}" not in self.settings:
                continue
            if code == "M203" and self.stored_shown:
                value /= 60
            self.settings[f"{code} {letter}"] = (
                Fraction(int(value)) if code == "M201" and not self.stored_shown else value
            )
            if code == "M92":
                self._rescaled()

    def start(self, *, fresh: bool = False) -> None:
        """Follow a start; `fresh`: of another board, as delivered."""
        if fresh:
            self.stored = dict(self.delivered)
        self.settings = dict(self.stored)
        self.position = self.offset = Fraction(0)
        self.count = self.last = 0
        self.homed, self.bounded = False, True

    def stopped(self, count: int) -> None:
        """Follow a stop under way, at the step count at which the motor then stands."""
        self.count = count
        self.position = count / self.settings["M92 X"]

    # --- what must be said ----------------------------------------------------------------------------------

    def wrong(self, said: Sequence[str]) -> list[str]:
        """What is told otherwise than it must be."""
        return [
            f"{text}: {told} should be {right}" for text in said for told, right in self._figures(text) if told != right
        ]

    def _figures(self, text: str) -> list[tuple[str, str]]:
        if (match := re.match(r"X:(\S+) Y:.*?(?:Count X:(-?\d+)|$)", text)) is not None:
            place = _near(match[1], self.position - self.offset)
            return [(match[1], place), *([(match[2], self._count(match[2]))] if match[2] else [])]
        if (match := re.match(r"XS:(-?\d+)", text)) is not None:
            return [(match[1], self._count(match[1]))]
        if (match := re.match(r"Resend: ?(\d+)|Error:expected line (\d+)|ok (\d+)$", text)) is not None:
            told = match[1] or match[2]
            return [(told, str(self.last + 1))] if told else []
        if (match := re.match(r"(?:echo:)?  (M\d+) (.*)", text)) is not None:
            words = re.findall(r"([XPT])([\d.]+)", match[2])
            kept = [(value, self.settings.get(f"{match[1]} {letter}")) for letter, value in words]
            return [(value, _near(value, right)) for value, right in kept if right is not None]
        for ending, key in LISTED.items():
            if (match := re.match(r"EPR:\d \d+ ([\d.]+) (.*)", text)) is not None and match[2].startswith(ending):
                return [(match[1], _near(match[1], self.stored[key]))]
        return []

    def _count(self, told: str) -> str:
        """The count that must be told; the one told, where the place is so near a half step that 32 bits decide."""
        exact = self.position * self.settings["M92 X"]
        if _rounded(exact) == self.count and abs(int(told) - exact) <= Fraction(1, 2) + HALF_STEP_ROOM:
            self.count = int(told)
        return str(self.count)


HALF_STEP_ROOM = Fraction(12, 1000)
"""Steps: so near a half the recorded board was found a step beside the exact place."""
LISTED = {
    "X-axis steps": "M92 X",
    "X-axis max. feedrate": "M203 X",
    "X-axis acceleration": "M201 X",
    "X-axis travel acceleration": "M202 X",
}


def _rounded(value: Fraction) -> int:
    """Nearest whole number, halves away from zero."""
    size = math.floor(abs(value) + Fraction(1, 2))
    return -size if value < 0 else size


def _near(told: str, right: Fraction) -> str:
    """The text told, if it is the right value to half of its last digit and what 32 bits lose; else the right one."""
    decimals = len(told.partition(".")[2])
    room = Fraction(1, 2 * 10**decimals) + abs(right) / 2**22
    return told if abs(Fraction(told) - right) <= room else f"{float(right):.{decimals}f}"


def same_shape(recorded: Sequence[str], said: Sequence[str]) -> bool:
    return [form(text) for text in plain(recorded)] == [form(text) for text in plain(said)]
