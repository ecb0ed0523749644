"""Run folders as a bad disk, a bad editor or a bad joke leaves them, drawn by a seed, and what is said of them.

Run as a program it reads the folders of some seeds and prints what came of them: `python -m tests.station.runs.hostile
FIRST COUNT FOLDER`.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import signal
import sys
import time
import zlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from firmware_host.cli.screen.documents import show
from firmware_host.errors import FirmwareHostError, JournalError
from firmware_host.reporting.runs.run import run_document
from firmware_host.reporting.runs.runs import findings_document, runs_document
from firmware_host.station.journal.tally import tally_path
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.listing import list_runs, read_record
from firmware_host.station.runs.resumable import Resumable
from firmware_host.station.runs.status import run_status
from firmware_host.station.runs.verify import verify_run
from firmware_host.station.settings.known_scale import KnownScales
from tests.support.most_memory import most_bytes

KEPT = Path(__file__).resolve().parents[1] / "kept"
PORT = "memory://device"
MOST_BYTES = 400_000_000
LONGEST_CPU_S = 2.0
_HANGS_S = 300

Draw = random.Random

#: Values that fit nowhere, as JSON texts.
VALUES = [
    *(
        "null",
        "true",
        "[]",
        "{}",
        '""',
        "0",
        "-1",
        "1.5",
        "1e308",
        "-1e999",
        "NaN",
        "1000000000",
        "9" * 400,
        "9" * 6000,
    ),
    *('"x"', '"\\u0000\\u001b[2J"', '"\\ud800"', json.dumps("long " * 40_000), "[" * 300 + "]" * 300),
    *("[" * 30_000 + "]" * 30_000, '{"a":' * 5000 + "1" + "}" * 5000, json.dumps([0] * 300_000), "9007199254740993"),
    json.dumps({f"k{number}": "" for number in range(9000)}),
]
KINDS = ["begin", "resume", "home", "zero", "move", "standstill", "unwind", "gate-open", "gate-closed", "pass-done"]
KINDS += ["finish", "finished", "release", "position-lost", "end", "assumed", "at-rest", "leap"]


def sealed(text: str) -> bytes:
    """A line with its checksum, whatever it says."""
    body = text[:-1]
    checksum = zlib.crc32(f"{body}}}".encode())
    return f'{body},"sum":"{checksum:08x}"}}\n'.encode()


def _written(entry: Mapping[str, Any], raw: Mapping[str, str]) -> str:
    """An entry as JSON, some of its values as they are given."""
    pairs = {**{key: json.dumps(value) for key, value in entry.items()}, **raw}
    return "{" + ",".join(f"{json.dumps(key)}:{value}" for key, value in pairs.items()) + "}"


def _kept_lines(path: Path) -> list[dict[str, Any]]:
    lines = [json.loads(line) for line in path.read_bytes().splitlines()]
    return [{key: value for key, value in line.items() if key != "sum"} for line in lines]


def wrong_value(folder: RunFolder, draw: Draw) -> None:
    """One value of one line is another, and the checksum is right."""
    lines = _kept_lines(folder.journal)
    at = draw.choice([0, draw.randrange(len(lines))])
    key = draw.choice([*lines[at], "schema", "passes", "accepted", "new"])
    raw = {at: {key: draw.choice([*VALUES, json.dumps(draw.choice(KINDS))])}}
    folder.journal.write_bytes(b"".join(sealed(_written(line, raw.get(n, {}))) for n, line in enumerate(lines)))


def wrong_event(folder: RunFolder, draw: Draw) -> None:
    """Some events are of another kind, have lost a key, or stand elsewhere; numbers and checksums are right."""
    lines = _kept_lines(folder.journal)
    for _ in range(draw.randrange(1, 6)):
        at = draw.randrange(len(lines))
        act = draw.choice(["kind", "key", "twice", "gone", "swap", "far"])
        if act == "kind":
            lines[at]["event"] = draw.choice(KINDS)
        elif act == "key":
            lines[at].pop(draw.choice([*lines[at]]))
        elif act == "twice":
            lines.insert(draw.randrange(len(lines)), dict(lines[at]))
        elif act == "gone" and len(lines) > 1:
            del lines[at]
        elif act == "swap":
            other = draw.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        else:
            far = draw.choice([0, -5, 4, 77, 10**6, 2**40, 2**53, 1e300])
            lines[at].update(
                {key: far for key in ("segment", "pass", "target", "reported", "turns") if key in lines[at]}
            )
    numbered = [{**line, "n": number} for number, line in enumerate(lines, 1)]
    folder.journal.write_bytes(b"".join(sealed(_written(line, {})) for line in numbered))
    tally_path(folder.journal).unlink(missing_ok=True)


def no_object(folder: RunFolder, draw: Draw) -> None:
    """A line with the right checksum that is no event at all."""
    body = draw.choice(
        ["[1]", "[]", "{}", '{"n":1}', "null", "1", '"text"', *(f'{{"n":1,"schema":{v}}}' for v in VALUES)]
    )
    data = folder.journal.read_bytes()
    line = sealed(body)
    folder.journal.write_bytes(draw.choice([line, line + data, data + line]))


def endless(folder: RunFolder, draw: Draw) -> None:
    """A file that is long, or has a long line."""
    piece = draw.choice([b"\n", b"{", b"\0", b"[1,", b'{"a":', b"x" * 1000 + b"\n", folder.journal.read_bytes()])
    path = draw.choice([folder.journal, folder.setup, folder.record, tally_path(folder.journal)])
    path.write_bytes(piece * (draw.choice([1000, 3_900_000, 6_000_000]) // len(piece)))


def many_passes(folder: RunFolder, draw: Draw) -> None:
    """A run of far too many passes, or just of as many as one may have."""
    first, *_ = _kept_lines(folder.journal)
    count, passes = draw.choice([(3, 10**9), (3, 10**5), (100_000, 1), (100_001, 1), (100, 1000), (650_000, 1)])
    first |= {"schema": 2, "targets": [0] * count, "passes": passes, "overrun": 0}
    folder.journal.write_bytes(sealed(_written(first, {})))
    tally_path(folder.journal).unlink()


def torn_bytes(folder: RunFolder, draw: Draw) -> None:
    """Some bytes of some file are others, or gone."""
    path = draw.choice([folder.journal, folder.setup, folder.record, tally_path(folder.journal)])
    data = bytearray(path.read_bytes() if path.exists() else b"?")
    for _ in range(draw.randrange(1, 8)):
        data[draw.randrange(len(data))] = draw.randrange(256)
    cut, wide = bytes(data[: draw.randrange(len(data))]), data.decode("latin-1").encode("utf-16")
    path.write_bytes(draw.choice([bytes(data), cut, b"", wide]))


def wrong_document(folder: RunFolder, draw: Draw) -> None:
    """Setup or record with another value somewhere; the journal has the setup's digest."""
    path = draw.choice([folder.setup, folder.setup, folder.record])
    document = json.loads(path.read_bytes()) if path.exists() else {}
    mark = "\x07 here \x07"
    place: Any = document
    while isinstance(place, dict | list) and place:
        key = draw.choice([*place]) if isinstance(place, dict) else draw.randrange(len(place))
        if not isinstance(place[key], dict | list) or not place[key] or draw.random() < 0.3:
            place[key] = mark
            break
        place = place[key]
    path.write_text(json.dumps(document).replace(json.dumps(mark), draw.choice(VALUES)), encoding="utf-8")
    first, *others = _kept_lines(folder.journal)
    first["setup"] = hashlib.sha256(folder.setup.read_bytes()).hexdigest()
    folder.journal.write_bytes(b"".join(sealed(_written(line, {})) for line in [first, *others]))


