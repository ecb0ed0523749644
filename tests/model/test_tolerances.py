"""Tolerances in job and machine files, and the most that a driver can be set to."""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware_host.errors import InputError, UnknownKeyError
from firmware_host.model import load_job, load_machine
from firmware_host.model.tolerances import Tolerances
from tests.model.files.files_for_tests import JOB, MACHINE, write_all


def test_files_say_nothing_of_tolerances_unless_asked_to(tmp_path: Path) -> None:
    setup = load_job(str(write_all(tmp_path)))
    assert setup.job.tolerances.given() == setup.machine.tolerances.given() == {}


def test_a_job_and_its_machine_each_say_what_they_know(tmp_path: Path) -> None:
    job = JOB + "\n[tolerances]\nmass = 0.01\ndiameter = 0\n"
    machine = MACHINE + "\n[tolerances]\ntorque = 0.15\n"
    setup = load_job(str(write_all(tmp_path, job=job, machine=machine)))
    assert setup.job.tolerances.given() == {"mass": 0.01, "diameter": 0.0}
    assert setup.machine.tolerances == Tolerances(torque=0.15)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("friction = 1.0", "tolerances.friction: input should be less than 1"),
        ("friction = -0.1", "tolerances.friction: input should be greater than or equal to 0"),
        ('friction = "10 %"', "tolerances.friction: must be a number"),
        ("friction = nan", "tolerances.friction: must be a finite number"),
    ],
    ids=["the whole value", "below zero", "text", "no number"],
)
def test_a_tolerance_is_a_part_of_its_value(tmp_path: Path, line: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        load_job(str(write_all(tmp_path, job=f"{JOB}\n[tolerances]\n{line}\n")))


def test_an_unknown_tolerance_names_the_nearest(tmp_path: Path) -> None:
    with pytest.raises(UnknownKeyError, match=r"tolerances\.frction: unknown key\. Did you mean 'friction'\?"):
        load_job(str(write_all(tmp_path, job=JOB + "\n[tolerances]\nfrction = 0.1\n")))


@pytest.mark.parametrize("most", ["1.5 A", "2 A"], ids=["just set", "above"])
def test_a_driver_set_to_what_it_can_is_fine(tmp_path: Path, most: str) -> None:
    text = MACHINE.replace('current = "1.5 A"', f'current = "1.5 A"\nhighest_current = "{most}"')
    write_all(tmp_path, machine=text)
    assert str(load_machine(str(tmp_path / "machine.toml")).driver.highest_current) == most


def test_a_driver_set_above_what_it_can_is_refused(tmp_path: Path) -> None:
    text = MACHINE.replace('current = "1.5 A"', 'current = "1.5 A"\nhighest_current = "1.4 A"')
    write_all(tmp_path, machine=text)
    with pytest.raises(InputError, match=r"driver\.current: 1\.5 A is above highest_current 1\.4 A"):
        load_machine(str(tmp_path / "machine.toml"))
