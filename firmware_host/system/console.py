"""What is printed: what a console can't show is written otherwise; streams that are missing or gone; quoting."""

from __future__ import annotations

import codecs
import os
import sys
from collections.abc import Sequence
from typing import Any

if sys.platform == "win32":
    from firmware_host.system.windows import console as _here
else:
    from firmware_host.system.posix import console as _here

PLAIN = "circumstep-plain"
"""The name under which the encoder's errors are mended here."""

_SIGNS = {
    "\N{PLUS-MINUS SIGN}": "+/-",
    "\N{DEGREE SIGN}": "deg",
    "\N{MICRO SIGN}": "u",
    "\N{GREEK SMALL LETTER MU}": "u",
    "\N{GREEK CAPITAL LETTER OMEGA}": "ohm",
    "\N{OHM SIGN}": "ohm",
    "\N{SUPERSCRIPT TWO}": "^2",
    "\N{SUPERSCRIPT THREE}": "^3",
    "\N{MIDDLE DOT}": "*",
    "\N{DOT OPERATOR}": "*",
    "\N{MULTIPLICATION SIGN}": "x",
    "\N{MINUS SIGN}": "-",
    "\N{NON-BREAKING HYPHEN}": "-",
    "\N{EN DASH}": "-",
    "\N{EM DASH}": "-",
    "\N{HORIZONTAL ELLIPSIS}": "...",
    "\N{BULLET}": "*",
    "\N{RIGHTWARDS ARROW}": "->",
    "\N{LEFTWARDS ARROW}": "<-",
    "\N{LESS-THAN OR EQUAL TO}": "<=",
    "\N{GREATER-THAN OR EQUAL TO}": ">=",
    "\N{ALMOST EQUAL TO}": "about ",
    "\N{DIAMETER SIGN}": "dia.",
    "\N{LEFT SINGLE QUOTATION MARK}": "'",
    "\N{RIGHT SINGLE QUOTATION MARK}": "'",
    "\N{LEFT DOUBLE QUOTATION MARK}": '"',
    "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
    "\N{NO-BREAK SPACE}": " ",
}
_LINES = {0x2500: "-", 0x2501: "-", 0x2502: "|", 0x2503: "|", 0x2550: "=", 0x2551: "|"}


def plain(char: str) -> str:
    """How a sign is written where it can't be shown: in words of ASCII, else as an escape with its number."""
    if char in _SIGNS:
        return _SIGNS[char]
    if 0x2500 <= ord(char) < 0x2580:  # lines and corners of boxes
        return _LINES.get(ord(char), "+")
    return char.encode("ascii", "backslashreplace").decode("ascii")


def _mend(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(map(plain, error.object[error.start : error.end])), error.end


codecs.register_error(PLAIN, _mend)


def showable(text: str, encoding: str | None) -> str:
    """The text with whatever this encoding lacks written otherwise; unchanged if there is none."""
    return text if not encoding else text.encode(encoding, PLAIN).decode(encoding)


def prepare_streams() -> None:
    """Let standard output and standard error print any text, and lead nowhere where they are missing.

    They are missing in a program without a console, or one that was started with them closed.
    """
    sys.stdin = sys.stdin or open(os.devnull, encoding="utf-8")
    for name in ("stdout", "stderr"):
        stream: Any = getattr(sys, name)
        if stream is None:
            stream = open(os.devnull, "w", encoding="utf-8")
            setattr(sys, name, stream)
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=PLAIN)


def discard_output() -> None:
    """Send what is still to be printed nowhere: whoever read it has gone."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        for stream in (sys.stdout, sys.stderr):
            os.dup2(nowhere, stream.fileno())
    finally:
        os.close(nowhere)


def is_reader_gone(error: OSError) -> bool:
    """Whether printing failed because the program that read it has ended."""
    return _here.is_reader_gone(error)


def is_hung_up(error: OSError) -> bool:
    """Whether printing failed because the terminal was closed."""
    return _here.is_hung_up(error)


def command_line(words: Sequence[str]) -> str:
    """A command as it is typed at the shell at hand."""
    return _here.command_line(words)