def no_file(folder: RunFolder, draw: Draw) -> None:
    """Something else than a plain file in the place of one, or nothing."""
    names = ["journal.jsonl", "journal.jsonl.tally", "journal.jsonl.lock", "record.json", "setup.json", "trace.jsonl"]
    for name in draw.sample(names, draw.randrange(1, 3)):
        instead(folder.path / name, draw.choice(["pipe", "folder", "link", "device", "nothing", "locked"]))


def instead(path: Path, what: str) -> None:
    """Put something else in a file's place."""
    path.unlink(missing_ok=True)
    if what == "pipe":
        os.mkfifo(path)
    elif what == "folder":
        path.mkdir()
    elif what == "link":
        path.symlink_to(KEPT / "done" / "journal.jsonl")
    elif what == "device":
        path.symlink_to("/dev/zero")
    elif what == "locked":
        path.write_bytes(b"secret")
        path.chmod(0)


WAYS: tuple[Callable[[RunFolder, Draw], None], ...] = (
    *(wrong_value, wrong_value, wrong_event, no_object, endless, many_passes, torn_bytes, wrong_document, no_file),
)


def hostile_folder(seed: int, runs: Path) -> RunFolder:
    """The run folder of a seed, below `runs`."""
    draw = Draw(seed)
    folder = RunFolder(Path(shutil.copytree(KEPT / draw.choice(["crashed", "done", "stopped"]), runs / f"run-{seed}")))
    if draw.random() < 0.5:
        as_written_now(folder)
    WAYS[seed % len(WAYS)](folder, draw)
    return folder


