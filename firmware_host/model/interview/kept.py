"""The answers so far, kept beside the new file, so that an interview that was broken off is resumed."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path
from typing import Any

from firmware_host.errors import InputError, MissingFileError
from firmware_host.model.interview.interview import Interview
from firmware_host.model.interview.question import How
from firmware_host.system.files import read_regular, write_whole
from firmware_host.system.parsing import parse_json

_LARGEST = 200_000
_HOWS: tuple[How, ...] = ("answered", "usual", "assumed", "found", "not known")


def kept_beside(target: Path) -> Path:
    """Where the answers to a new file are kept until it is written."""
    return target.with_name(f"{target.stem}.answers.json")


def keep(interview: Interview) -> None:
    """Keep what was answered so far. Raises `InputError` where it can't be written."""
    path = kept_beside(interview.target)
    answers = [[key, each.text, each.how] for key, each in interview.given.items()]
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, json.dumps({"kind": interview.kind, "answers": answers}, indent=1) + "\n")
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", "Name another place", source=str(path)) from error


def forget(interview: Interview) -> None:
    """The file is written: the answers are no longer needed."""
    with suppress(OSError):
        kept_beside(interview.target).unlink(missing_ok=True)


def resume(interview: Interview) -> int:
    """Give the answers that were kept again, as far as they still go; returns how many. Raises `InputError`."""
    path = kept_beside(interview.target)
    try:
        found = parse_json(read_regular(path, _LARGEST), str(path))
    except MissingFileError:
        return 0
    for key, text, how in _answers(found, interview.kind, path):
        question = interview.next()
        if question is None or question.key != key:
            break
        if how == "not known":
            interview.skip(question)
        else:
            interview.take(question, text, how)
    return len(interview.given)


def _answers(found: Any, kind: str, path: Path) -> list[tuple[str, str, How]]:
    if not isinstance(found, dict) or found.get("kind") != kind or not isinstance(found.get("answers"), list):
        raise InputError(f"holds no answers to a new {kind}", "Take it away to begin anew", source=str(path))
    answers: list[tuple[str, str, How]] = []
    for each in found["answers"]:
        match each:
            case [str(key), str(text), str(how)] if how in _HOWS:
                answers.append((key, text, next(word for word in _HOWS if word == how)))
            case _:
                raise InputError(f"{each!r} is no answer", "Take it away to begin anew", source=str(path))
    return answers
