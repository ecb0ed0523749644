"""Messages are collected so that they can be translated: none that is printed is missing."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import fields
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from firmware_host.commissioning.procedures.registry import PROCEDURES
from firmware_host.errors import EXIT_BAD_INPUT, EXIT_DONE, FirmwareHostError
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.limits.registry import LIMITS
from tests.cli.command import PATIENCE_S, environment
from tests.docs.pages import ROOT, blocks
from tests.docs.test_generated import hook
from tests.test_errors import ALL, sample

_ACCENTS = str.maketrans("aeiou", "àéîöü")


@pytest.fixture(scope="module")
def messages() -> ModuleType:
    return hook("messages")


@pytest.fixture(scope="module")
def catalogue(messages: ModuleType) -> Catalog:
    made: Catalog = messages.catalogue()
    return made


def foreign(text: str) -> str:
    """The text in an invented language: every vowel has an accent; what is filled in keeps its name."""
    return re.sub(
        r"\{\w*\}|[^{}]+", lambda found: found[0] if found[0][0] == "{" else found[0].translate(_ACCENTS), text
    )


def plain_words(text: str) -> list[str]:
    """Words of ordinary language without an accent; names, keys, options and numbers are none."""
    bare = re.sub(r"\"[^\"]*\"|'[^']*'", " ", text)
    found = re.findall(r"(?<![\w./:_=$()-])[A-Za-z]?[a-z]+(?![\w._/()=-]*\w|-|:\d)", bare)
    return [word for word in found if re.search(r"[aeiou]", word) and len(word) > 2]


# --- what is taken from a source ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("source", "texts"),
    [
        ('raise InputError(f"{count} is too many", "Write at most 3")', ["{count} is too many", "Write at most 3"]),
        ('say(f"{a.size:.3g} by {b.size:.3g} mm wide")', ["{size} by {size2} mm wide"]),
        ('x = "stands " + "; ".join(each) + f". Fix: {self.remedy}"', ["stands {each}. Fix: {remedy}"]),
        ("x = f\"{n} {'seam' if n == 1 else 'seams'} left\"", ["{n} {n2} left", "seam", "seams"]),
        ('Column("gap_mm", "gap", "mm")', ["gap"]),
        ('def f(a: Annotated[str, Option(help="Where it is")]) -> "a type": ...', ["Where it is"]),
        ('"""A docstring of the file."""\nx = {"key": "word"}.get("key")', []),
        ('if kind == "chuck drive": go(getattr(x, "name"))', []),
        ('x: TypeAlias = "str | int"; y = re.compile("a b"); z = value("5 mm")', []),
        ('@app.command("find")\ndef find() -> None:\n    """Ask every port."""', ["Ask every port."]),
    ],
    ids="error numbered added choice label option docstring compared programs command".split(),
)
def test_what_a_person_reads_is_taken_and_what_a_program_reads_is_not(
    messages: ModuleType, source: str, texts: list[str]
) -> None:
    assert sorted(text for _, text in messages.words_of_source(source, "firmware_host/x.py")) == sorted(texts)


def test_words_of_a_page_are_taken_with_what_is_read_aloud(messages: ModuleType) -> None:
    page = '<p>{% if a %}Said by {{ run.name | safe }}{% endif %}</p>\n<img alt="the part"><style>p { top: 0 }</style>'
    assert messages.words_of_markup(page, ".html") == [(1, "Said by {name}"), (2, "the part")]
    assert messages.words_of_markup('put("a", `about ${time(left)} left`)', ".js") == [(1, "about {time} left")]


@pytest.fixture(scope="module")
def errors_said(messages: ModuleType) -> dict[str, Any]:
    """The errors, as they would be in the invented language."""
    source = (ROOT / "firmware_host/errors.py").read_text(encoding="utf-8")
    said = ModuleType("errors_said")
    sys.modules[said.__name__] = said
    tree = messages.rewritten(source, "firmware_host/errors.py", lambda text, _: foreign(text))
    exec(compile(tree, "errors_said", "exec"), vars(said))
    return vars(said)


@pytest.mark.parametrize(
    "kind", [kind for kind in ALL if kind is not FirmwareHostError], ids=lambda kind: kind.__name__
)
def test_all_that_an_error_itself_says_is_collected(kind: type[FirmwareHostError], errors_said: dict[str, Any]) -> None:
    own = sample(kind)
    values = {field.name: getattr(own, field.name) for field in fields(kind)}
    message = errors_said[kind.__name__](**values).message()
    for value in values.values():
        for part in value if isinstance(value, tuple) else (value,):
            message = message.replace(str(part), " ")
    assert plain_words(message) == []


# --- the whole of it ------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_template_is_read_back_by_a_gettext_library_and_names_real_lines(catalogue: Catalog) -> None:
    file = BytesIO()
    write_po(file, catalogue, width=100)
    back = {str(each.id): each for each in read_po(BytesIO(file.getvalue())) if each.id}
    assert len(back) > 4000
    for text, message in back.items():
        slots = re.findall(r"\{(\w*)\}", text)
        assert len(set(slots)) == len(slots) or not all(slots), text
        for name, line in message.locations:
            assert 1 <= line <= len((ROOT / name).read_text(encoding="utf-8").splitlines())


#: Names of machines, parts, keys, procedures and settings, and what the system says: they are translated elsewhere.
_NAMES = set("circumstep graduated shaft arc belt reduced chuck socket json csv metric inch crown".split())
_NAMES |= set("acceleration rate such file directory runs".split()) | {each.key for each in PROCEDURES}

#: Words that programs read as well, and that are printed as they stand: a translation needs a table of them.
_STATES = {"raise", "lower", "Raise", "done", "marked", "part"}


def run_in(file: Path, words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """A command as a translator tries it."""
    command = [sys.executable, str(ROOT / "docs/messages.py"), str(file), *words.split()]
    told = environment() | {"PYTHONUTF8": "1"}
    return subprocess.run(command, capture_output=True, encoding="utf-8", timeout=PATIENCE_S, env=told, cwd=folder)


@pytest.mark.slow
def test_what_commands_print_is_all_in_another_language(catalogue: Catalog, tmp_path: Path) -> None:
    said = Catalog(locale="eo")
    for each in catalogue:
        if each.id:
            said.add(each.id, foreign(str(each.id)))
    with (tmp_path / "other.po").open("wb") as file:
        write_po(file, said)
    profiles = [each.name for kind in ("jobs", "machines", "motors") for each in list_profiles(kind)]
    names = _NAMES | _STATES | {limit.name for limit in LIMITS} | set(profiles)
    left = {}
    for words, status in (
        ("segments shaft-scale", EXIT_DONE),
        ("limits bottle-band", EXIT_DONE),
        ("limits heavy-shaft", EXIT_DONE),
        ("time shaft-scale", EXIT_DONE),
        ("motors shaft-scale", EXIT_DONE),
        ("seam bottle-band --gap 0.3mm", EXIT_DONE),
        ("commission list", EXIT_DONE),
        ("demo", EXIT_DONE),
        ("segments nowhere.toml", EXIT_BAD_INPUT),
        ("segments shaft-scale --true-diameter 48", EXIT_BAD_INPUT),
        ("runs list", EXIT_BAD_INPUT),
    ):
        ended = run_in(tmp_path / "other.po", words, tmp_path)
        assert ended.returncode == status, ended.stderr
        left[words] = set(plain_words(ended.stdout + ended.stderr)) - names
    assert {words: each for words, each in left.items() if each} == {}


def pieces(catalogue: Catalog) -> str:
    """All words of the catalogue, a line for what stands between two things filled in."""
    texts = (piece for each in catalogue if each.id for piece in re.split(r"\{\w*\}", str(each.id)))
    return "\n".join(f" {' '.join(re.findall(r'[A-Za-z]+', text))} " for text in texts)


@pytest.mark.slow
@pytest.mark.parametrize("page", ["mistakes", "commissioning-session"])
def test_messages_of_the_pages_are_made_of_what_is_collected(catalogue: Catalog, page: str) -> None:
    known = pieces(catalogue)
    lines = [
        line
        for block in blocks(ROOT / f"docs/pages/{page}.md")
        if block.language == "console"
        for line in block.text.splitlines()
        if not line.startswith(("$ ", "> ", "..."))
    ]
    assert len(lines) > 10
    told = (re.sub(r"\bcircumstep [a-z].*", "", line) for line in lines)
    runs = [
        run.split() for line in told for run in re.findall(r"(?<![\w./'\"-])[a-z]+(?: [a-z]+){3,}(?![\w./'\"-])", line)
    ]
    assert len(runs) > 15
    words = {word for run in runs for word in run} - {"dialout"}  # a name of the system
    assert {word for word in words if f" {word} " not in known} == set()
    unmade = [" ".join(run) for run in runs if not any(f" {' '.join(pair)} " in known for pair in pairwise(run))]
    assert unmade == []


@pytest.mark.slow
def test_a_translation_may_turn_the_order_of_what_is_filled_in(tmp_path: Path) -> None:
    file = tmp_path / "other.po"
    file.write_text('msgid "no file kind {kind}"\nmsgstr "{kind} ne estas dosierspeco"\n', encoding="utf-8")
    ended = run_in(file, "schema nothing", tmp_path)
    assert ended.stderr == "error: 'nothing' ne estas dosierspeco. Known kinds: job, machine, motor\n"
