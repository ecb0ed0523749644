"""All commands with what the help says of them; the file of a command is imported when the command is called."""

from __future__ import annotations

from importlib import import_module
from typing import Any, NamedTuple

import typer
import typer.main
from typer.core import TyperCommand, TyperGroup

from firmware_host.system.environment import set_for_now


class Entry(NamedTuple):
    """A command, or a group of commands: its file below `cli`, which registers it by that name, and its help."""

    name: str
    file: str
    help: str


COMMANDS = (
    Entry(
        "demo",
        "turn.demo",
        'Plan a job, check it, turn it and "mark" it pass by pass on a simulated controller. Nothing real moves.',
    ),
    Entry(
        "segments",
        "see.segments",
        "Show where the segments lie, why there are so many, and what gap or overlap to expect at the seams.",
    ),
    Entry("time", "see.time", "Estimate how long a job takes: turning, settling, marking, and when it would be done."),
    Entry(
        "picture",
        "see.picture",
        "Draw a job or a run into a file (.svg, .png, .pdf): the part end-on, its margins, torque, what a run took.",
    ),
    Entry(
        "preview",
        "see.preview",
        "Draw the mark as it will look, or as a wrong number makes it look: diameter, segments, skew, run-out.",
    ),
    Entry(
        "report",
        "see.report",
        "Write a report of a job, a run, a batch or a commissioning: one HTML file with pictures, to print and keep.",
    ),
    Entry("moves", "see.moves", "Show or export the moves: a table, RS-274 words, CSV or JSON."),
    Entry(
        "limits",
        "see.limits",
        "Check motor, driver, gearing and grip, and show how fast the part may move; several jobs: one line each.\n\n"
        "Status 1 if a limit stops it.",
    ),
    Entry(
        "motors",
        "see.motors",
        "Compare motors on a job: verdict, torque margin, index time, and what each limit costs; status 1 if all stop.",
    ),
    Entry(
        "seam",
        "measure.seam",
        "Find the number that is wrong from a gap or an overlap measured at the seams, or from how the mark looks.",
    ),
    Entry(
        "run",
        "turn.run",
        "Run a job: for each pass move, prove standstill, open the gate, wait for the mark, close the gate.",
    ),
    Entry(
        "commission",
        "measure.commission",
        "Measure the machine that was really built: direction, ratio, lost motion, run-out, creep; keep what is found.",
    ),
    Entry("resume", "turn.resume", "Resume a run: no pass is skipped, and none is repeated without asking."),
    Entry(
        "jog",
        "turn.jog",
        "Turn the part by hand, with the arrow keys or by options: steps, go to an angle, set zero, release the motor.",
    ),
    Entry(
        "align",
        "turn.align",
        "Turn a start mark or a handle under the laser: then the job's zero is known, and its next run begins there.",
    ),
    Entry("redo", "turn.redo", "Mark segments of an earlier run again, on the part that is still clamped."),
    Entry("schema", "set_up.files", "Print the JSON Schema of a file kind, or of the state that a run tells."),
    Entry("runs", "turn.runs", "Earlier runs: list them, show one, verify its files."),
    Entry(
        "controller",
        "set_up.controller",
        "Find a controller, show its state, compare and write its settings, or simulate one.",
    ),
    Entry(
        "station",
        "set_up.station",
        "Your stations: which machine stands at which port, with which gate; then `run JOB` needs no more.",
    ),
    Entry("profile", "set_up.files", "Machines, motors and jobs: shipped ones and your own."),
)


class Commands(TyperGroup):
    """The commands of the table. Until one is called, only its name and its help are there."""

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        self._entries = {entry.name: entry for entry in COMMANDS}
        self.commands.update({entry.name: TyperCommand(entry.name, help=entry.help) for entry in COMMANDS})

    def load(self, name: str) -> None:
        """Import the command's file; nothing for a name that is no command.

        Meanwhile numpy's linear algebra starts without a pool of threads (our sums are done before they are there), and
        pydantic does not look through all installed packages for additions to itself.
        """
        entry = self._entries.get(name)
        if entry is None:
            return
        app = typer.Typer()
        with set_for_now(OPENBLAS_NUM_THREADS="1", PYDANTIC_DISABLE_PLUGINS="1"):
            import_module(f"firmware_host.cli.{entry.file}").register(app)
        command = typer.main.get_group(app).commands[name]
        command.help = entry.help
        self.commands[name] = command

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """The command that the words call, with its arguments and options."""
        self.load(args[0])
        return super().resolve_command(ctx, args)
