"""A measured value put into the machine's file or the job's: all else stays to the byte, the old file is kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from firmware_host.commissioning.finding import Change, Finding
from firmware_host.errors import InputError
from firmware_host.model import Job, Machine
from firmware_host.model.files.folders import shipped_folder
from firmware_host.model.files.loading import load_job, load_machine
from firmware_host.system.files import write_whole

MEASURED = "measured "
"""How the remark behind a measured value begins."""


@dataclass(frozen=True)
class WrittenBack:
    """What was written: `before` is the value as it stood there, "" for none; `backup` the file as it was.

    `also`: what was written with it.
    """

    file: Path
    key: str
    before: str
    after: str
    backup: Path
    also: tuple[WrittenBack, ...] = ()


def write_back(path: Path, finding: Finding, now: datetime) -> WrittenBack:
    """Write what `finding` wants changed into the file at `path`, with a remark that says when and how well.

    It is the machine's file, or the job's, as the change says.

    What belongs to the change goes with it. Comments, order and everything else stay. The old file is kept beside it as
    NAME.before-DATE.toml. Raises `InputError` for a shipped file (copy it first), a finding without a change, a key
    that can't be set there, and where a file can't be written; nothing is changed then.
    """
    change = finding.change
    if change is None:
        raise InputError("there is nothing to write", "Leave it as it is", source=str(path))
    if shipped_folder() in path.resolve().parents:
        remedy = "Make a file of your own from it first, and name that"
        raise InputError("is a shipped file, and stays as it is", remedy, source=str(path), key=change.key)
    import tomlkit  # takes a while, and only this needs it

    text = path.read_bytes().decode("utf-8")  # line ends stay as they are
    document = tomlkit.parse(text)
    measured = finding.measured
    within = f"{measured.value:.4g} ± {measured.within:.2g} {finding.unit}".rstrip()
    before = [_changed(document, change, path, f"{within} (95 %)", now)]
    before += [_changed(document, each, path, f"with {change.key}", now) for each in finding.also]
    written = _with_line_ends_of(text, tomlkit.dumps(document))
    backup = _backup(path, text, now)
    try:
        write_whole(path.resolve(), written)
        load_job(str(path)) if change.file == "job" else load_machine(str(path))
    except InputError:
        write_whole(path.resolve(), text)
        raise
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", "See its folder's rights", str(path)) from error
    first, *also = (
        WrittenBack(path, each.key, old, str(each.value), backup)
        for each, old in zip((change, *finding.also), before, strict=True)
    )
    return replace(first, also=tuple(also))


def _with_line_ends_of(text: str, written: str) -> str:
    """`written` with the line ends of another system where all of `text` has them."""
    if text.count("\n") > text.count("\r\n"):
        return written
    return written.replace("\r\n", "\n").replace("\n", "\r\n")


def _changed(document: Any, change: Change, path: Path, measured: str, now: datetime) -> str:
    """Put one value into the document, `measured` saying how well; returns what stood there."""
    table, last = _table(document, change, path)
    before = str(table.get(last, ""))
    _put(table, last, change, _remark(measured, before, _old_remark(table, last), now))
    return before


@dataclass(frozen=True)
class Remarked:
    """A measured value of a file: its dotted key, the value as it stands there, when and how well it was measured."""

    key: str
    value: str
    remark: str


def measured_values(path: Path) -> tuple[Remarked, ...]:
    """The values of a machine's file that were measured, in its order; the remark tells those before, too."""
    import tomlkit  # takes a while, and only this needs it

    return tuple(_remarked(tomlkit.parse(path.read_bytes().decode("utf-8")), ()))


def _remarked(table: Any, above: tuple[str, ...]) -> Iterator[Remarked]:
    for key, value in table.items():
        here = (*above, str(key))
        if isinstance(value, Mapping):
            yield from _remarked(value, here)
        elif isinstance(value, list) and value and all(isinstance(each, Mapping) for each in value):
            for number, each in enumerate(value):
                yield from _remarked(each, (*here, str(number)))
        elif (remark := _old_remark(table, key)).startswith(MEASURED):
            yield Remarked(".".join(here), str(value), remark)


def _table(document: Any, change: Change, path: Path) -> tuple[Any, str]:
    """The table that holds the key, and the key's last word; a table that such a file may have is added."""
    import tomlkit

    *parents, last = change.key.split(".")
    place = document
    tables = Job.model_fields if change.file == "job" else Machine.model_fields
    if len(parents) == 1 and parents[0] not in document and parents[0] in tables:
        document.add(parents[0], tomlkit.table())
    for parent in parents:
        try:
            place = place[int(parent)] if parent.isdigit() else place[parent]
        except (KeyError, IndexError) as error:
            problem, remedy = f"there is no {parent!r}", "Write it by hand where it belongs"
            raise InputError(problem, remedy, source=str(path), key=change.key) from error
        if isinstance(place, str):
            remedy = "It is described in a file of its own: change it there"
            raise InputError(f"{parent} = {str(place)!r} is a name", remedy, source=str(path), key=change.key)
    return place, last


def _put(table: Any, key: str, change: Change, remark: str) -> None:
    import tomlkit

    item = tomlkit.item(change.value)
    old = table.item(key) if key in table else None
    if old is not None:
        item.trivia.indent, item.trivia.trail = old.trivia.indent, old.trivia.trail
    item.comment(remark)
    table[key] = item


def _old_remark(table: Any, key: str) -> str:
    return str(table.item(key).trivia.comment).lstrip("# ") if key in table else ""


def _remark(measured: str, before: str, old: str, now: datetime) -> str:
    """When it was measured and how well, what stood there before, and when that was measured."""
    earlier = f"; before {before}" if before else ""
    older = f" ({old})" if old.startswith(MEASURED) else f"; {old}" if old else ""
    return f"{MEASURED}{now:%Y-%m-%d}: {measured}{earlier}{older}"


def _backup(path: Path, text: str, now: datetime) -> Path:
    """Keep the file as it is, under a name that is not taken."""
    for number in range(1, 1000):
        again = "" if number == 1 else f"-{number}"
        backup = path.with_name(f"{path.stem}.before-{now:%Y%m%d}{again}.toml")
        if not backup.exists():
            try:
                write_whole(backup, text)
            except OSError as error:
                raise InputError(f"cannot be kept ({error.strerror})", "See its folder's rights", str(path)) from error
            return backup
    raise InputError("was changed a thousand times today", "Take the old copies away", str(path))
