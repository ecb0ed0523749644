"""The house rules that no linter knows: what lies where, how long files are, where wire literals may stand."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SOURCES = sorted((ROOT / "firmware_host").rglob("*.py"))
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "firmware_host", "tests", "profiles", "docs"}

#: The files that may speak to a wire or write RS-274 words.
MAY_SPEAK = re.compile(
    r"firmware_host/(controller|simulator)/(status_query|numbered_line)/\w+\.py|firmware_host/planning/export/rs274\.py"
)
#: `$$`, `$100=`, `?`, `!`, `~`, 0x18; a word such as G1, M400 or G92 at a text's beginning; the words of answers.
WIRE = re.compile(
    r"\$[\$IHXGN#]?=?$|\$\d+=?$|[?!~\x18]$|[GM]\d{1,3}(\.\d)?( |$)|ok$|error:\d|ALARM:|<Idle|\[MSG:|Resend:"
)


def names(path: Path) -> str:
    return str(path.relative_to(ROOT))


def tracked() -> list[str]:
    if not (ROOT / ".git").exists():
        pytest.skip("not a git working tree")
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True, timeout=60)
    return listed.stdout.splitlines()


def test_nothing_else_lies_at_the_top() -> None:
    entries = {path.partition("/")[0] for path in tracked()}
    assert {entry for entry in entries if not entry.startswith(".")} <= TOP_LEVEL


def test_no_source_file_is_longer_than_400_lines() -> None:
    assert len(SOURCES) > 200
    assert [names(path) for path in SOURCES if len(path.read_text(encoding="utf-8").splitlines()) > 400] == []


def test_every_module_says_what_it_is_for() -> None:
    assert [names(path) for path in SOURCES if not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))] == []


def literals(path: Path) -> list[tuple[int, str]]:
    """Every text and bytes literal of a file but docstrings, with its line."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    joined = [node for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)]
    inner = {id(part) for node in joined for part in node.values[1:]}  # a text's beginning tells what it is
    return [
        (node.lineno, node.value.decode("latin-1") if isinstance(node.value, bytes) else node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str | bytes)
        if id(node) not in docstrings | inner
    ]


def spoken(path: Path) -> list[tuple[int, str]]:
    return [(line, text) for line, text in literals(path) if WIRE.match(text)]


def test_what_a_dialect_says_stands_only_in_its_own_files() -> None:
    silent = [path for path in SOURCES if not MAY_SPEAK.fullmatch(names(path))]
    assert {names(path): spoken(path) for path in silent if spoken(path)} == {}


def test_the_search_finds_the_words_where_they_belong() -> None:
    for name in ("controller/status_query/dialect.py", "planning/export/rs274.py"):
        assert len(spoken(ROOT / "firmware_host" / name)) >= 3
    assert any(spoken(path) for path in (ROOT / "firmware_host" / "simulator").glob("status_query/*.py"))


def test_only_units_knows_the_unit_library_and_only_the_port_the_serial_one() -> None:
    homes = {"pint": {"firmware_host/units/registry.py"}, "serial": set(), "time": {"firmware_host/clock.py"}}
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            imported = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            imported += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            for module in {name.partition(".")[0] for name in imported} & {"pint", "time"}:
                assert names(path) in homes[module], f"{names(path)} imports {module}"
            if "serial" in {name.partition(".")[0] for name in imported}:
                assert re.match(r"firmware_host/(controller/|system/ports\.py)", names(path))
