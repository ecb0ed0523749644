"""Bad files through the front door: status 2, nothing on standard output, one clear message with file and key."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from tests.cli.conftest import Circumstep
from tests.model.files.files_for_tests import JOB, TEXTS, write_all

#: (file, what stands there, what is to stand there, key named, words of the message)
SPOILT = [
    ("job", '"50 mm"', '"50 kg"', "part.diameter", "'kg' is not a unit of length"),
    ("job", '"50 mm"', "50", "part.diameter", "bare number 50: the unit is missing"),
    ("job", '"50 mm"', '"0 mm"', "part.diameter", "must be greater than zero"),
    ("job", '"50 mm"', '"-50 mm"', "part.diameter", "must be greater than zero"),
    ("job", '"50 mm"', '"nan mm"', "part.diameter", "does not begin with a finite number"),
    ("job", 'length = "100 mm"', "", "part.length", "this key is missing"),
    ("job", "[mark]", "[marc]", "marc", "Did you mean 'mark'"),
    ("job", "passes = 2", "pases = 2", "mark.pases", "Did you mean 'passes'"),
    ("job", "passes = 2", "passes = 0", "mark.passes", "greater than or equal to 1"),
    ("job", 'arc = "60 mm"', 'angle = "400 deg"', "mark.angle", "at most 360 deg"),
    ("job", '"0.5 mm"', '"0.5 s"', "window.half_depth", "'s' is not a unit of length"),
    ("job", '"44 mm"', '"51 mm"', "part.inner_diameter", "must be less than diameter"),
    ("job", '"machine.toml"', '"belt-chuk"', "machine", "Did you mean 'belt-chuck'"),
    ("job", "version = 1", "version = 7", "version", "should be 1"),
    ("machine", '"1.5 A"', '"2.5 A"', "driver.current", "above the motor's rated_current"),
    ("machine", 'ratio = "60/1"', 'ratio = "60/0"', "gearing.1.ratio", "divides by zero"),
    ("machine", "driven_teeth = 60", "driven_teeth = 60.5", "gearing.0.driven_teeth", "whole number"),
    ("machine", 'kind = "chuck"', 'kind = "belt"', "drive", "kind is missing or unknown"),
    ("machine", '"28 kHz"', '"28 rpm"', "link.highest_step_rate", "'rpm' is not a unit of rate"),
    ("machine", '"motor.toml"', '"nema23-shrt"', "motor", "Did you mean 'nema23-short'"),
    ("motor", '"1 N*m"', '"1 J"', "holding_torque", "unit of energy, not of torque"),
    ("motor", '"300 rpm"', '"30 rpm"', "torque_curve.points", "must rise"),
]

COMMANDS = ("segments", "limits", "moves", "run", "demo")


def assert_one_clear_message(error: str, source: Path, key: str, words: str) -> None:
    assert error.startswith(f"error: {source}")
    assert re.match(rf"error: {re.escape(str(source))}(:\d+)?: {re.escape(key)}", error)
    assert words in error
    assert error.endswith("\n")
    others = re.search(r"\((\d) more problem", error)  # each has a line of its own
    assert len(error.splitlines()) <= 2 + int(others[1] if others else 0)
    assert "Traceback" not in error


@pytest.mark.some(10)
@pytest.mark.parametrize(
    ("file", "old", "new", "key", "words"),
    SPOILT,
    ids=[f"{file}-{key}-{number}" for number, (file, _, _, key, _) in enumerate(SPOILT, 1)],
)
def test_a_spoilt_line_gives_status_2_and_one_message_with_file_and_key(
    circumstep: Circumstep, tmp_path: Path, file: str, old: str, new: str, key: str, words: str
) -> None:
    assert old in TEXTS[file]
    job = write_all(tmp_path, **{file: TEXTS[file].replace(old, new, 1)})
    for command in COMMANDS:
        ended = circumstep(command, str(job))
        assert (ended.status, ended.out) == (2, "")
        assert_one_clear_message(ended.err, tmp_path / f"{file}.toml", key, words)
    assert not (tmp_path / "runs").exists()


WHOLE_FILES = {
    "empty": (b"", "is empty"),
    "not-utf-8": (b'version = 1\nname = "caf\xe9"\n', "is not UTF-8 text"),
    "ten-megabytes-of-noise": (np.random.default_rng(3).bytes(10_000_000), "is larger than 1000000 bytes"),
    "no-toml": (b"part = \n", "is not valid TOML"),
    "deep": (b"a = " + b"[" * 100_000, "is nested too deeply"),
    "binary": (bytes(range(256)) * 4, "is not UTF-8 text"),
}


@pytest.mark.parametrize("name", WHOLE_FILES)
@pytest.mark.parametrize("kind", ["job", "machine", "motor"])
def test_a_file_that_is_no_toml_gives_status_2_and_one_message(
    circumstep: Circumstep, tmp_path: Path, kind: str, name: str
) -> None:
    data, words = WHOLE_FILES[name]
    job = write_all(tmp_path)
    (tmp_path / f"{kind}.toml").write_bytes(data)
    for arguments in (("segments", str(job)), ("profile", "check", kind, str(tmp_path / f"{kind}.toml"))):
        ended = circumstep(*arguments)
        assert (ended.status, ended.out) == (2, "")
        assert_one_clear_message(ended.err, tmp_path / f"{kind}.toml", "", words)


PLANS_THAT_CANNOT_BE = [
    ('half_depth = "0.5 mm"', 'half_depth = "30 mm"', "marking window deeper than the part's radius"),
    ('half_depth = "0.5 mm"', 'half_depth = "20 mm"\nfocus = "balanced"', "reaches past the part's radius"),
    ('arc = "60 mm"', 'arc = "200 mm"', "mark.arc is longer than the part's circumference"),
    ("[gate]", "[segments]\ncount = 2\n[gate]", "wider than the depth of focus allows"),
    ("[gate]", '[segments]\nseams = "in-gaps"\n[gate]', "no artwork gap within reach"),
    ("[mark]", '[[part.keep_out]]\nstart = "40 deg"\nend = "60 deg"\n[mark]', "runs into the keep-out arc"),
]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    PLANS_THAT_CANNOT_BE,
    ids=["window-deeper-than-radius", "twice-the-window", "arc-too-long", "too-few-segments", "no-gap", "keep-out"],
)
def test_a_well_formed_job_that_cannot_be_planned_names_its_file_the_value_and_the_limit(
    circumstep: Circumstep, tmp_path: Path, old: str, new: str, words: str
) -> None:
    job = write_all(tmp_path, job=JOB.replace(old, new, 1))
    for command in ("segments", "limits", "moves"):
        ended = circumstep(command, str(job))
        assert (ended.status, ended.out) == (2, "")
        warned, _, error = ended.err.rpartition("error: ")  # such a window is remarked on as well
        assert all(line.startswith(f"warning: {job}: window.half_depth: ") for line in warned.splitlines())
        assert_one_clear_message(f"error: {error}", job, "", words)
        assert re.search(r": [-0-9.e+]+ (mm|deg), limit [-0-9.e+]+ (mm|deg)\. ", ended.err)


def test_a_motor_without_torque_at_speed_is_taken_by_its_windings_and_judged(
    circumstep: Circumstep, tmp_path: Path
) -> None:
    motor = TEXTS["motor"].partition("[torque_curve]")[0]
    job = write_all(tmp_path, motor=motor)
    ended = circumstep("limits", str(job))
    assert ended.status in (0, 1)
    assert ended.out.startswith("Verdict: ")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("none.toml", "none.toml: no such file"),
        (".", "no job profile has this name"),
        ("folder.toml", "folder.toml: is not a plain file"),
        ("shaft-scal", "Did you mean 'shaft-scale'?"),
        ("x" * 300 + ".toml", "cannot be read (File name too long)"),
    ],
    ids=["missing", "a-dot", "a-folder", "misspelt", "very-long"],
)
def test_a_job_that_is_not_there_gives_status_2(circumstep: Circumstep, tmp_path: Path, name: str, words: str) -> None:
    (tmp_path / "folder.toml").mkdir()
    ended = circumstep("moves", name)
    assert (ended.status, ended.out) == (2, "")
    assert words in ended.err
    error, *advice = ended.err.splitlines()
    assert error.startswith("error: ")
    assert all(line.startswith("  See all profiles with: circumstep ") for line in advice)
    assert len(advice) <= 1
