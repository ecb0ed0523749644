"""`direction`: which way the part turns."""

from __future__ import annotations

from fractions import Fraction

from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure
from firmware_host.commissioning.script import Ask, Script, TurnTo

_EIGHTH = Fraction(1, 8)
_WORDS = ("clockwise", "counter-clockwise")


class Direction(Procedure):
    """Turn an eighth of a turn the way a mark runs, and ask which way that was."""

    key = "direction"
    title = "which way is positive"
    purpose = "Shows which way the part turns as the mark runs: the marking side has to know."
    needs = ("eyes on the part, from its free end",)
    repeats = 1

    def moves(self, bench: Bench) -> str:
        return "The part turns 45 deg and back."

    def script(self, bench: Bench) -> Script:
        yield TurnTo(Fraction(0), "the beginning")
        yield TurnTo(_EIGHTH, "45 deg, the way a mark runs")
        question = "Seen from the part's free end, facing the drive: which way did it turn?"
        answer = yield Ask("way", question, "choice", _WORDS)
        yield TurnTo(Fraction(0), "back")
        way = str(answer)
        stated = bench.machine.axis.turns
        return (
            Finding(
                key="direction",
                name="the part turns as the mark runs",
                measured=Measured(1.0 if way == _WORDS[0] else -1.0, 0.0),
                unit="",
                formula="as seen",
                verdict="as stated" if way == stated else "change",
                sentence=f"It turns {way}; the machine file says {stated or 'nothing'}.",
                change=None if way == stated else Change("axis.turns", way),
                seen=way,
            ),
        )
