"""A measured value put into the machine's file or the job's: all else stays to the byte, the old file is kept."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from types import MappingProxyType

from firmware_host.commissioning.edited import MEASURED, Remark, Remarked, remarked_values, set_value
from firmware_host.commissioning.finding import Finding
from firmware_host.errors import InputError
from firmware_host.folders import shipped_folder
from firmware_host.model import Job, Machine
from firmware_host.model.files.loading import load_job, load_machine
from firmware_host.system.files import write_whole

_LOADERS: Mapping[str, Callable[[str], object]] = MappingProxyType({"machine": load_machine, "job": load_job})
_TABLES: Mapping[str, frozenset[str]] = MappingProxyType(
    {"machine": frozenset(Machine.model_fields), "job": frozenset(Job.model_fields)}
)
"""Tables that are added where a file does not have them yet."""


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
    """Write what `finding` wants changed into the file at `path`, a machine's or a job's, and say when and how well.

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
    text = path.read_bytes().decode("utf-8")  # line ends stay as they are
    measured = finding.measured
    within = f"{measured.told(finding.unit)} (95 %)"
    written, before = text, []
    for each in (change, *finding.also):
        how = f"with {change.key}" if each is not change else within if measured.within else "as seen"
        try:
            written, old = set_value(written, each.key, each.value, _remark(how, now), tables=_TABLES[change.file])
        except InputError as error:
            raise replace(error, source=str(path)) from error
        before.append(old)
    backup = _backup(path, text, now)
    try:
        write_whole(path.resolve(), written)
        _LOADERS[change.file](str(path))
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


def measured_values(path: Path) -> tuple[Remarked, ...]:
    """The values of a machine's or a job's file that were measured, in its order, with those before."""
    return tuple(remarked_values(path.read_bytes().decode("utf-8")))


def _remark(measured: str, now: datetime) -> Remark:
    """When it was measured and how well, what stood there before, and when that was measured."""

    def words(before: str, old: str) -> str:
        earlier = f"; before {before}" if before else ""
        older = f" ({old})" if old.startswith(MEASURED) else f"; {old}" if old else ""
        return f"{MEASURED}{now:%Y-%m-%d}: {measured}{earlier}{older}"

    return words


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
