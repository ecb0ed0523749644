"""What a problem in a file names: its own line, a key that fits into the message, the other problems beside it."""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware_host.errors import InputError, UnknownKeyError, UnreadableFileError
from firmware_host.model import load_job
from tests.model.files.files_for_tests import JOB, MACHINE, write_all


def refused(folder: Path, **files: str) -> InputError:
    with pytest.raises(InputError, match=r"\.toml") as caught:
        load_job(str(write_all(folder, **files)))
    return caught.value


@pytest.mark.parametrize(
    ("written", "key", "line_of"),
    [
        ("colour = 1", "part.colour", "colour"),
        ("colour.red.name = 1", "part.colour", "colour.red"),
        ("colour = { red = 1 }", "part.colour", "colour"),
        ("'the colour' = 1", "part.the colour", "the colour"),
    ],
    ids=["plain", "dotted", "inline", "quoted"],
)
def test_an_unknown_key_is_told_with_its_own_line(tmp_path: Path, written: str, key: str, line_of: str) -> None:
    text = JOB.replace('length = "100 mm"', f'length = "100 mm"\n{written}', 1)
    error = refused(tmp_path, job=text)
    assert isinstance(error, UnknownKeyError)
    assert (error.key, error.line) == (key, text[: text.index(line_of)].count("\n") + 1)


def test_an_unknown_table_of_tables_is_told_with_the_line_of_its_first_header(tmp_path: Path) -> None:
    error = refused(tmp_path, job=JOB + "\n[colour.red]\na = 1\n")
    assert (error.key, error.line) == ("colour", (JOB + "\n").count("\n") + 1)


def test_a_long_key_is_shortened(tmp_path: Path) -> None:
    error = refused(tmp_path, job=JOB.replace("passes = 2", f"{'p' * 60}{'q' * 60} = 2"))
    assert error.key == f"mark.{'p' * 18}...{'q' * 18}"
    assert len(str(error).splitlines()[0]) < 200 + len(str(tmp_path))


def test_a_key_of_another_kind_of_thing_is_not_suggested(tmp_path: Path) -> None:
    error = refused(tmp_path, machine=MACHINE.replace('inertia = "4200', 'roller_diameters = "1 mm"\ninertia = "4200'))
    assert error.key == "drive.roller_diameters"
    assert "'roller_diameter'" not in error.remedy
    assert "smallest_grip" in error.remedy


@pytest.mark.parametrize(
    ("text", "key", "first"),
    [
        (JOB.replace("passes = 2", "passes = 2\npasses = 3"), "mark.passes", "passes = 2"),
        (JOB.replace("passes = 2", "passes = 2\n'passes' = 3"), "mark.passes", "passes = 2"),
        (JOB + '\n[part]\nkind = "solid"\n', "part", "[part]"),
        (JOB.replace("[mark]", "[part.mark]\na = 1\n[part.mark]\nb = 2\n[mark]"), "part.mark", "[part.mark]"),
    ],
    ids=["key", "quoted-key", "table", "table-in-a-table"],
)
def test_what_stands_twice_is_told_with_both_lines(tmp_path: Path, text: str, key: str, first: str) -> None:
    error = refused(tmp_path, job=text)
    line = text[: text.index(first)].count("\n") + 1
    assert isinstance(error, UnreadableFileError)
    assert error.key == key
    assert error.line is not None
    assert error.line > line
    assert f"It stands twice, first on line {line}" in error.remedy


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ("[part]", "[[part]]", "part", "must be a table with keys of its own, not a list of tables"),
        ("[mark]", "[[mark]]", "mark", "must be a table with keys of its own, not a list of tables"),
        ('machine = "machine.toml"', "machine = 3", "machine", "must be a text in quotes"),
        ('name = "test job"', "name = 2026-01-01", "name", "must be a text in quotes"),
        ("passes = 2", "passes = [2]", "mark.passes", "must be a whole number"),
        ('gaps = [\n  { at = "10 mm"', 'gaps = [\n  3, { at = "10 mm"', "mark.gaps.0", "must be a table with keys"),
    ],
    ids=["list-of-parts", "list-of-marks", "number-for-a-name", "date-for-a-name", "list-for-a-count", "bare-item"],
)
def test_a_wrong_type_is_told_with_key_and_line(tmp_path: Path, old: str, new: str, key: str, words: str) -> None:
    text = JOB.replace(old, new, 1)
    error = refused(tmp_path, job=text)
    assert (error.key, words in error.problem) == (key, True), str(error)
    assert error.line is not None


def test_other_problems_are_told_each_with_its_line_up_to_a_number(tmp_path: Path) -> None:
    spoilt = JOB.replace('"50 mm"', '"0 mm"').replace('"0.5 mm"', '"1 s"').replace('"2 s"', '"2 m"')
    lines = str(refused(tmp_path, job=spoilt)).splitlines()
    assert "part.diameter" in lines[0]
    assert lines[0].endswith("(2 more problems in this file)")
    assert [line.split(": ")[:2] for line in lines[1:]] == [
        ["  line 22", "window.half_depth"],
        ["  line 26", "gate.duration"],
    ]


def test_many_problems_are_counted(tmp_path: Path) -> None:
    lines = str(refused(tmp_path, job=JOB + "".join(f"key{number} = 1\n" for number in range(43)))).splitlines()
    assert "(42 more problems in this file)" in lines[0]
    assert len(lines) == 7
    assert lines[-1] == "  and 37 more"
