"""The table of parts: what a CSV file may hold, beside what pandas reads of it, and what each fault is told as."""

from pathlib import Path

import pytest

from firmware_host.errors import InputError, UnreadableFileError
from firmware_host.model.files.parts import MOST_PARTS, numbered_parts, read_parts

TABLE = (
    "serial,diameter mm,text,mark.passes,ring size\r\n"
    'A-1,50.02,"For Ada, with ""love""",2,56\r\n'
    'A-2,1.97 in,"two\r\nlines",,57\r\n'
    "\r\n"
    "A-3,,Größe,3,\r\n"
)


def table(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "parts.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def test_each_row_is_a_part_with_what_it_changes_and_every_column(tmp_path: Path) -> None:
    first, second, third = read_parts(table(tmp_path, b"\xef\xbb\xbf" + TABLE.encode()))
    assert (first.number, first.serial, first.text, first.line) == (1, "A-1", 'For Ada, with "love"', 2)
    assert dict(first.values) == {"part.diameter": "50.02 mm", "mark.passes": 2}
    assert dict(second.values) == {"part.diameter": "1.97 in"}
    assert second.text == "two\r\nlines"
    assert (third.number, third.line, third.text, dict(third.values)) == (3, 6, "Größe", {"mark.passes": 3})
    assert first.columns["ring size"] == "56"
    assert (first.diameter, third.diameter) == ("50.02 mm", "")


def test_cells_are_those_that_pandas_reads(tmp_path: Path) -> None:
    pandas = pytest.importorskip("pandas")
    path = table(tmp_path, TABLE)
    frame = pandas.read_csv(path, dtype=str, keep_default_na=False)
    rows = read_parts(path)
    assert list(frame.columns) == list(rows[0].columns)
    assert frame.to_dict("records") == [dict(row.columns) for row in rows]


@pytest.mark.parametrize(
    "header",
    ["diameter mm", "Diameter (mm)", "diameter [mm]", "part.diameter mm"],
    ids=["bare", "round", "square", "key"],
)
def test_the_header_may_name_the_unit(header: str, tmp_path: Path) -> None:
    (row,) = read_parts(table(tmp_path, f"{header}\n50.02\n"))
    assert row.diameter == "50.02 mm"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("serial,diameter\nA,50.02\n", r"parts.csv:2: diameter: 50.02 is a number without a unit. .*\"50.02 mm\""),
        ("serial,text\nA,x\nB\n", r"csv:3: .*has 1 cells, and the header has 2 columns"),
        ("serial,text\nA,x\nA,y\n", r"csv:3: .*'A' stands twice, first on line 2"),
        ('serial\n"A\n', r"csv:2: .*is no CSV"),
        ("serial;text\nA;x\n", "columns apart by semicolons"),
        ("serial,,text\nA,b,c\n", "a column without a name"),
        ("diameter mm,part.diameter\n50,50 mm\n", "'diameter mm' and 'part.diameter' say the same"),
        ("serial\n", "holds no part"),
        ("", "holds no part"),
        ("serial\nA\x1b[2J\n", "a sign that cannot be shown"),
        (f"serial\n{'x' * 1001}\n", "a cell of 1001 signs"),
        (",".join(f"c{n}" for n in range(65)) + "\n", "more than 64 columns"),
        (b"serial\n\xff\n", r"csv:2: .*is not UTF-8"),
        ("serial\n" + "".join(f"{n}\n" for n in range(MOST_PARTS + 1)), "has more than 10000 parts"),
    ],
    ids=[
        "no-unit",
        "short-row",
        "serial-twice",
        "open-quote",
        "semicolons",
        "unnamed",
        "said-twice",
        "no-row",
        "empty",
        "control",
        "long-cell",
        "many-columns",
        "latin-1",
        "many-rows",
    ],
)
def test_a_fault_is_told_with_its_line_and_what_would_be_right(text: str | bytes, told: str, tmp_path: Path) -> None:
    with pytest.raises(UnreadableFileError, match=f"(?s){told}"):
        read_parts(table(tmp_path, text))


@pytest.mark.parametrize("count", [0, -1, MOST_PARTS + 1])
def test_a_number_of_parts_that_is_none_is_refused(count: int) -> None:
    with pytest.raises(InputError, match="is no number of parts"):
        numbered_parts(count)
