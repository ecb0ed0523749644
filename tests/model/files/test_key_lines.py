"""The line of each key, in every way TOML has of writing one."""

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.model.files.key_lines import key_lines, line_of

TEXT = '''\
# a = 1
a = 1
"b.c" = "x" # d = 2
'e f' = [1, 2]
text = """
fake = 3
[nope]
"""
[t.'u v']   # [w]
k.l = { m = 1, n.o = [1,
  2, {p = 3}] }
[[g]]
x = 1.5
[[g]]
x = 'z = 9'
[g.sub]
y = [
  { at = "9 mm", w = 'a = b' },
  # comment = [x]
  { at = "10 mm" },
]
[[g.sub.z]]
"\\u00e9" = 1979-05-27T07:32:00Z
[[ g . sub . z ]]
last = true
'''


def paths(place: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """Every path of a parsed document, from tomllib."""
    found = [path] if path else []
    items = place.items() if isinstance(place, dict) else enumerate(place) if isinstance(place, list) else ()
    for key, value in items:
        found += paths(value, (*path, key))
    return found


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("a",), 2),
        (("b.c",), 3),
        (("e f",), 4),
        (("e f", 1), 4),
        (("text",), 5),
        (("t", "u v"), 9),
        (("t", "u v", "k", "l"), 10),
        (("t", "u v", "k", "l", "m"), 10),
        (("t", "u v", "k", "l", "n", "o"), 10),
        (("t", "u v", "k", "l", "n", "o", 1), 11),
        (("t", "u v", "k", "l", "n", "o", 2, "p"), 11),
        (("g", 0), 12),
        (("g", 0, "x"), 13),
        (("g", 1), 14),
        (("g", 1, "x"), 15),
        (("g", 1, "sub"), 16),
        (("g", 1, "sub", "y"), 17),
        (("g", 1, "sub", "y", 0, "w"), 18),
        (("g", 1, "sub", "y", 1, "at"), 20),
        (("g", 1, "sub", "z", 0), 22),
        (("g", 1, "sub", "z", 0, "é"), 23),
        (("g", 1, "sub", "z", 1, "last"), 25),
    ],
    ids=str,
)
def test_a_key_stands_on_its_line(path: tuple[str | int, ...], line: int) -> None:
    assert key_lines(TEXT)[path] == line


def test_no_key_is_missed_and_none_invented() -> None:
    # Outside source: the paths that tomllib finds. Tables that only hold tables have no line of their own.
    real = set(paths(tomllib.loads(TEXT)))
    found = set(key_lines(TEXT))
    assert found <= real
    assert all(line_of(path, key_lines(TEXT)) for path in real - {("t",), ("g",)})
    assert real - found == {("t",), ("g",), ("t", "u v", "k"), ("t", "u v", "k", "l", "n"), ("g", 1, "sub", "z")}


def test_a_missing_key_is_shown_at_the_table_that_lacks_it() -> None:
    lines = key_lines(TEXT)
    assert line_of(("g", 1, "sub", "y", 1, "width"), lines) == 20
    assert line_of(("g", 0, "width"), lines) == 12
    assert line_of(("t", "u v", "zz", "deeper"), lines) == 9
    assert line_of(("window", "half_depth"), lines) is None
    assert line_of((), lines) is None


def test_only_a_newline_ends_a_line() -> None:
    text = 'a = "one\u2028two\u0085three"\nb = 2\r\nc = 3\n'
    assert tomllib.loads(text)["c"] == 3
    assert key_lines(text) == {("a",): 1, ("b",): 2, ("c",): 3}


def test_quotes_of_one_kind_inside_the_other_do_not_confuse() -> None:
    text = "a = \"it's [x]\"\nb = 'say \"hi\" = {'\nc = '''\n'' ''x = 1\n'''\nd = \"\\\"#\"\ne = \"\"\nf = 1\n"
    assert set(tomllib.loads(text)) == set("abcdef")
    assert key_lines(text) == {("a",): 1, ("b",): 2, ("c",): 3, ("d",): 6, ("e",): 7, ("f",): 8}


KEYS = st.sampled_from(["a", "b", "c-d", '"q.k"', "'x y'", '"#"'])
VALUES = st.sampled_from(
    ["1", '"= ["', "'#'", "[1, 2]", "{ m = 1 }", '[\n  { n = "]" },\n\n  { n = 2 },\n]', '"""\na = 1\n"""']
)


@given(
    st.lists(
        st.tuples(st.sampled_from(["one", "two", "'th.ree'"]), KEYS, VALUES), max_size=12, unique_by=lambda row: row[:2]
    )
)
def test_each_key_of_a_random_document_is_found_where_it_was_written(rows: list[tuple[str, str, str]]) -> None:
    text, wanted = "", {}
    for index, (table, key, value) in enumerate(rows):
        text += f"# {index}\n[[{table}]]\n"
        occurrence = text.count(f"[[{table}]]") - 1
        path = (table.strip("'"), occurrence, key.strip("\"'"))
        wanted[path] = text.count("\n") + 1
        text += f"{key} = {value}\n"
    found = key_lines(text)
    assert {path: found.get(path) for path in wanted} == wanted
    assert set(found) <= set(paths(tomllib.loads(text)))
