"""Programs of Windows, where a group hears only Ctrl-Break and who started whom has to be looked up."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import uuid
from collections.abc import Mapping, Sequence
from contextlib import suppress

import psutil

if sys.platform != "win32":
    raise ImportError("only on Windows")

_MARK = "CIRCUMSTEP_PROGRAM"
"""The variable by which whatever the program has started is known, though who started it be gone."""
_ROUNDS = 5
_KILLING_S = 2.0
_GONE = (psutil.Error, OSError)


class Family:
    """A program and all that it has started."""

    def __init__(self, arguments: Sequence[str], environment: Mapping[str, str], *, quiet: bool) -> None:
        """Start it; `quiet`: what it prints to standard error is dropped. Raises `OSError`."""
        self._mark = uuid.uuid4().hex
        self.process = subprocess.Popen(
            list(arguments),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL if quiet else None,
            env=dict(environment) | {_MARK: self._mark},
            creationflags=subprocess.CREATE_NEW_PROCESS_GROUP,
        )
        try:
            self._began_s = psutil.Process(self.process.pid).create_time()
        except psutil.Error:  # it has ended already
            self._began_s = psutil.Process().create_time()

    def end(self, patience_s: float) -> None:
        """Ask the group to end, by Ctrl-Break; after `patience_s` (s) end it, and whatever it started, for good.

        They are looked up before anything is ended: afterwards nobody knows who started them.
        """
        kin = self._kin()
        if self.process.poll() is None:
            with suppress(OSError, ValueError):  # without a console there is no Ctrl-Break
                self.process.send_signal(signal.CTRL_BREAK_EVENT)
            try:
                self.process.wait(patience_s)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        for _ in range(_ROUNDS):  # one that was just starting another
            for one in kin:
                with suppress(*_GONE):
                    one.kill()
            psutil.wait_procs(kin, timeout=_KILLING_S)
            kin = self._kin()
            if not kin:
                return

    def _kin(self) -> list[psutil.Process]:
        """All that the program has started, children of children too, not the program itself."""
        numbers = {self.process.pid}
        found: list[psutil.Process] = []
        for candidate in sorted(psutil.process_iter(), key=_began_s):
            if _began_s(candidate) >= self._began_s and candidate.pid != self.process.pid:
                with suppress(*_GONE):
                    if candidate.ppid() in numbers or self._carries_mark(candidate):
                        numbers.add(candidate.pid)
                        found.append(candidate)
        return found

    def _carries_mark(self, candidate: psutil.Process) -> bool:
        try:
            return candidate.environ().get(_MARK) == self._mark
        except _GONE:  # somebody else's
            return False


def _began_s(process: psutil.Process) -> float:
    """When it began (s since 1970); 0 if that can't be learned: it is none of ours."""
    try:
        return process.create_time()
    except _GONE:
        return 0.0


def join_command(words: Sequence[str]) -> str:
    """As a program of Windows takes it apart again."""
    return subprocess.list2cmdline(words)


_PIECE = re.compile(r'(?P<slashes>\\*)"|(?P<space>[ \t]+)|(?P<plain>\\+|[^\\" \t]+)')


def split_command(line: str) -> tuple[str, ...]:
    """As a program of Windows takes its command line apart; source: Microsoft, "Parsing C command-line arguments".

    A backslash is a letter like any other, but before a quotation mark: two of them are one, and one more makes the
    mark a letter. Two quotation marks inside quotation marks are one as a letter. Raises `ValueError`.
    """
    words: list[str] = []
    word: str | None = None
    quoted, closed_at = False, -1
    for piece in _PIECE.finditer(line):
        if piece["slashes"] is not None:
            slashes = len(piece["slashes"])
            word = (word or "") + "\\" * (slashes // 2)
            if slashes % 2:
                word += '"'
            elif not slashes and not quoted and piece.start() == closed_at:
                word, quoted = word + '"', True
            else:
                closed_at = piece.end() if quoted else -1
                quoted = not quoted
        elif piece["space"] is not None and not quoted:
            words += [] if word is None else [word]
            word = None
        else:
            word = (word or "") + piece.group()
    if quoted:
        raise ValueError("No closing quotation")
    return (*words, *([] if word is None else [word]))
