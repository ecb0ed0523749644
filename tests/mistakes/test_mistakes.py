"""Twelve common mistakes: each leads to its fix in one message, as the page shows it, and the fix works."""

from __future__ import annotations

import sys

import pytest

from firmware_host.errors import EXIT_DONE

pytestmark = pytest.mark.posix("pseudo-terminals, the rights of a device")

if sys.platform != "win32":
    from tests.mistakes.made import MISTAKES, Mistake
    from tests.mistakes.page import PAGE, played, printed, section
    from tests.mistakes.wrong_speed import received


def test_there_are_twelve() -> None:
    assert len(MISTAKES) == 12
    text = PAGE.read_text(encoding="utf-8")
    assert [line[3:] for line in text.splitlines() if line.startswith("## ")] == [each.title for each in MISTAKES]


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.title.replace(" ", "-"))
def test_a_mistake_is_told_as_on_the_page_and_what_is_told_mends_it(mistake: Mistake) -> None:
    told, mended = played(mistake)
    assert (told.status == EXIT_DONE) == mistake.only_warns
    message = printed(told)
    assert section(mistake, message) in PAGE.read_text(encoding="utf-8"), (
        f"{message}\npython -m tests.mistakes.page writes it anew"
    )
    assert mended.status == EXIT_DONE, mended
    assert "error: " not in mended.err
    assert "warning: " not in mended.err


def test_a_line_read_at_its_own_speed_is_what_was_sent_and_at_another_it_is_not() -> None:
    """Worked by hand: at double speed each bit is sampled twice, so that U (01010101) comes as 0x66, 0x66 or so."""
    said = bytes(range(256))
    assert received(said, 9600, 9600) == said
    # Sent: start 0, then 1 0 1 0 1 0 1 0, stop 1. Read twice as fast from the edge: 0 | 0 1 1 0 0 1 1 0 | 0 -> 0x66.
    assert received(b"U", 9600, 19200)[0] == 0x66
    assert received(b"ok\r\n", 57600, 115200) != b"ok\r\n"