def as_written_now(folder: RunFolder) -> None:
    """Rewrite a kept journal in the present schema."""
    lines = _kept_lines(folder.journal)
    lines[0] |= {"schema": 2, "overrun": 17}
    for line in lines:
        if line["event"] == "at-rest":
            line["event"] = "standstill"
        if line["event"] in ("move", "standstill"):
            line["position"] = line["target"]
    folder.journal.write_bytes(b"".join(sealed(_written(line, {})) for line in lines))


def hostile_note(seed: int, notes: Path) -> None:
    """A note on the last run at a port, with another value or other bytes."""
    draw = Draw(seed)
    shutil.rmtree(notes, ignore_errors=True)
    KnownScales(notes).remember_run(PORT, "A", notes / "run")
    (path,) = notes.iterdir()
    note = json.loads(path.read_bytes())
    if draw.random() < 0.5:
        path.write_text(_written(note, {draw.choice([*note]): draw.choice(VALUES)}), encoding="utf-8")
    else:
        instead(path, draw.choice(["pipe", "folder", "link", "device", "nothing"]))


def said_of(folder: RunFolder) -> dict[str, tuple[str, float]]:
    """What each way to look at a run says, an answer as a document or one error, and how long that takes (CPU, s)."""
    looks: dict[str, Callable[[], object]] = {
        "list": lambda: runs_document(list_runs(folder.path.parent)),
        "show": lambda: run_document(read_record(RunFolder.existing(folder.path)), status=None),
        "status": lambda: run_document(read_record(folder), status=run_status(folder)),
        "verify": lambda: findings_document(verify_run(folder)),
        "resume": lambda: Resumable.read(RunFolder.existing(folder.path)).left(),
    }
    return {name: _said(name, look) for name, look in looks.items()}


def _said(name: str, look: Callable[[], object]) -> tuple[str, float]:
    before_s, said = time.process_time(), "an answer"
    try:
        answer = look()
        if name != "resume":
            show(answer, json=True)  # type: ignore[arg-type]
    except FirmwareHostError as error:
        text = str(error)
        if len(text) > 1000 or (isinstance(error, JournalError) and not text.isprintable()):  # others: when printed
            raise AssertionError(f"{name}: an error that can't be shown: {text[:300]!r}") from error
        said = type(error).__name__
    return said, time.process_time() - before_s


def main(first: int, count: int, home: Path) -> None:
    """Look at the folders of some seeds; print a line for each, with the most memory that was needed so far."""
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    shown, sys.stdout = sys.stdout, Path(os.devnull).open("w", encoding="utf-8")
    for seed in range(first, first + count):
        runs = home / "runs"
        shutil.rmtree(runs, ignore_errors=True)
        shutil.copytree(KEPT / "done", runs / "a whole one")
        folder = hostile_folder(seed, runs)
        signal.alarm(_HANGS_S)
        said = said_of(folder)
        hostile_note(seed, home / "notes")
        KnownScales(home / "notes").last_run(PORT, "A")
        signal.alarm(0)
        others = [run.state for run in list_runs(runs) if run.path.name == "a whole one"]
        most = most_bytes()
        print(json.dumps({"seed": seed, "said": said, "others": others, "bytes": most}), file=shown, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3]))
