"""A job made from a dict, and single values changed: the same as a file that says so, with the same errors."""

from __future__ import annotations

import re
import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import InputError, UnknownKeyError
from firmware_host.model import Setup, job_from, load_job, load_machine
from firmware_host.model.files.profiles import list_profiles

JOB = next(profile.path for profile in list_profiles("jobs") if profile.name == "shaft-scale" and profile.shipped)


def tables(**changes: Any) -> dict[str, Any]:
    return tomllib.loads(JOB.read_text(encoding="utf-8")) | changes


def test_a_dict_gives_the_same_job_as_its_file() -> None:
    from_file = load_job("shaft-scale")
    from_dict = job_from(tables(), folder=JOB.parent)
    assert (from_dict.job, from_dict.machine) == (from_file.job, from_file.machine)
    assert from_dict.job_source == "job_from"


def test_a_machine_in_hand_is_taken_instead_of_the_one_that_the_job_names() -> None:
    machine = load_machine("belt-chuck")
    assert job_from(tables(machine="not-there"), machine=machine).machine is machine
    with pytest.raises(InputError, match=r"^job_from: machine: 'not-there'"):
        job_from(tables(machine="not-there"))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (tables(part="a stick"), "job_from: part: must be a table with keys of its own"),
        (tables(nmae="x"), "job_from: nmae: unknown key. Did you mean 'name'?"),
        ({}, "job_from: "),
        ([("name", "x")], "job_from: a job is a dict of its keys. Give a dict, or read a file with load_job"),
    ],
    ids=["no table", "misspelt", "empty", "no dict"],
)
def test_a_dict_that_no_file_may_hold_is_the_project_s_own_error(given: Any, words: str) -> None:
    with pytest.raises(InputError, match=re.escape(words)):
        job_from(given)


def test_values_are_changed_together_and_the_rest_stays() -> None:
    before = load_job("shaft-scale")
    after = before.with_values({"part.diameter": "66 mm", "driver.microsteps": 8, "motor.rated_current": "5 A"})
    assert after.job.part.diameter.exact == Fraction(66, 1000)
    assert after.machine.driver.microsteps == 8
    assert after.machine.motor.rated_current.si == 5.0
    assert before == load_job("shaft-scale")
    back = {
        "part.diameter": before.job.part.diameter.text,
        "driver.microsteps": before.machine.driver.microsteps,
        "motor.rated_current": before.machine.motor.rated_current.text,
    }
    assert after.with_values(back) == before


def test_two_values_that_only_fit_together_are_taken_together() -> None:
    """A current above what the driver can give is refused alone, and holds with a larger driver and motor."""
    setup = load_job("shaft-scale")
    with pytest.raises(InputError, match=r"6 A is above highest_current 4\.5 A"):
        setup.with_values({"driver.current": "6 A"})
    larger = {"driver.current": "6 A", "motor.rated_current": "6 A", "driver.highest_current": "6 A"}
    assert setup.with_values(larger).machine.driver.current.si == 6.0


def test_nothing_to_change_changes_nothing(tmp_path: Path) -> None:
    setup = load_job("shaft-scale")
    assert setup.with_values({}) == setup


@pytest.mark.parametrize(
    ("values", "kind", "words"),
    [
        ({"part.diametre": "66 mm"}, UnknownKeyError, "unknown key 'diametre'. Did you mean 'diameter'?"),
        ({"part.diameter": 66}, InputError, "with_values: part.diameter: bare number 66: the unit is missing"),
        ({"part.diameter": None}, InputError, "with_values: part.diameter: "),
        ({5: "66 mm"}, InputError, "key: 5 is not the name of a key. Write a key as a text, like \"part.diameter\""),
    ],
    ids=["misspelt", "no unit", "nothing", "no text"],
)  # fmt: skip
def test_a_value_that_no_file_may_hold_is_the_project_s_own_error(
    values: dict[Any, Any], kind: type[InputError], words: str
) -> None:
    setup: Setup = load_job("shaft-scale")
    with pytest.raises(kind, match=re.escape(words)):
        setup.with_values(values)
