"""The same questions answered beforehand: all at once, or one error that names what is missing."""

from __future__ import annotations

from collections.abc import Iterable

from firmware_host.errors import InputError
from firmware_host.model.interview.interview import DETAILS, Interview

_OPTION = "--answer"


def answer_all(interview: Interview, answers: Iterable[str], *, take_usual: bool = False) -> tuple[str, ...]:
    """Answer every question by `answers`, each "KEY=ANSWER"; returns what is hardly ever so.

    `take_usual`: a guess that would be offered is taken where nothing is said. Raises `InputError` for an answer that
    can't be, `UnknownKeyError` for one to no question, and one error that names every question that lacks its answer.
    """
    said = dict(_split(each) for each in answers)
    missing: list[str] = []
    remarks: list[str] = []
    asked = True
    while asked:
        asked = False
        for question in list(interview.questions()):
            if question.key in interview.given or question.key in {each.partition(" ")[0] for each in missing}:
                continue
            asked = True
            offered = question.offered(interview.given)
            if question.key in said:
                remarks += _taken(interview, question.key, said.pop(question.key))
            elif question.key == DETAILS:
                interview.take(question, offered, "usual")
            elif offered and (take_usual or not question.guess):
                interview.take(question, offered, question.how_offered)
            elif question.needed:
                usual = f"; usual: {offered}" if offered else ""
                missing.append(f"{question.key} ({question.asks.rstrip('? ')}{usual})")
            else:
                interview.skip(question)
            break
    for key in sorted(said, key=interview.place_of):
        remarks += _taken(interview, key, said[key])
    _refuse(missing)
    interview.described()
    return tuple(remarks)


def _taken(interview: Interview, key: str, text: str) -> list[str]:
    try:
        found = interview.take(interview.question(key), text)
    except InputError as error:
        error.source = error.source or f"{_OPTION} {key}"
        raise
    return [finding.text("") for finding in found]


def _split(answer: str) -> tuple[str, str]:
    key, sign, text = answer.partition("=")
    if not sign or not key.strip():
        raise InputError(f"{answer!r} answers nothing", "Write KEY=ANSWER, like motor=nema23-short", key=_OPTION)
    return key.strip(), text


def _refuse(missing: list[str]) -> None:
    if not missing:
        return
    few = f"Answer each with {_OPTION} KEY=ANSWER; usual values are taken with --usual"
    raise InputError(f"not answered: {missing[0]}", few, key=_OPTION, others=tuple(missing[1:]))
