"""`commission run`: one procedure after another, in their order, without those that are done or can't be had."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from firmware_host.acts import Measure
from firmware_host.cli.measure.measuring import (
    Wish,
    bench_for,
    kept_at,
    opened,
    require_gate_program,
    tell,
    written_of,
)
from firmware_host.cli.measure.person import AtTheTerminal
from firmware_host.cli.screen import documents, output
from firmware_host.cli.turn.by_hand import Described
from firmware_host.clock import SystemClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure
from firmware_host.commissioning.record import Record, Written, done_on, left_to_write
from firmware_host.commissioning.script import Ask
from firmware_host.commissioning.session import carry_out
from firmware_host.errors import FirmwareHostError, InputError, LimitExceededError, PlanError
from firmware_host.reporting.measuring.commissioning import findings_document
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.line import ControllerLine

_HOLD_AGAIN = "The motor is released. Take off what hangs on the part, and hold it: may the motor hold it again?"
_BEGIN, _SKIP, _STOP = "begin", "skip", "stop"


@dataclass(frozen=True)
class Guide:
    """How the person wants to be led: `wish` for each procedure, `again` those that are done, too, `write` unasked.

    `resume`: how the command was called, for whoever stops it.
    """

    wish: Callable[[Procedure], Wish]
    folder: Path
    again: bool
    write: bool
    write_settings: bool
    resume: Measure


class Led:
    """One go through the procedures; `left` are still to come, `told` says what became of each.

    `here`: what stands there, told which station that is where it is asked for.
    """

    def __init__(self, procedures: Sequence[Procedure], here: Callable[[bool], Described], guide: Guide) -> None:
        self._here, self._guide = here, guide
        self.left = list(procedures)
        self._count = len(self.left)
        self.told: list[tuple[str, str]] = []
        self.stopped = self._cautioned = self._told_where = False

    def go(self) -> None:
        """Lead through all of them. The axis is opened anew where a value was written, or the gate is to be opened."""
        while self.left and not self.stopped:
            described = self._here(not self._told_where)
            self._told_where = True
            try:
                self._with(described, described.machine.name)
            except FirmwareHostError as error:
                error.acts = tuple(self.resume(described) if isinstance(act, Measure) else act for act in error.acts)
                raise

    def _with(self, described: Described, name: str) -> None:
        guide, first = self._guide, self.left[0]
        try:
            require_gate_program(first, described)
        except InputError as error:
            self._pass_over(f"{error.problem}. {error.remedy}: {error.key}")
            return
        caution, self._cautioned = not self._cautioned and not first.asks_only, self._cautioned or not first.asks_only
        settings = guide.write_settings
        with (
            opened(first, described, guide.resume, guide.folder, write_settings=settings, caution=caution) as axis,
            Record(kept_at(guide.folder, name), name, SystemClock()) as kept,
        ):
            while self.left and _opened_alike(self.left[0], first) and not self.stopped:
                if self._one(self.left[0], described, axis, kept):
                    return

    def resume(self, described: Described | None = None) -> Measure:
        """How to resume; of what is measured again only what is left is named."""
        resume = self._guide.resume
        if described is not None:
            resume = replace(resume, port=described.port)
        return replace(resume, only=tuple(each.key for each in self.left)) if self._guide.again else resume

    def _one(self, procedure: Procedure, described: Described, axis: Hand | ControllerLine, kept: Record) -> bool:
        """One of them; whether the axis is to be opened anew: a value was written, or it was given up on the way."""
        guide = self._guide
        bench = bench_for(described, axis, guide.wish(procedure))
        person = AtTheTerminal(axis, bench)
        if (date := done_on(kept.events(), procedure.key)) and not guide.again:
            written = self._written(person, left_to_write(kept.events(), procedure.key), described, kept)
            self._pass_over(f"done on {date}{', and written now' if written else ''}")
            return bool(written)
        if procedure.writes_settings and not guide.write_settings:
            self._pass_over("it changes the controller's acceleration for each trial: allow that, --write-settings")
            return False
        if why := why_not(procedure, bench):
            self._pass_over(why)
            return False
        output.remark(f"\n{self._count - len(self.left) + 1} of {self._count}: {procedure.key}")
        tell(procedure, bench, person)
        answer = person.answer(Ask("", "Begin it, skip it, or stop here?", "choice", (_BEGIN, _SKIP, _STOP)))
        if answer == _BEGIN:
            return self._begun(procedure, bench, person, described, axis, kept)
        if answer == _SKIP:
            self._pass_over("skipped")
        else:
            self.stopped = True
        return False

    def _begun(
        self,
        procedure: Procedure,
        bench: Bench,
        person: AtTheTerminal,
        described: Described,
        axis: Hand | ControllerLine,
        kept: Record,
    ) -> bool:
        """Carried out, and written where the person says so; one from which nothing follows is told, and left."""
        try:
            findings = carry_out(procedure, bench, axis, person, kept)
        except (InputError, PlanError, LimitExceededError) as error:
            output.remark(f"{procedure.key} was given up: {error}", style="bold red")
            self._pass_over(f"given up: {error}")
            if isinstance(axis, Hand) and not axis.where.energised:
                person.answer(Ask("", _HOLD_AGAIN, "choice", ("yes",)))
                axis.hold()
            return True
        documents.show(findings_document(procedure, findings, ()), json=False)
        written = self._written(person, findings, described, kept)
        self.left.pop(0)
        self.told.append((procedure.key, "measured, and written" if written else "measured"))
        return bool(written)

    def _written(
        self, person: AtTheTerminal, findings: Sequence[Finding], described: Described, kept: Record
    ) -> tuple[Written, ...]:
        """What is written of the findings, as the person says."""
        changes = [finding for finding in findings if finding.change is not None]
        wanted = tuple(finding for finding in changes if self._guide.write or _consents(person, finding))
        try:
            written = written_of(wanted, described, kept)
        except InputError as error:
            output.remark(f"Nothing was written: {error}", style="bold red")
            return ()
        for each in written:
            output.remark(f"Written: {each.key} = {each.after}")
        for backup in dict.fromkeys(each.backup for each in written):
            output.remark(f"The file as it was: {backup}")
        return written

    def _pass_over(self, why: str) -> None:
        self.told.append((self.left.pop(0).key, why))


def _consents(person: AtTheTerminal, finding: Finding) -> bool:
    lines = [f"{each.key} = {each.value}" for each in (finding.change, *finding.also) if each is not None]
    file = finding.change.file if finding.change is not None else "machine"
    question = f"Write {', '.join(lines)} into the {file}'s file?"
    return person.answer(Ask("", question, "choice", ("yes", "no"))) == "yes"


def _opened_alike(one: Procedure, other: Procedure) -> bool:
    """Whether both are carried out at what was opened for one of them."""
    return all(getattr(one, name) == getattr(other, name) for name in ("asks_only", "opens_gate", "seeks_home"))


def why_not(procedure: Procedure, bench: Bench) -> str:
    """Why the machine, or the job, can't have a procedure; "" where it can."""
    try:
        procedure.moves(bench)
        next(procedure.script(bench))
    except InputError as error:
        return f"{error.problem}. {error.remedy}".rstrip(". ")
    except StopIteration:
        return ""
    return ""
