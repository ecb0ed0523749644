"""What the front door refuses of a batch, before anything is opened."""

from pathlib import Path

import pytest

from tests.cli.conftest import Circumstep

NOWHERE = ("--port", "socket://127.0.0.1:9")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--parts", "0"), "0 is no number of parts"),
        (("--parts", "none.csv"), "none.csv: no such file"),
        (("--parts", "parts.csv"), "parts.csv:3: part.diametr: unknown key 'diametr'"),
        (("--parts", "gate.csv"), "gate.csv:2: gate.timeout: is no key that a part may change"),
        (("--parts", "2", "--only", "1"), "--only: a batch marks every segment of a part"),
        (("--parts", "2", "--next-after", "20"), "--next-after: '20' is no time"),
    ],
    ids=["none", "no-file", "unknown-key", "forbidden-key", "only", "no-unit"],
)
def test_what_is_wrong_with_a_batch_is_told_before_anything_is_opened(
    words: tuple[str, ...], told: str, home: Path, circumstep: Circumstep
) -> None:
    (home / "parts.csv").write_text("serial,part.diametr\nA,\nB,50 mm\n", encoding="utf-8")
    (home / "gate.csv").write_text("gate.timeout\n5 s\n", encoding="utf-8")
    ended = circumstep("run", "shaft-scale", *words, *NOWHERE)
    assert ended.status == 2
    assert told in " ".join(ended.err.split())
    assert not (home / "runs").exists()
