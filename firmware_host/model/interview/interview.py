"""The questions to a new file one after another, each answer checked at once with all that was answered before."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, TypeAlias

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from firmware_host.errors import InputError, UnknownKeyError
from firmware_host.model.files.files import read_toml
from firmware_host.model.files.problems import input_error, nearest_of, refuse_implausible
from firmware_host.model.files.profiles import find_profile, is_path
from firmware_host.model.interview.fields import leaf_question, leaves
from firmware_host.model.interview.jobs import job_questions
from firmware_host.model.interview.machines import LABEL, machine_questions
from firmware_host.model.interview.motors import motor_questions
from firmware_host.model.interview.question import FileKind, Given, How, Question
from firmware_host.model.interview.reading import read_leaf
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor
from firmware_host.model.plausible.check import Finding, findings

_MODELS: Mapping[str, type[BaseModel]] = MappingProxyType({"machine": Machine, "motor": Motor, "job": Job})
_QUESTIONS: Mapping[str, Callable[[str], tuple[Question, ...]]] = MappingProxyType(
    {"machine": machine_questions, "motor": lambda _: motor_questions(), "job": job_questions}
)
DETAILS = "details"
_NOTHING_MORE = "none"
_FILLED_NUMBERS: Mapping[str, Callable[[str], Any]] = MappingProxyType(
    {"driver.microsteps": int, "window.beam.beam_quality": float}
)
"""What is no text in a file, of what has a filler."""

Tables: TypeAlias = dict[str, Any]


class Interview:
    """What is asked for a new `kind` of file at `target`, and what was answered so far, in its order."""

    def __init__(self, kind: FileKind, target: Path) -> None:
        self.kind, self.target = kind, target
        self.given: dict[str, Given] = {}
        self.earlier: dict[str, str] = {}
        """What was answered to questions that were gone back from: offered again."""
        self._model = _MODELS[kind]
        self._first = _QUESTIONS[kind](target.stem)

    def questions(self) -> Iterator[Question]:
        """All that are asked as things stand: the usual ones, whether more is known, and those for more."""
        usual = [question for question in self._first if question.when(self.given)]
        yield from usual
        yield self._about_details()
        wanted = self.given[DETAILS].values.get(DETAILS, ()) if DETAILS in self.given else ()
        for key, field in self._further() if wanted else ():
            if key.partition(".")[0] in wanted:
                yield leaf_question(key, field, motor=self.kind == "motor")

    def next(self) -> Question | None:
        """The first question that is not answered yet; None where all are."""
        return next((each for each in self.questions() if each.key not in self.given), None)

    def question(self, key: str) -> Question:
        """The question of that name, asked or not. Raises `UnknownKeyError`, naming the nearest."""
        for each in self.questions():
            if each.key == key:
                return each
        further = dict(self._further())
        if key not in further:
            known = sorted({*further, *(each.key for each in self.questions())})
            raise UnknownKeyError(f"there is no question {key!r}", nearest_of(key, known), key="--answer")
        return leaf_question(key, further[key], motor=self.kind == "motor")

    def place_of(self, key: str) -> int:
        """Where a key stands among those that no usual question fills in; behind all where there is none."""
        keys = [each for each, _ in self._further()]
        return keys.index(key) if key in keys else len(keys)

    def take(self, question: Question, text: str, how: How = "answered") -> tuple[Finding, ...]:
        """Take an answer; returns what is hardly ever so of it. Raises `InputError` for one that can't be."""
        text = text.strip()
        given = Given(text, how, self._values(question, text))
        before = {finding.text("") for finding in self._findings(self.given)}
        found = self._findings({**self.given, question.key: given})
        self.given[question.key] = given
        self.earlier.pop(question.key, None)
        return tuple(finding for finding in found if finding.text("") not in before)

    def skip(self, question: Question) -> None:
        """Leave a key out of the file: nobody knows it. Raises `InputError` for one that is needed."""
        if question.needed:
            raise InputError("there is no file without it", "Answer it; ? says more", key=question.key)
        given = Given("", "not known", {})
        self._findings({**self.given, question.key: given})
        self.given[question.key] = given

    def back(self) -> bool:
        """Take the last answer back; False where there is none."""
        if not self.given:
            return False
        key, given = self.given.popitem()
        self.earlier[key] = given.text
        return True

    def tables(self) -> Tables:
        """What the file holds, by what was answered."""
        return _nested(self.given)

    def described(self) -> BaseModel:
        """What the file describes. Raises `InputError` where it would not load."""
        open_ones = [each.key for each in self.questions() if each.needed and each.key not in self.given]
        described = self._tried(self.given)[1]
        if open_ones or described is None:
            raise InputError(f"not answered: {', '.join(open_ones)}", "Answer the rest", source=str(self.target))
        return described

    def known(self) -> BaseModel | None:
        """What is described so far, with fillers for what is not answered; None where those do not go with it."""
        try:
            return self._tried(self.given)[1]
        except InputError:
            return None

    # --- one answer -----------------------------------------------------------------------------------------------

    def _values(self, question: Question, text: str) -> dict[str, Any]:
        if question.key == DETAILS:
            return {DETAILS: self._sections(text)}
        if question.key == "motor" and self.kind == "machine":
            return {} if text == LABEL else {"motor": self._lasting("motors", text)}
        if question.key == "machine":
            return {"machine": self._lasting("machines", text)}
        if question.reads is not None:
            return question.reads(text)
        fields = dict(leaves(self._model, self._filled(self.given)))
        return {question.key: read_leaf(fields[question.key], text)}

    def _lasting(self, kind: Literal["motors", "machines"], reference: str) -> str:
        """The name of a file as it is found from where this one will be."""
        path = find_profile(kind, reference)
        read_toml(path)
        return str(path.absolute()) if is_path(reference) and self.target.parent != Path() else reference

    def _about_details(self) -> Question:
        sections = self._section_names()
        return Question(
            DETAILS,
            "Of which of these do you have a datasheet, or figures that were measured?",
            f"{', '.join(sections)}; all or none, commas between",
            "Each is asked key by key. What nobody states the plan takes at its unkind end, and says so.",
            usual=lambda _: _NOTHING_MORE,
        )

    def _sections(self, text: str) -> tuple[str, ...]:
        names = self._section_names()
        if text.lower() in (_NOTHING_MORE, "no"):
            return ()
        if text.lower() == "all":
            return names
        wanted = tuple(each.strip().lower() for each in text.split(","))
        for each in wanted:
            if each not in names:
                raise InputError(f"{each!r} is none of these", nearest_of(each, names))
        return wanted

    def _section_names(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(key.partition(".")[0] for key, _ in self._further()))

    def _further(self) -> list[tuple[str, FieldInfo]]:
        """Each key that no usual question fills in, in the order of the file."""
        asked = {key for each in self._first if each.when(self.given) for key in (each.key, *each.fills)}
        return [
            (key, field)
            for key, field in leaves(self._model, self._filled(self.given))
            if key not in asked and not _in_gearing(key)
        ]

    # --- all answers together -------------------------------------------------------------------------------------

    def _filled(self, given: Mapping[str, Given]) -> Tables:
        """The tables by what was answered, with fillers for what is needed and not answered yet."""
        fillers = dict(given)
        for question in self._first:
            if question.key in fillers or not question.when(fillers):
                continue
            text = question.offered(fillers) if question.needed else ""
            if text := question.filler or text:
                values = self._filler_values(question, text)
                fillers[question.key] = Given(text, "assumed", values)
        return _nested(fillers)

    def _filler_values(self, question: Question, text: str) -> dict[str, Any]:
        if question.reads is not None:
            return question.reads(text)
        return {question.key: _FILLED_NUMBERS.get(question.key, str)(text)}

    def _findings(self, given: Mapping[str, Given]) -> list[Finding]:
        """What is hardly ever so. Raises `InputError` for what can't be."""
        found, _ = self._tried(given)
        return found

    def _tried(self, given: Mapping[str, Given]) -> tuple[list[Finding], BaseModel | None]:
        """What does not go together in a table that still lacks what is needed is looked at when it is whole."""
        tables = self._filled(given)
        open_tables = {
            each.key.partition(".")[0]
            for each in self._first
            if each.needed and each.key not in given and each.when(given)
        }
        motor = tables.get("motor")
        if self.kind == "machine" and isinstance(motor, str):
            tables["motor"] = read_toml(find_profile("motors", motor))[0]
        try:
            described = self._model.model_validate(tables, context={"folder": str(self.target.parent.resolve())})
        except ValidationError as error:
            details = [each for each in error.errors(include_url=False) if not _waits(each, open_tables)]
            if not details:
                return [], None
            raise input_error(self._model, details, tables, "", "") from error
        found = [each for each in findings(described) if each.by_itself or each.key.split(".")[0] not in open_tables]
        refuse_implausible(found, "")
        return found, described


def _in_gearing(key: str) -> bool:
    """Whether the question for the whole gearing fills the key in."""
    first, last = key.split(".", 1)[0], key.rpartition(".")[2]
    return first == "gearing" and last in ("driving_teeth", "driven_teeth", "ratio")


def _waits(detail: ErrorDetails, open_tables: set[str]) -> bool:
    """Whether the sizes of a part that do not go together are not all answered yet."""
    return detail["type"] == "contradiction" and detail["loc"][:1] == ("part",) and "part" in open_tables


def _nested(given: Mapping[str, Given]) -> Tables:
    """Dotted keys as tables and lists."""
    tables: Tables = {"version": 1}
    for each in given.values():
        for key, value in each.values.items():
            if key == DETAILS:
                continue
            *parents, last = key.split(".")
            place: Any = tables
            for parent in parents:
                place = place[int(parent)] if parent.isdigit() else place.setdefault(parent, {})
            place[last] = [dict(one) for one in value] if key == "gearing" else value
    return tables
