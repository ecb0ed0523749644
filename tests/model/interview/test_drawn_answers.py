"""Whatever is answered: what was taken is a file that loads, and says what the answers say."""

from __future__ import annotations

import math
import random
import tempfile
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.errors import InputError
from firmware_host.model import load_job, load_machine, load_motor
from firmware_host.model.interview.interview import DETAILS, Interview
from firmware_host.model.interview.question import FileKind, Question
from firmware_host.model.interview.written import write_file
from firmware_host.model.plausible.ranges import RANGES

_RANGES = {key: row for row in RANGES for key in row.keys}
LOADERS: dict[str, Callable[[str], Any]] = {
    "machine": load_machine,
    "motor": load_motor,
    "job": lambda path: load_job(path).job,
}
_FORMS: dict[str, tuple[str, ...]] = {
    "motor": ("nema17-short", "nema34-long", "label"),
    "machine": ("belt-chuck", "two-rollers"),
    "gearing": ("none", "20:60 belt", "1:30 worm", "18:72 gears, 20:60 belt", "40 planetary", "15:15", "60:20 belt"),
    "drive.inertia": ("2.5 kg 100 mm", "4200 g*cm^2", "2 lb 4 in"),
    "axis.travel": ("endless", "-90 deg to 270 deg", "0 deg 1 turn"),
    "part.diameter": ("80 mm", "251 mm around", "3 in"),
    "part.density": ("steel", "2.7 g/cm^3"),
    "part.cylinders": ("80 mm x 60 mm, 30 mm x 40 mm", "3 in x 2 in, 1 in x 40 mm"),
    "mark.arc": ("60 mm", "360 deg", "0.5 turn"),
    "mark.gaps": ("9 mm 1.2 mm, 17 mm 1.5 mm",),
    "window.half_depth": ("0.5 mm", "20 mil", "beam"),
    "name": ("mine", 'a "name" of \\ signs', "Drehachse 3 \N{MICRO SIGN}"),
    "details": ("none", "driver", "axis"),
}


def drawn(lot: random.Random, question: Question, prefix: str) -> str:
    """A likely answer; "" for none."""
    key = question.key
    if forms := _FORMS.get(key, question.choices):
        return lot.choice(forms)
    row = _RANGES.get(prefix + ".".join(part for part in key.split(".") if not part.isdigit()))
    if row is None or lot.random() < 0.5:
        return ""
    size = 10 ** lot.uniform(math.log10(row.low or 1e-3), math.log10(row.high))
    return f"{size:.0f}" if not row.unit and row.high > 2 else f"{size:.4g} {row.unit}".strip()


@pytest.mark.parametrize("kind", ["machine", "motor", "job"])
@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_what_is_taken_is_a_file_that_loads(kind: FileKind, seed: int) -> None:
    lot = random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        interview = Interview(kind, Path(folder) / "mine.toml")
        for _ in range(400):
            question = interview.next()
            if question is None:
                break
            text = drawn(lot, question, "motor." if kind == "motor" else "")
            if question.key == DETAILS and kind == "motor":
                text = "none"
            offers = (text, question.offered(interview.given), question.filler)
            taken = any(answered(interview, question, offer) for offer in offers) or skipped(interview, question)
            if not taken or lot.random() < 0.1:
                interview.back()  # what does not go with it is answered otherwise
        else:
            raise AssertionError(f"the questions have no end: {interview.given}")
        made = write_file(interview, date(2026, 5, 4))
        assert LOADERS[kind](str(made)) == interview.described()


def answered(interview: Interview, question: Question, text: str) -> bool:
    before = dict(interview.given)
    try:
        if text:
            interview.take(question, text)
    except InputError:
        assert interview.given == before, "what was refused left something behind"
        return False
    return bool(text)


def skipped(interview: Interview, question: Question) -> bool:
    try:
        interview.skip(question)
    except InputError:
        return False
    return True


def test_a_file_that_lacks_what_is_needed_is_not_written() -> None:
    with tempfile.TemporaryDirectory() as folder:
        interview = Interview("motor", Path(folder) / "mine.toml")
        interview.take(interview.question("rated_current"), "2 A")
        with pytest.raises(InputError, match=r"not answered: name, full_steps_per_revolution, holding_torque"):
            write_file(interview, date(2026, 5, 4))
        assert not (Path(folder) / "mine.toml").exists()
