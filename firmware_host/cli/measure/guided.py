"""`commission run`: one procedure after another, in their order, without those that are done or can't be had."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from firmware_host.acts import Jog
from firmware_host.cli.measure.measuring import Wish, bench_for, kept_at, opened, tell, written_of
from firmware_host.cli.measure.person import AtTheTerminal
from firmware_host.cli.screen import documents, output
from firmware_host.cli.turn.by_hand import Described
from firmware_host.clock import SystemClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure
from firmware_host.commissioning.record import CommissionEvent, Ended, Record, Started
from firmware_host.commissioning.script import Ask
from firmware_host.commissioning.session import carry_out
from firmware_host.errors import InputError
from firmware_host.reporting.measuring.commissioning import findings_document
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.line import ControllerLine

_BEGIN, _SKIP, _STOP = "begin", "skip", "stop"


@dataclass(frozen=True)
class Guide:
    """How the person wants to be led: `wish` for each procedure, `again` those that are done, too, `write` unasked."""

    wish: Callable[[Procedure], Wish]
    folder: Path
    again: bool
    write: bool
    write_settings: bool
    diameter: str


class Led:
    """One go through the procedures; `left` are still to come, `told` says what became of each."""

    def __init__(self, procedures: Sequence[Procedure], here: Callable[[], Described], guide: Guide) -> None:
        self._here, self._guide = here, guide
        self.left = list(procedures)
        self._count = len(self.left)
        self.told: list[tuple[str, str]] = []
        self.stopped = False

    def go(self) -> None:
        """Lead through all of them. The axis is opened anew where a value was written, or the gate is to be opened."""
        while self.left and not self.stopped:
            described = self._here()
            self._with(described, described.machine.name)

    def _with(self, described: Described, name: str) -> None:
        guide, first = self._guide, self.left[0]
        again = Jog(described.source, described.port, diameter=guide.diameter)
        try:
            there = opened(first, described, again, guide.folder, write_settings=guide.write_settings)
        except InputError as error:
            self._pass_over(str(error))
            return
        with there as axis, Record(kept_at(guide.folder, name), name, SystemClock()) as kept:
            while self.left and _opened_alike(self.left[0], first) and not self.stopped:
                if self._one(self.left[0], described, axis, kept):
                    return

    def _one(self, procedure: Procedure, described: Described, axis: Hand | ControllerLine, kept: Record) -> bool:
        """One of them; whether a value was written, so that the machine is described otherwise now."""
        guide = self._guide
        bench = bench_for(described, axis, guide.wish(procedure))
        if (date := done_on(kept.events(), procedure.key)) and not guide.again:
            self._pass_over(f"done on {date}")
            return False
        if procedure.writes_settings and not guide.write_settings:
            self._pass_over("it changes the controller's acceleration for each trial: allow that, --write-settings")
            return False
        if why := why_not(procedure, bench):
            self._pass_over(why)
            return False
        person = AtTheTerminal(axis, bench)
        output.remark(f"\n{self._count - len(self.left) + 1} of {self._count}: {procedure.key}")
        tell(procedure, bench, person)
        answer = person.answer(Ask("begin", "Begin it, skip it, or stop here?", "choice", (_BEGIN, _SKIP, _STOP)))
        if answer == _STOP:
            self.stopped = True
            return False
        if answer == _SKIP:
            self._pass_over("skipped")
            return False
        findings = carry_out(procedure, bench, axis, person, kept)
        documents.show(findings_document(procedure, findings, ()), json=False)
        changes = [finding for finding in findings if finding.change is not None]
        wanted = tuple(finding for finding in changes if guide.write or self._consents(person, finding))
        written = written_of(wanted, described, kept)
        for each in written:
            output.remark(f"Written: {each.key} = {each.after}; the file as it was: {each.backup}")
        self.left.pop(0)
        self.told.append((procedure.key, "measured, and written" if written else "measured"))
        return bool(written)

    def _consents(self, person: AtTheTerminal, finding: Finding) -> bool:
        lines = [f"{each.key} = {each.value}" for each in (finding.change, *finding.also) if each is not None]
        file = finding.change.file if finding.change is not None else "machine"
        question = f"Write {', '.join(lines)} into the {file}'s file?"
        return person.answer(Ask("write", question, "choice", ("yes", "no"))) == "yes"

    def _pass_over(self, why: str) -> None:
        self.told.append((self.left.pop(0).key, why))


def _opened_alike(one: Procedure, other: Procedure) -> bool:
    """Whether both are carried out at what was opened for one of them."""
    return all(getattr(one, name) == getattr(other, name) for name in ("asks_only", "opens_gate", "seeks_home"))


def done_on(events: Iterator[CommissionEvent], procedure: str) -> str:
    """The day on which a procedure was last brought to its end, "" where it was not, or was begun again since."""
    day = ""
    for event in events:
        match event:
            case Started() if event.procedure == procedure:
                day = ""
            case Ended() if event.procedure == procedure:
                day = event.time[:10]
            case _:
                pass
    return day


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
