"""Earlier batches, as their folders describe them, whole or damaged. Nothing here changes anything."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from firmware_host.acts import Act, Resume
from firmware_host.errors import FirmwareHostError, JournalError
from firmware_host.station.batch.events import BATCH_FORM
from firmware_host.station.batch.folder import BatchFolder, has_begun
from firmware_host.station.batch.record import BatchRecord, batch_record
from firmware_host.station.batch.state import BatchState, Stage, replay_batch
from firmware_host.station.journal.journal import events_of, in_use
from firmware_host.station.runs.folder import RunFolder, is_batch
from firmware_host.station.runs.listing import folders_in, read_record
from firmware_host.station.runs.status import Place, run_status_if_readable
from firmware_host.station.runs.verify import RunFinding, verify_run
from firmware_host.system.files import read_regular

_LARGEST_RECORD = 40_000_000


@dataclass(frozen=True)
class ListedBatch:
    """One batch of a list. `record` is made from its journal; None if there is none to be read, and `problem` says why.

    `under_way`: a process is at work on it now.
    """

    path: Path
    record: BatchRecord | None
    problem: str = ""
    under_way: bool = False

    @property
    def state(self) -> str:
        """How it ended, in a word; also "unreadable", "running" and, with neither an end nor a process, "crashed"."""
        if self.record is None:
            return "unreadable"
        return "crashed" if self.record.outcome == "running" and not self.under_way else self.record.outcome

    @property
    def acts(self) -> tuple[Act, ...]:
        """How to resume it; nothing where it is done, under way or unreadable."""
        if self.record is None or self.under_way or self.record.outcome == "done":
            return ()
        return (Resume(str(self.path), zero=self._zero(), without_marking=not self.record.marking),)

    def _zero(self) -> Literal["", "here"]:
        """Where the zero of the part is that is being marked, as far as a person has to say it."""
        marking = [part for part in self.record.parts if part.result == Stage.RUNNING.value] if self.record else []
        found = run_status_if_readable(RunFolder(self.path / marking[0].run)) if marking and marking[0].run else None
        return "here" if found is not None and found.place is Place.BY_HAND else ""


def list_batches(runs: Path) -> tuple[ListedBatch, ...]:
    """All batches in a folder, oldest first. Raises `InputError` when it can't be listed; a damaged one is listed."""
    return tuple(listed_batch(path) for path in folders_in(runs) if is_batch(path))


def listed_batch(path: Path) -> ListedBatch:
    """The batch in a folder, whole or damaged. Raises nothing for files that are wrong."""
    folder = BatchFolder(path)
    under_way = in_use(folder.journal)
    try:
        return ListedBatch(path, read_batch(folder), under_way=under_way)
    except JournalError as error:
        return ListedBatch(path, None, error.detail, under_way=under_way)


def read_batch(folder: BatchFolder) -> BatchRecord:
    """A batch's record as its journal has it, whatever the saved one says. Raises `JournalError` for a damaged one."""
    state = replay_batch(events_of(folder.journal, BATCH_FORM))
    if state.begin is None:
        raise JournalError(str(folder.journal), "holds no whole line: nothing was moved")
    return batch_record(state, folder.load_parts())


def verify_batch(folder: BatchFolder) -> tuple[RunFinding, ...]:
    """Look at everything a batch's folder holds; changes nothing, and raises nothing for files that are wrong.

    The findings in order: the batch's journal; what it began with; the order of its parts; each part's run that does
    not hold, or that all do; every part that is over against the run that marked it; the record.
    """
    try:
        state = replay_batch(events_of(folder.journal, BATCH_FORM))
    except JournalError as error:
        return (RunFinding("batch journal", False, error.detail),)
    if state.begin is None:
        return (RunFinding("batch journal", False, "holds no whole line: nothing was moved"),)
    whole = RunFinding("batch journal", True, f"{state.lines} lines, each with its checksum")
    order = RunFinding("parts in order", not state.disorder, state.disorder or f"{len(state.parts)} parts")
    return whole, *_kept(folder, state), order, *_runs(folder, state), _record(folder, state)


def _kept(folder: BatchFolder, state: BatchState) -> tuple[RunFinding, ...]:
    """Job, machine and parts against the digests that the journal began with."""
    begin = state.begin
    found = []
    for name, digest, wanted in (
        ("setup", folder.kept.setup_digest, begin.setup_digest if begin else ""),
        ("table of parts", folder.parts_digest, begin.parts_digest if begin else ""),
    ):
        try:
            now = digest()
        except JournalError as error:
            found.append(RunFinding(name, False, error.detail))
            continue
        said = "as when the batch began" if now == wanted else "was changed since the batch began"
        found.append(RunFinding(name, now == wanted, f"{said}: SHA-256 {now[:16]}.."))
    return tuple(found)


def _runs(folder: BatchFolder, state: BatchState) -> tuple[RunFinding, ...]:
    """Each run whose files don't hold, and each part that is over without a run that marked it; else that all do."""
    found, looked = [], 0
    for part in state.parts:
        begun = [name for name in dict.fromkeys(part.runs) if has_begun(folder.run(name))]
        for name in begun:
            looked += 1
            found += [
                RunFinding(f"{name}: {each.name}", False, each.detail)
                for each in verify_run(folder.run(name))
                if not each.holds
            ]
        over = part.stage is Stage.MARKED or (part.stage is Stage.OVER and part.word != "scrapped")
        if over and not any(_is_done(folder.run(name)) for name in begun):
            found.append(RunFinding(f"part {part.number}", False, "is over, and no run of it came to its end"))
    return tuple(found) or (RunFinding("runs", True, f"{looked} runs, each whole and as its part says"),)


def _is_done(run: RunFolder) -> bool:
    try:
        return read_record(run).outcome == "done"
    except FirmwareHostError:
        return False


def _record(folder: BatchFolder, state: BatchState) -> RunFinding:
    """The saved record against the journal."""
    try:
        expected = batch_record(state, folder.load_parts())
        saved = read_regular(folder.record, _LARGEST_RECORD, links=False).decode("utf-8", "replace")
    except FirmwareHostError as error:
        if state.outcome == "running" and not folder.record.exists():
            return RunFinding("record", True, "none yet: the batch did not come to an end")
        return RunFinding("record", False, str(error))
    if saved == expected.to_json():
        return RunFinding("record", True, f"{expected.over} of {len(expected.parts)} parts over, as in the journal")
    if state.outcome == "running":
        return RunFinding("record", True, "from before the batch was resumed; resumed, it did not come to an end")
    return RunFinding("record", False, "differs from what the journal says")
