"""What a text may hold inside, counted before a parser sees it: refused with file, line, key and the limit."""

from __future__ import annotations

import json
import re
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.errors import UnreadableFileError
from firmware_host.system.bounds import Bounds, require_bounded_toml, shortened, toml_tokens
from firmware_host.system.parsing import parse_json, parse_toml

SMALL = Bounds(nesting=3, key_parts=3, items=6, word=10, text=20)

TOO_MUCH = [
    pytest.param("[a.b]\nc.d.e = 1\n", None, "", id="three-parts-in-a-table"),
    pytest.param("x = 1\n[a]\nb.c.d.e = 1\n", 3, r"a\.b\.c\.d.*a key of more than 3 parts", id="dotted-key"),
    pytest.param("\n[a.b.c.d]\n", 2, "a key of more than 3 parts", id="dotted-header"),
    pytest.param("k = [[[1]]]\n", None, "", id="three-brackets"),
    pytest.param("k = [\n[[[1]]]]\n", 2, r"k: is nested too deeply: more than 3 brackets", id="four-brackets"),
    pytest.param("k = [[{a={}}]]\n", 1, "nested too deeply", id="inline-tables"),
    pytest.param("k = '[[[[[[' # [[[[[\n", None, "", id="brackets-in-a-string-and-a-comment"),
    pytest.param('k = """\n[[[[[["""\n', None, "", id="brackets-in-a-long-string"),
    pytest.param("[t]\nk = 12345678901\n", 2, r"t\.k: a number of 11 characters, more than 10", id="digits"),
    pytest.param("k = -2345678901\n", 1, "a number of 11 characters", id="negative-digits"),
    pytest.param("abcdefghijk = 1\n", 1, "a word of 11 characters, more than 10", id="long-word"),
    pytest.param("k = '12345678901'\n", None, "", id="digits-in-a-string"),
    pytest.param(f"k = '{'x' * 20}'\n", None, "", id="longest-string"),
    pytest.param(f"\n\nk = '{'x' * 21}'\n", 3, r"k: a text of 21 characters, more than 20", id="long-string"),
    pytest.param(f'k = "{"x" * 10}\\"[[[[[[" # "', None, "", id="escaped-quote"),
    pytest.param("a=1\nb=1\nc=1\nd=1\ne=1\nf=1\n", None, "", id="six-keys"),
    pytest.param("a=1\nb=1\nc=1\nd=1\ne=1\nf=1\ng=1\n", 7, "g: has more than 6 keys and items", id="seven-keys"),
    pytest.param("k = [1,1,1,1,1,1]\n", 1, "k: has more than 6 keys and items", id="items"),
]


@pytest.mark.parametrize(("text", "line", "words"), TOO_MUCH)
def test_too_much_of_anything_is_refused_with_line_and_key(text: str, line: int | None, words: str) -> None:
    if line is None:
        require_bounded_toml(text, "f.toml", SMALL)
        return
    with pytest.raises(UnreadableFileError, match=words) as caught:
        require_bounded_toml(text, "f.toml", SMALL)
    assert (caught.value.source, caught.value.line) == ("f.toml", line)
    assert caught.value.remedy


@pytest.mark.parametrize(
    "text",
    [
        "." * 900_000,
        "[" * 900_000,
        "a = " + "[" * 900_000,
        ".".join(["a"] * 20_000) + " = 1",
        "a = " + "9" * 900_000,
        'a = """' + "\\n" * 450_000,
        "a = '''" + "''x" * 300_000,
        "=" * 900_000,
        "".join(f"k{i}=1\n" for i in range(100_000)),
    ],
    ids=["dots", "brackets", "arrays", "dotted", "digits", "escapes", "quotes", "equals", "keys"],
)
def test_a_megabyte_of_anything_never_reaches_the_parser(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def reached(text: str) -> None:
        pytest.fail(f"the parser was given {len(text)} characters")

    monkeypatch.setattr(tomllib, "loads", reached)
    with pytest.raises(UnreadableFileError, match=r"more than \d+") as caught:
        parse_toml(text, "f.toml")
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize(
    ("data", "line", "words"),
    [
        pytest.param(b'{"a": [' + b"[" * 40, 1, r"a: is nested too deeply: more than 16 brackets", id="deep"),
        pytest.param(
            b'{\n"a": ' + b"1" * 6_000 + b"}", 2, "a: a number of 6000 characters, more than 120", id="digits"
        ),
        pytest.param(b"[" + b"1," * 30_000 + b"1]", 1, "has more than 20000 keys and items", id="items"),
        pytest.param(b'{"a": "' + b"x" * 20_000 + b'"}', 1, "a text of 20000 characters", id="long-text"),
        pytest.param(b'{"a": 1, "a": 2}', None, "'a' stands twice", id="twice"),
        pytest.param(b'{"a": NaN}', None, "NaN is no number", id="nan"),
        pytest.param(b'{"a": 1,\n}', 2, "is not valid JSON", id="no-json"),
        pytest.param("{}".encode("utf-16"), 1, "is not UTF-8 text", id="utf-16"),
        pytest.param(b'{"a": "\xff"}', 1, "is not UTF-8 text", id="latin-1"),
    ],
)
def test_json_is_bounded_likewise(data: bytes, line: int | None, words: str) -> None:
    with pytest.raises(UnreadableFileError, match=words) as caught:
        parse_json(data, "f.json")
    assert (caught.value.source, caught.value.line) == ("f.json", line)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers(-(10**50), 10**50) | st.floats(allow_nan=False, allow_infinity=False)
        | st.text(max_size=40),
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=40), inner, max_size=4),
        max_leaves=20,
    )
)  # fmt: skip
def test_json_within_the_bounds_is_what_the_library_reads(value: object) -> None:
    assert parse_json(json.dumps(value).encode(), "f.json") == value
    assert parse_json(b"\xef\xbb\xbf" + json.dumps(value, ensure_ascii=False).encode(), "f.json") == value


@given(st.text(alphabet="ab1.=[]{},\"'#\\\n -_é", max_size=80))
def test_any_text_is_walked_to_its_end_and_in_order(text: str) -> None:
    tokens = list(toml_tokens(text))
    assert [token.line for token in tokens] == sorted(token.line for token in tokens)
    place = 0
    for token in tokens:
        found = text.find(token.text, place)
        assert found >= 0
        place = found + len(token.text)


def test_a_long_text_is_shown_by_its_beginning_and_its_end() -> None:
    assert shortened("diameter") == "diameter"
    assert shortened("a" * 40) == "a" * 40
    assert shortened("begin" + "x" * 1000 + "end", 20) == "beginxxx...xxxxxend"
    assert re.fullmatch(r"a{18}\.\.\.b{18}", shortened("a" * 500 + "b" * 500))
