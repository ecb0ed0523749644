"""The page of common mistakes, with each message as it was printed. `python -m tests.mistakes.page` writes it anew."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import chdir, contextmanager
from pathlib import Path
from unittest.mock import patch

from firmware_host.system.processes import join_command
from tests.cli.command import Ended
from tests.mistakes.made import MISTAKES, Mistake, files

PAGE = Path(__file__).resolve().parents[2] / "docs/pages/mistakes.md"
_BEGIN, _END = "<!-- mistakes -->\n", "<!-- end of mistakes -->\n"
_FOLDERS = ("XDG_STATE_HOME", "XDG_CONFIG_HOME", "XDG_RUNTIME_DIR")


@contextmanager
def a_workshop() -> Iterator[None]:
    """Inside, a folder of somebody who has made no mistake yet."""
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        for name in _FOLDERS:
            Path(name).mkdir(mode=0o700)
        with patch.dict(os.environ, {name: str(Path(folder, name)) for name in _FOLDERS}):
            files()
            yield


def printed(ended: Ended) -> str:
    """The message; the number of a process and the time in a run's name are always the same ones."""
    told = ended.err.rstrip("\n")
    told = re.sub(r"process \d+", "process 4711", told)
    return re.sub(r"\d{8}-\d{6}-", "20260301-132007-", told)


def played(mistake: Mistake) -> tuple[Ended, Ended]:
    """What the command said, and what it says once that was done."""
    with a_workshop():
        play = mistake.play(mistake)
        ended, mended = next(play)
        again = mended()
        for _ in play:
            raise AssertionError(f"{mistake.title} is made once")
    return ended, again


def section(mistake: Mistake, message: str) -> str:
    """What the page says of a mistake."""
    command = join_command(("circumstep", *mistake.words))
    more = f"\n{mistake.more}\n" if mistake.more else ""
    return f"## {mistake.title}\n\n{mistake.done}\n\n```console\n$ {command}\n{message}\n```\n{more}"


def page_with(messages: dict[str, str]) -> str:
    """The page with the messages, by the mistakes' titles."""
    sections = "\n".join(section(mistake, messages[mistake.title]) for mistake in MISTAKES)
    before, _, rest = PAGE.read_text(encoding="utf-8").partition(_BEGIN)
    return f"{before}{_BEGIN}\n{sections}\n{_END}{rest.partition(_END)[2]}"


if __name__ == "__main__":
    PAGE.write_text(page_with({mistake.title: printed(played(mistake)[0]) for mistake in MISTAKES}), encoding="utf-8")
