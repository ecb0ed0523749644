"""Consoles and shells of Windows."""

from __future__ import annotations

import errno
import re
import subprocess
from collections.abc import Sequence
from contextlib import suppress

_POWERSHELLS = frozenset({"powershell", "pwsh", "powershell_ise"})
_SHELLS = _POWERSHELLS | {"cmd"}
_HUNG_UP = frozenset({errno.EIO, errno.EBADF})
_SAFE = re.compile(r"[\w.:\\/=+-]+", re.ASCII)
_MOST_ABOVE = 6


def is_reader_gone(error: OSError) -> bool:
    """Whether the other end of a pipe was closed; the C runtime says "Invalid argument" then, without a file's name."""
    return isinstance(error, BrokenPipeError) or (error.errno == errno.EINVAL and error.filename is None)


def is_hung_up(error: OSError) -> bool:
    """Whether the console's window was closed."""
    return error.errno in _HUNG_UP


def command_line(words: Sequence[str]) -> str:
    """A command as it is typed at PowerShell if that started this program, else at the command prompt."""
    shell = _shell()
    if shell not in _POWERSHELLS:
        return " ".join(map(_for_prompt, words))
    return " ".join(_for_powershell(word, old=shell != "pwsh") for word in words)


def _for_powershell(word: str, *, old: bool) -> str:
    """In single quotation marks nothing is taken for anything else; one inside is doubled.

    The PowerShell that comes with Windows hands double quotation marks on without a backslash before them, which the
    program then doesn't take for letters (Microsoft, "about_Parsing", native commands); so they get theirs here.
    """
    if _SAFE.fullmatch(word):
        return word
    if old:
        word = re.sub(r'(\\*)"', r"\1\1\"", word)
        word = re.sub(r"(\\+)$", r"\1\1", word) if re.search(r"\s", word) else word
    return "'" + word.replace("'", "''") + "'"


def _for_prompt(word: str) -> str:
    """In double quotation marks, inside of which the prompt leaves all but % alone."""
    joined = subprocess.list2cmdline([word])
    return joined if _SAFE.fullmatch(word) or joined.startswith('"') else f'"{joined}"'


def _shell() -> str:
    """The nearest shell above this program, by its name; "" if there is none, or it can't be learned."""
    import psutil  # only where a command is printed

    with suppress(psutil.Error, OSError):
        for above in psutil.Process().parents()[:_MOST_ABOVE]:
            name = above.name().lower().removesuffix(".exe")
            if name in _SHELLS:
                return name
    return ""
