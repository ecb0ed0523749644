"""From the text of a line to its words (NIST RS274/NGC Interpreter v3, section 3.3: a letter and a number)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from firmware_host.errors import FirmwareHostError
from firmware_host.simulator.axis.single_precision import single

_CODE = re.compile(r"([GM])0*(\d{1,4})(?!\d)(\.\d+)?")
_WORD = re.compile(r"([A-Z])([^A-Z]*)")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")


@dataclass(eq=False)
class RefusedCommandError(FirmwareHostError):
    """The simulated board takes the line but says that it cannot carry it out."""

    reason: str

    def message(self) -> str:
        return self.reason


@dataclass(frozen=True)
class Command:
    """A command word such as `G1` or `M84` and the words behind it; `code` is empty if the line begins otherwise."""

    code: str
    texts: dict[str, str]
    bad_as_zero: bool

    def has(self, letter: str) -> bool:
        return letter in self.texts

    def number(self, letter: str) -> float:
        """A word's value as a 32-bit float; RefusedCommandError (or 0, as the variant does) if it is no number."""
        text = self.texts[letter].strip()
        value = single(float(text)) if _NUMBER.fullmatch(text) else math.inf
        if math.isfinite(value):
            return value
        if self.bad_as_zero:
            return 0.0
        raise RefusedCommandError(f"bad number {letter}{printable(text)}")

    def get(self, letter: str, otherwise: float) -> float:
        return self.number(letter) if letter in self.texts else otherwise


def read_command(text: str, *, bad_as_zero: bool) -> Command:
    """Split a line's words. A letter given twice counts as given last (from memory)."""
    text = text.upper()
    match = _CODE.match(text)
    if match is None:
        return Command("", dict(_WORD.findall(text)), bad_as_zero)
    code = f"{match.group(1)}{match.group(2)}{match.group(3) or ''}"
    return Command(code, dict(_WORD.findall(text[match.end() :])), bad_as_zero)


def printable(text: str) -> str:
    """The text as a board echoes it: what is no plain character becomes a question mark."""
    return "".join(character if " " <= character <= "~" else "?" for character in text)
