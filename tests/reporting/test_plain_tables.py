"""Plain lines are what the terminal's own library would write on a stream that is no terminal."""

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from firmware_host.reporting.document import Column, Document, Table
from firmware_host.reporting.render.plain import WIDTH, fits, grid_lines, wrapped
from firmware_host.reporting.render.short import Grid, short_parts
from firmware_host.reporting.render.terminal import rich_grid

TEXT = st.text(
    st.characters(min_codepoint=0x20, max_codepoint=0x2FF, exclude_categories=["C"], exclude_characters="\xa0"),
    max_size=14,
)
VALUES = st.one_of(st.integers(-9999, 9999), st.floats(-99, 99), TEXT, st.booleans(), st.none())


def grid_of(title: str, labels: list[str], rows: list[list[object]]) -> Grid:
    columns = tuple(Column(f"c{number}", label) for number, label in enumerate(labels))
    table = Table("t", title, columns, tuple(tuple(row) for row in rows))  # type: ignore[arg-type]
    (grid,) = short_parts(Document((table,)))
    assert isinstance(grid, Grid)
    return grid


def by_the_library(grid: Grid) -> str:
    stream = io.StringIO()
    Console(file=stream, width=WIDTH, highlight=False, emoji=False, soft_wrap=True).print(rich_grid(grid))
    return stream.getvalue()


@given(data=st.data(), title=TEXT.map(str.strip), columns=st.integers(1, 3), rows=st.integers(1, 5))
def test_a_table_that_fits_looks_as_the_library_would_write_it(
    data: st.DataObject, title: str, columns: int, rows: int
) -> None:
    labels = data.draw(st.lists(TEXT.map(str.strip).map(lambda text: text or "-"), min_size=columns, max_size=columns))
    row = st.lists(
        VALUES.map(lambda value: value.strip() if isinstance(value, str) else value), min_size=columns, max_size=columns
    )
    grid = grid_of(title, labels, data.draw(st.lists(row, min_size=rows, max_size=rows)))
    lines = grid_lines(grid)
    assert lines is not None
    assert "".join(f"{line}\n" for line in lines) == by_the_library(grid)


@pytest.mark.parametrize(
    "text",
    ["\u5bec", "e\u0301"],
    ids=["two-cells-a-sign", "no-cell-of-its-own"],
)
def test_a_table_that_plain_lines_have_no_room_for_is_left_to_the_library(text: str) -> None:
    assert grid_lines(grid_of("T", ["a"], [[text]])) is None


def test_a_table_just_as_wide_as_a_line_is_still_plain() -> None:
    lines = grid_lines(grid_of("T", ["a", "b"], [["x" * 50, "y" * (WIDTH - 52)]]))
    assert lines is not None
    assert len(lines[-1]) == WIDTH


def test_a_table_that_is_too_wide_tells_the_widest_column_below_each_row_and_cuts_no_word() -> None:
    long = " ".join(["yyyyy"] * 20)
    grid = grid_of("T", ["a", "b", "c"], [["x" * 50, long, 1], ["name", "", 23], ["other", "-", 4]])
    lines = grid_lines(grid)
    assert lines == [
        "T",
        f"a{' ' * 49}   c",
        f"{'x' * 50}   1",
        f"  b: {' '.join(['yyyyy'] * 12)}",
        f"    {' '.join(['yyyyy'] * 8)}",
        f"name{' ' * 46}  23",
        f"other{' ' * 45}   4",
    ]
    assert max(map(len, lines)) <= WIDTH
    assert not fits(grid)
    assert fits(grid, 200)


def test_what_a_row_is_called_stays_whole_however_wide_it_is() -> None:
    lines = grid_lines(grid_of("T", ["path", "b"], [["x" * 100, "y" * 10]]))
    assert lines is not None
    assert lines[2:] == ["x" * 100, f"  b: {'y' * 10}"]


@pytest.mark.parametrize(
    ("text", "width", "lines"),
    [
        ("short", 80, ["short"]),
        (
            "  a line that is set in goes on further in",
            20,
            ["  a line that is set", "    in goes on", "    further in"],
        ),
        ("a margin of 33 % is left", 14, ["a margin of", "  33 % is left"]),
        ("it is 12 mm in all", 10, ["it is", "  12 mm in", "  all"]),
        ("step-rate-controller/of-one-word", 10, ["step-rate-controller/of-one-word"]),
    ],
    ids=["short", "indented", "percent", "unit", "long-word"],
)
def test_a_long_line_is_wrapped_and_no_number_parted_from_its_unit(text: str, width: int, lines: list[str]) -> None:
    assert wrapped(text, width) == lines
