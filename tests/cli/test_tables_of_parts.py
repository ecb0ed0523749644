"""`--parts`: a line for each part, the worst first; as CSV behind the columns as given; statuses."""

from __future__ import annotations

import csv
import io
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from firmware_host.folders import shipped_folder
from tests.cli.conftest import Circumstep

TABLE = 'serial,part.diameter mm,place\nA1,50,left\nA2,50.1,"right, far"\nA3,50.2,\n'
BAD = "serial,part.diameter mm\nA1,50\nA2,0.001\nA3,50.2\n"


def table(text: str) -> str:
    Path("parts.csv").write_text(text, encoding="utf-8")
    return "parts.csv"


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.mark.parametrize("command", ["limits", "segments"])
def test_csv_has_every_column_as_given_and_the_figures_that_json_has(circumstep: Circumstep, command: str) -> None:
    told = circumstep(command, "shaft-scale", "--parts", table(TABLE), "--json")
    listed = circumstep(command, "shaft-scale", "--parts", "parts.csv", "--csv")
    assert (told.status, listed.status, told.err, listed.err) == (0, 0, "", "")
    rows = rows_of(listed.out)
    assert [(row["serial"], row["part.diameter mm"], row["place"]) for row in rows] == [
        ("A1", "50", "left"),
        ("A2", "50.1", "right, far"),
        ("A3", "50.2", ""),
    ]
    parts = json.loads(told.out)["parts"]
    assert [row["width_deg"] for row in rows] == [str(part["width_deg"]) for part in parts]
    if command == "limits":
        assert [(row["verdict"], row["index_s"]) for row in rows] == [(p["verdict"], str(p["index_s"])) for p in parts]
        assert len({row["index_s"] for row in rows}) == 3


def test_a_part_that_cannot_be_planned_is_the_first_line_and_gives_status_one(circumstep: Circumstep) -> None:
    for command, words in (("limits", "fails 1"), ("segments", "1 of them cannot be laid out")):
        ended = circumstep(command, "shaft-scale", "--parts", table(BAD))
        assert ended.status == 1
        assert words in ended.out
        serials = [
            line.split()[1]
            for line in ended.out.splitlines()
            if line.split()[1:2] and line.split()[1] in ("A1", "A2", "A3")
        ]
        assert serials[0] == "A2"
        assert sorted(serials) == ["A1", "A2", "A3"]


def test_motors_tell_the_quickest_that_does_each_part(circumstep: Circumstep) -> None:
    folder = Path("motors")
    folder.mkdir()
    for name in ("nema34-short", "nema23-long"):
        text = (shipped_folder() / "motors" / f"{name}.toml").read_text(encoding="utf-8")
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    ended = circumstep(
        "motors", "shaft-scale", "--folder", "motors", "--parts", table("part.diameter\n50 mm\n66 m\n"), "--json"
    )
    first, second = json.loads(ended.out)["parts"]
    assert ended.status == 1
    assert first["motor"] == first["motors"][0]["name"]
    assert first["index_s"] == first["motors"][0]["index_s"]
    assert (second["usable"], second["motors"]) == (0, [])
    assert "Did you mean" in second["trouble"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("limits", "--sweep", "part.mass=1 kg..2 kg", "--parts", "parts.csv"), "contradict each other"),
        (("limits", "heavy-shaft", "--parts", "parts.csv"), "are for one job"),
        (("segments", "--csv"), "only a table of parts is printed as CSV"),
        (("segments", "--true-diameter", "49 mm", "--parts", "parts.csv"), "--parts has diameters of its own"),
        (("segments", "--card", "--csv", "--parts", "parts.csv"), "a card is not printed as CSV"),
        (("motors", "--csv", "--json", "--parts", "parts.csv"), "--csv and --json contradict each other"),
        (("limits", "--parts", "missing.csv"), "missing.csv: "),
    ],
    ids=[
        "with a sweep",
        "two jobs",
        "csv of one layout",
        "with a true diameter",
        "a card as csv",
        "two forms",
        "no file",
    ],
)
def test_what_contradicts_a_table_is_refused(circumstep: Circumstep, words: tuple[str, ...], told: str) -> None:
    table(TABLE)
    ended = circumstep(words[0], "shaft-scale", *words[1:])
    assert ended.status == 2
    assert told in ended.err


def test_a_long_table_shows_its_tightest_parts_and_counts_the_rest(circumstep: Circumstep) -> None:
    text = "part.diameter mm\n" + "".join(f"{50 + n / 50}\n" for n in range(40))
    out = circumstep("segments", "shaft-scale", "--parts", table(text)).out
    assert "40 parts." in out
    assert "... and 32 more parts." in out
    assert len(out.splitlines()) <= 24


def test_pandas_reads_the_table_that_is_printed(circumstep: Circumstep) -> None:
    pandas = pytest.importorskip("pandas")
    printed = circumstep("limits", "shaft-scale", "--parts", table(BAD), "--csv").out
    frame = pandas.read_csv(io.StringIO(printed)).set_index("serial")
    assert frame["index_s"].notna().to_dict() == {"A1": True, "A2": False, "A3": True}
    assert (
        frame.loc["A1", "margin"]
        == json.loads(circumstep("limits", "shaft-scale", "--parts", "parts.csv", "--json").out)["parts"][0]["margin"]
    )


def test_a_table_that_is_spread_over_the_processors_says_the_same(circumstep: Circumstep, tmp_path: Path) -> None:
    folder = tmp_path / "one motor"
    folder.mkdir()
    shutil.copyfile(shipped_folder() / "motors" / "nema23-long.toml", folder / "nema23-long.toml")
    text = "part.diameter mm\n" + "".join(f"{50 + n / 50}\n" for n in range(8))
    words = ("motors", "shaft-scale", "--folder", str(folder), "--json", "--parts")
    command = [sys.executable, "-m", "firmware_host", *words, table(text)]
    spread = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", timeout=120)
    one_by_one = [circumstep(*words, table(f"part.diameter mm\n{50 + n / 50}\n")) for n in (0, 7)]
    first, last = (json.loads(each.out)["parts"][0] for each in one_by_one)
    parts = json.loads(spread.stdout)["parts"]
    assert (spread.returncode, spread.stderr, len(parts)) == (0, "", 8)
    assert (parts[0], parts[-1] | {"part": 1}) == (first, last)


def test_parts_without_a_serial_are_told_by_what_differs_and_many_troubles_by_the_first(circumstep: Circumstep) -> None:
    text = "part.diameter mm\n50\n" + "".join(f"0.{n}\n" for n in range(1, 10))
    out = circumstep("limits", "shaft-scale", "--parts", table(text)).out
    assert "part.diameter=0.1 mm" in out
    assert "2: " in out
    assert "3: " in out
    assert "4: " not in out
    assert "10 parts: fails 9, holds 1." in out
    assert len(out.splitlines()) <= 24
    assert max(map(len, out.splitlines())) <= 80
