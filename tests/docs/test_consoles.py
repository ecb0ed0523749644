"""Every console block is carried out as it stands, in the order of its page, and shows what was really printed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.docs.day import Day
from tests.docs.pages import PAGES, ROOT, blocks, matches, shown

#: Pages whose consoles another test carries out, with what that test is.
ELSEWHERE = {
    "docs/pages/commissioning-session.md": "tests/cli/test_whole_commissioning.py",
    "docs/pages/commissioning.md": "tests/cli/test_whole_commissioning.py",
    "docs/pages/mistakes.md": "tests/mistakes/page.py",
    # A browser takes real time, which the day at the bench has none of.
    "docs/pages/report.md": "tests/reporting/report/test_pdf.py",
    "docs/pages/station-page.md": "tests/page/test_in_browser.py",
}
CONSOLES = [
    page
    for page in PAGES
    if str(page.relative_to(ROOT)) not in ELSEWHERE and any(block.language == "console" for block in blocks(page))
]
#: Commands of a page that are shown to end with another status than 0, by their first words.
STATUSES = {("circumstep", "controller", "settings", "compare"): 1}


@pytest.fixture
def day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Day:
    for name in ("XDG_STATE_HOME", "XDG_CONFIG_HOME", "XDG_RUNTIME_DIR"):
        (tmp_path / name.lower()).mkdir(mode=0o700)
        monkeypatch.setenv(name, str(tmp_path / name.lower()))
    (tmp_path / "home").mkdir()
    monkeypatch.setenv("HOME", str(tmp_path / "home"))  # a shell's own files stand there
    monkeypatch.setattr("shellingham.detect_shell", lambda: ("bash", "/bin/bash"))
    monkeypatch.chdir(tmp_path)
    return Day(tmp_path)


@pytest.mark.timeout(240)  # a whole day on a busy computer
@pytest.mark.posix("paths of POSIX systems stand in what is shown")
@pytest.mark.parametrize("page", CONSOLES, ids=lambda page: str(page.relative_to(ROOT)))
def test_the_consoles_of_a_page_show_what_is_printed(page: Path, day: Day) -> None:
    wrong = []
    with day.at_the_bench():
        for block in blocks(page):
            for each in shown(block) if block.language == "console" else ():
                words = tuple(run_folder(word, day) for word in each.words)
                printed = day.types(words, each.typed, ends=STATUSES.get(words[:4], 0))
                if each.lines and not matches(each.lines, printed):
                    wrong.append("\n".join([f"$ {' '.join(each.words)}", *printed]))
    assert wrong == []


def run_folder(word: str, day: Day) -> str:
    """Where a page names the folder of some run: that of a run of this job that was just done."""
    named = re.fullmatch(r"runs/\d{8}-\d{6}-([\w-]+)", word)
    if named is None:
        return word
    day.types(("circumstep", "controller", "settings", "write", named[1], "--port", "/dev/ttyUSB0"), [])
    day.types(("circumstep", "run", named[1], "--port", "/dev/ttyUSB0", "--zero", "here"), [])
    return str(max(Path("runs").iterdir()))


def test_there_are_consoles_for_each_user() -> None:
    told = {
        page.stem: sum(len(list(shown(block))) for block in blocks(page) if block.language == "console")
        for page in CONSOLES
    }
    assert all(told[name] >= 8 for name in ("chuck", "rollers", "heavy-part"))


@pytest.mark.parametrize(("page", "test"), ELSEWHERE.items(), ids=ELSEWHERE)
def test_a_page_whose_consoles_are_not_run_here_is_read_by_the_test_that_runs_them(page: str, test: str) -> None:
    assert Path(page).name in (ROOT / test).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("expected", "fits"),
    [
        pytest.param("one\ntwo\nthree", True, id="all of it"),
        pytest.param("one\ntwo", False, id="an end that is not told to be left out"),
        pytest.param("two\nthree", False, id="a beginning"),
        pytest.param("one\n...\nthree", True, id="a middle left out"),
        pytest.param("...\nthree", True, id="a beginning left out"),
        pytest.param("one\n...", True, id="an end left out"),
        pytest.param("one\n...\nfour", False, id="what was not printed"),
        pytest.param("three\n...\none", False, id="another order"),
        pytest.param("o...\ntwo\nthree", True, id="more of a line"),
        pytest.param("one\ntwo\nthree\n...", True, id="nothing left out"),
    ],
)
def test_what_is_shown_is_compared_line_by_line(expected: str, fits: bool) -> None:
    assert matches(tuple(expected.splitlines()), ["one", "two", "three"]) is fits
