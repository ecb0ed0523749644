"""`profile new`: a machine, a motor or a job described by answers, at the terminal or said beforehand."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from firmware_host.cli.screen import output
from firmware_host.clock import SystemClock
from firmware_host.controller.finding import list_devices
from firmware_host.controller.registry import dialect_names, require_dialect
from firmware_host.errors import InputError, StoppedError
from firmware_host.model import load_motor
from firmware_host.model.files.profiles import list_profiles, refuse_existing
from firmware_host.model.interview.follows import key_figures, what_follows
from firmware_host.model.interview.interview import Interview
from firmware_host.model.interview.kept import forget, keep, kept_beside, resume
from firmware_host.model.interview.question import FileKind, Question
from firmware_host.model.interview.twin import answer_all
from firmware_host.model.interview.written import write_file
from firmware_host.station.opening import find_controllers

_FIND, _MORE, _BACK = "find", "??", "back"
_PORT, _DIALECT = "link.port", "link.dialect"
_HOW = (
    f"Enter takes what stands in brackets, ? says more, {_BACK} goes to the question before. Any unit will do. "
    "Ctrl-C stops: what was answered is kept."
)


def answered_beforehand(kind: FileKind, target: Path, answers: Sequence[str], *, take_usual: bool) -> Path:
    """Write the file that the answers make; returns its path. Raises `InputError`, naming what is missing."""
    refuse_existing(target)
    interview = Interview(kind, target)
    for remark in answer_all(interview, answers, take_usual=take_usual):
        output.remark(f"warning: {remark}", style="yellow")
    _require_dialect(interview)
    return write_file(interview, SystemClock().now().date())


def asked(kind: FileKind, target: Path, answers: Sequence[str]) -> Path:
    """Ask a person at the terminal question by question, write the file, return its path.

    `answers` that were said beforehand are not asked. Raises `StoppedError` where the person ends it; what was answered
    is kept, and taken up again by the next call.
    """
    refuse_existing(target)
    return _Asking(Interview(kind, target), answers).to_the_end()


def _require_dialect(interview: Interview) -> None:
    given = interview.given.get(_DIALECT)
    if given is not None and given.text:
        require_dialect(given.text)


class _Asking:
    """One interview at the terminal."""

    def __init__(self, interview: Interview, beforehand: Sequence[str]) -> None:
        self._interview = interview
        self._beforehand = {key: text for key, _, text in (each.partition("=") for each in beforehand)}

    def to_the_end(self) -> Path:
        interview = self._interview
        output.remark(f"A new {interview.kind}: {interview.target}")
        output.remark(_HOW)
        if again := resume(interview):
            output.remark(f"{again} answers were kept: it is resumed behind them ({_BACK} goes to them).")
        try:
            while (question := interview.next()) is not None:
                self._ask(question)
                keep(interview)
        except KeyboardInterrupt as stop:
            raise self._stopped("Ctrl-C") from stop
        made = write_file(interview, SystemClock().now().date())
        forget(interview)
        return made

    def _stopped(self, why: str) -> StoppedError:
        count, kept = len(self._interview.given), kept_beside(self._interview.target)
        if not count:
            return StoppedError(why, "describing it", "nothing was answered yet")
        keep(self._interview)
        sys.stderr.write("\n")
        left = f"the same command takes up the {count} answers that are kept in {kept}"
        return StoppedError(why, f"describing the {self._interview.kind}", left)

    def _ask(self, question: Question) -> None:
        interview = self._interview
        offered = interview.earlier.get(question.key) or question.offered(interview.given)
        if question.key in self._beforehand:
            self._take(question, self._beforehand.pop(question.key))
            return
        self._show(question)
        while True:
            text = self._line(f"[{offered}] > " if offered else "[not known] > " if not question.needed else "> ")
            if text and text in _MORE:
                output.remark(f"  {question.more or question.explains or 'There is no more to say.'}")
            elif text.lower() == _BACK:
                if interview.back():
                    return
                output.remark("  This is the first question.")
            elif self._answered(question, text, offered):
                return

    def _show(self, question: Question) -> None:
        output.remark("")
        output.remark(f"{len(self._interview.given) + 1}. {question.asks}")
        if question.explains:
            output.remark(f"   {question.explains}")
        choices = dialect_names() if question.key == _DIALECT else question.choices
        if choices:
            output.remark(f"   {', '.join(choices)}")
        if question.key == "motor":
            for profile in list_profiles("motors"):
                output.remark(f"   {profile.name:19} {key_figures(load_motor(str(profile.path)))}")
        if question.key == _PORT and (devices := list_devices()):
            output.remark(f"   Ports here: {', '.join(device.url for device in devices)}")

    def _answered(self, question: Question, text: str, offered: str) -> bool:
        """Whether that was an answer; else what is wrong with it is told."""
        try:
            if text.lower() == _FIND and question.key in (_PORT, _DIALECT):
                return self._find()
            if text:
                self._take(question, text)
            elif question.key in self._interview.earlier:
                self._take(question, offered)
            elif offered:
                found = self._interview.take(question, offered, question.how_offered)
                self._tell(question, [finding.text("") for finding in found])
            else:
                self._interview.skip(question)
        except InputError as error:
            what = f"{error.key}: " if error.key not in ("", question.key) else ""
            output.remark(f"  {what}{error.problem}. {error.remedy}".rstrip(), style="yellow")
            return False
        return True

    def _take(self, question: Question, text: str) -> None:
        if question.key == _DIALECT:
            require_dialect(text)
        found = self._interview.take(question, text)
        self._tell(question, [finding.text("") for finding in found])

    def _tell(self, question: Question, remarks: Sequence[str]) -> None:
        for remark in remarks:
            output.remark(f"  Is that so? {remark} ({_BACK} changes it)", style="yellow")
        if words := what_follows(question.key, self._interview.known()):
            output.remark(f"  {words}")

    def _find(self) -> bool:
        """Ask at the ports who is there; its port and its dialect are then answered."""
        urls = tuple(device.url for device in list_devices())
        given = self._interview.given.get(_PORT)
        urls = (given.text,) if given is not None and given.text else urls

        def confirm(url: str) -> bool:
            return self._line(f"  Open {url}? It may reset the board: is nothing moving? [no] > ").lower() in (
                "y",
                "yes",
            )

        found = [each for each in find_controllers(SystemClock(), confirm=confirm, urls=urls) if each.dialect]
        if not found:
            output.remark("  No controller answered. Name its port, or press Enter.")
            return False
        for key, text in ((_PORT, found[0].url), (_DIALECT, str(found[0].dialect))):
            if key not in self._interview.given:
                self._interview.take(self._interview.question(key), text, "found")
        output.remark(f"  A controller stands at {found[0].url}. It speaks {found[0].dialect}.")
        return True

    def _line(self, prompt: str) -> str:
        sys.stderr.write(prompt)
        sys.stderr.flush()
        line = sys.stdin.readline()
        if not line:
            raise self._stopped("the input ended")
        return line.strip()
