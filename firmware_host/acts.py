"""What a caller can do about an error, as data: the front door knows the command for each act, a program its function.

No room below the front door writes a command into a text.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Act:
    """Root of all acts; each says in its docstring what it does.

    Each decorator costs the start of every command a little: an act without fields has none of its own.
    """


@dataclass(frozen=True)
class FindControllers(Act):
    """Ask every port, or the one that it is `at`, which controller is there and what it speaks."""

    at: str = ""


@dataclass(frozen=True)
class WriteSettings(Act):
    """Store the settings that the plan of `job` needs; the old ones are kept. Empty: which job or port is left open.

    `accepted`: limits accepted besides the job's own, each "NAME" or "NAME=reason".
    """

    job: str = ""
    port: str = ""
    accepted: tuple[str, ...] = ()


@dataclass(frozen=True)
class RestoreSettings(Act):
    """Store the settings of a backup again, which knows all else; `new_port`: where the controller is now."""

    backup: str
    new_port: str = ""


@dataclass(frozen=True)
class ClearOffset(Act):
    """Take back the offset that another program left between coordinates and motor steps."""

    port: str
    machine: str = ""


@dataclass(frozen=True)
class Unlock(Act):
    """End the lock after an alarm or a reset, or drop a paused motion."""

    port: str = ""
    machine: str = ""


@dataclass(frozen=True)
class Resume(Act):
    """Resume a run; with `zero` "here" once somebody has turned the part to the job's zero by hand.

    `asks`: it asks which of the interrupted passes are done. `gate_program` and `baud` as the run had them.
    """

    run: str
    zero: str = ""
    without_marking: bool = False
    asks: bool = False
    gate_program: str = ""
    baud: str = ""


@dataclass(frozen=True)
class Run(Act):
    """Run a job from its beginning, once it is said where its zero is: `zero` is "here", "last", "home" or "set".

    What is empty is left open; `only` and `first`: which segments are marked, all where both are empty; `accepted`:
    limits accepted besides the job's own; `runs`: where run folders are made; `parts` and `next_after`: of a batch.
    """

    job: str = ""
    port: str = ""
    zero: str = ""
    only: str = ""
    first: str = ""
    accepted: tuple[str, ...] = ()
    gate_program: str = ""
    baud: str = ""
    runs: str = ""
    without_marking: bool = False
    release_motor: bool = False
    parts: str = ""
    next_after: str = ""


@dataclass(frozen=True)
class Jog(Act):
    """Turn the axis of a machine by hand; `write_settings`: first store the settings that this needs.

    `of`: the machine's or the job's file or name; `diameter`: of the part, where it is said; `by` and `to`: how far and
    where to, if not by keys.
    """

    of: str = ""
    port: str = ""
    diameter: str = ""
    write_settings: bool = False
    by: str = ""
    to: str = ""


@dataclass(frozen=True)
class Measure(Act):
    """Measure one `procedure` of commissioning, or be led through `only` these (all where it is empty), or resume that.

    The rest is as it was asked for: `of` and `port` as in `Jog`, `turns` and `repeats` of one procedure, the others as
    their options. What was read before is kept in `record`.
    """

    procedure: str = ""
    of: str = ""
    port: str = ""
    only: tuple[str, ...] = ()
    diameter: str = ""
    turns: str = ""
    repeats: str = ""
    read_to: str = ""
    angle_to: str = ""
    gate_program: str = ""
    record: str = ""
    baud: str = ""
    again: bool = False
    write: bool = False
    write_settings: bool = False


@dataclass(frozen=True)
class Redo(Act):
    """Mark segments of an earlier run again on the same part; `zero` is "here" or "home" where it has to be said.

    `passes` of each, empty: as many as that run had. `gate_program` and `baud` as they were said.
    """

    run: str
    segments: str = ""
    passes: str = ""
    zero: str = ""
    without_marking: bool = False
    release_motor: bool = False
    gate_program: str = ""
    baud: str = ""


@dataclass(frozen=True)
class NameGateProgram(Act):
    """Run a job, resume a run, or mark `segments` of it again, with the program that the gate starts for each pass.

    The rest is as it was asked for without the program: `said_zero` is the zero, `each` the passes of each segment that
    is marked again, the others are as in `Run`.
    """

    job: str = ""
    run: str = ""
    accepted: tuple[str, ...] = ()
    only: str = ""
    first: str = ""
    port: str = ""
    baud: str = ""
    said_zero: str = ""
    runs: str = ""
    segments: str = ""
    each: str = ""
    parts: str = ""
    next_after: str = ""


@dataclass(frozen=True)
class VerifyRun(Act):
    """Look where the files of a run contradict each other."""

    run: str


class ListProfiles(Act):
    """List machines, motors and jobs by name."""


class ListStations(Act):
    """List the stations that are kept, each with its machine and port."""


@dataclass(frozen=True)
class ShowSchema(Act):
    """Show which keys a kind of file has; `kind` is job, machine or motor."""

    kind: str


@dataclass(frozen=True)
class DrawWrong(Act):
    """Draw the mark of `job` as it looks with something `wrong`, into the file `output`."""

    job: str = ""
    wrong: str = ""
    output: str = ""
