"""Hostile files through the command line: one clear message and status 2, quickly, in little memory, and no more."""

from __future__ import annotations

import json
import re
import string
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firmware_host.errors import InputError
from firmware_host.model import load_job
from tests.cli.command import ROOT, environment
from tests.model.files.files_for_tests import JOB, MACHINE, MOTOR, write_all

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="processes are measured by fork and wait4")

LONGEST_CPU_S, MOST_MEGABYTES = 2.0, 400
_IN_ALL, _SAMPLE = 500, 10


def outcomes(first: int, count: int, folder: Path) -> list[dict[str, Any]]:
    """What came of the cases of these seeds, all run from one process."""
    ended = subprocess.run(
        [sys.executable, "-m", "tests.fuzz.measured", str(first), str(count), str(folder)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env=environment() | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
        timeout=900,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr[-2000:]
    found: list[dict[str, Any]] = [json.loads(line) for line in ended.stdout.splitlines()]
    assert len(found) == count
    return found


def troubles(outcome: dict[str, Any]) -> list[str]:
    """What is wrong with an outcome."""
    status, err, out = outcome["status"], outcome["err"], outcome["out"]
    allowed = {2} if outcome["must_fail"] else {0, 1, 2}
    allowed |= {3} if outcome["may_call"] else set()
    checks = {
        f"ended with {status}": status in allowed,
        f"took {outcome['cpu_s']:.2f} s": outcome["cpu_s"] <= LONGEST_CPU_S,
        f"took {outcome['megabytes']} MB": outcome["megabytes"] <= MOST_MEGABYTES,
        "a traceback": "Traceback" not in err and "internal error" not in err,
        "a control character": not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", out + err),
        "no message": status != 2 or re.search(r"^error: ", err, re.MULTILINE) is not None,
        "a message that fills the screen": len(err) < 4000,
        "names no file": status != 2 or Path(outcome["file"]).name in err or Path(outcome["file"]).parent.name in err,
    }
    return [trouble for trouble, holds in checks.items() if not holds]


def assert_all_well(found: list[dict[str, Any]]) -> None:
    wrong = {each["seed"]: (each["name"], troubles(each), each["err"][-300:]) for each in found if troubles(each)}
    assert wrong == {}


def test_a_sample_of_hostile_files_gets_an_answer_or_one_clear_error(tmp_path: Path) -> None:
    found = outcomes(0, _SAMPLE, tmp_path)
    assert_all_well(found)
    assert {each["name"].partition(":")[0] for each in found} == {"job", "machine", "motor", "settings", "run"}
    assert sum(each["status"] == 2 for each in found) > _SAMPLE / 2


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, _IN_ALL, 100))
def test_five_hundred_hostile_files_get_an_answer_or_one_clear_error(first: int, tmp_path: Path) -> None:
    assert_all_well(outcomes(first, 100, tmp_path))


def test_a_trouble_is_seen_where_there_is_one() -> None:
    well = {"status": 2, "must_fail": True, "may_call": False, "cpu_s": 0.5, "megabytes": 90, "out": "", "file": "/f/j"}
    well |= {"err": "error: /f/j:3: a.b: is wrong\n"}
    assert troubles(well) == []
    for change in (
        {"status": 0},
        {"status": 3},
        {"status": -9},
        {"cpu_s": 2.5},
        {"megabytes": 401},
        {"err": "error: /f/j\nTraceback"},
        {"err": "error: internal error: /f/j"},
        {"err": "error: /f/j \x1b[2J"},
        {"out": "\x9b2J"},
        {"err": "wrong: /f/j"},
        {"err": "error: other"},
        {"err": "error: /f/j" + "x" * 4000},
    ):
        assert len(troubles(well | change)) == 1, change


KEYS = st.sampled_from(
    sorted({*re.findall(r"^(\w+) =", JOB + MACHINE + MOTOR, re.MULTILINE), "kind", "zzz", "a b", ""})
)
TEXTS = st.one_of(
    st.text(max_size=30),
    st.from_regex(
        r"-?[0-9]{1,5}(\.[0-9]{1,3})?(e-?[0-9]{1,3})?(/[0-9]{1,3})? ?(mm|kg|deg|N\*m|rpm|A|V|s|kHz|)", fullmatch=True
    ),
)
VALUES = st.recursive(
    st.booleans() | st.integers(-(10**20), 10**20) | st.floats() | TEXTS | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=6,
)


def toml(value: Any) -> str:
    """A value as TOML has it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return (
            '"'
            + "".join(
                char if char in string.ascii_letters + string.digits + " *./-" else f"\\U{ord(char):08x}"
                for char in value
            )
            + '"'
        )
    if isinstance(value, list):
        return f"[{', '.join(map(toml, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml(key)} = {toml(each)}" for key, each in value.items()) + "}"
    return repr(value) if isinstance(value, float) else str(value)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_any_value_at_any_key_is_taken_or_refused_with_key_and_line(data: st.DataObject) -> None:
    which = data.draw(st.sampled_from(["job", "machine", "motor"]))
    lines = {"job": JOB, "machine": MACHINE, "motor": MOTOR}[which].split("\n")
    places = [n for n, line in enumerate(lines) if re.match(r"\w+ = [^\[]*$", line)]
    place = data.draw(st.sampled_from(places))
    key = lines[place].partition(" = ")[0]
    lines[place] = f"{key} = {toml(data.draw(VALUES))}"
    text = "\n".join(lines)
    assert tomllib.loads(text)
    with tempfile.TemporaryDirectory() as folder:
        job = write_all(Path(folder), **{which: text})
        error = _refused(job)
    if error is not None:
        assert error.problem
        assert Path(error.source).name in (f"{which}.toml", "job.toml", "machine.toml"), str(error)
        assert error.line is not None or error.key in ("machine", "motor") or "missing" in error.problem, str(error)
        assert len(str(error)) < 4000


def _refused(job: Path) -> InputError | None:
    try:
        load_job(str(job))
    except InputError as error:
        return error
    return None


@given(st.text(max_size=400) | st.binary(max_size=400))
def test_any_text_and_any_bytes_are_refused_as_a_job(content: str | bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        path.write_bytes(content.encode("utf-8", errors="replace") if isinstance(content, str) else content)
        with pytest.raises(InputError, match=r"job\.toml"):
            load_job(str(path))
