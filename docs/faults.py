"""An example of each error, and what to do about it, for the page of errors.

Where planning or a file raises it, the example is raised here by the program itself; those of a run, a board or a port
are made with the words that the program has for a case that is common.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import firmware_host as fh
from firmware_host import errors
from firmware_host.errors import FirmwareHostError
from firmware_host.mechanics.optics.beam import window_half_depth


@dataclass(frozen=True)
class Fault:
    """`fix`: one or two sentences, for whoever sees the message."""

    example: FirmwareHostError
    fix: str


def _raised(act: Callable[[], Any]) -> FirmwareHostError:
    try:
        act()
    except FirmwareHostError as error:
        return error
    raise AssertionError("nothing was raised")


def _without_mass() -> Any:
    (shipped,) = (each for each in fh.list_profiles("jobs") if each.name == "sleeve-label")
    tables = tomllib.loads(Path(shipped.path).read_text(encoding="utf-8"))
    del tables["mark"]["arc"]
    return fh.job_from(tables, folder=shipped.path.parent)


def _with(**values: str) -> fh.Setup:
    return fh.load_job("shaft-scale").with_values({key.replace("__", "."): value for key, value in values.items()})


_RUN = "runs/20260504-101500-bottle"
_PORT = "/dev/ttyUSB0"

FAULTS: Mapping[type[FirmwareHostError], Fault] = {
    errors.InputError: Fault(
        _raised(_without_mass),
        "Change what the message names: file, line and key stand first. `circumstep schema KIND` and "
        "[Files](files.md) list all keys.",
    ),
    errors.UnreadableFileError: Fault(
        errors.UnreadableFileError("is not UTF-8 text", "Save it as UTF-8", "my-job.toml"),
        "Save the file as plain text in UTF-8, and see that you may read it.",
    ),
    errors.MissingFileError: Fault(
        _raised(lambda: fh.load_job("./my-shaft.toml")),
        "Check the path; `circumstep profile list` shows what can be called by its name.",
    ),
    errors.RunNotBegunError: Fault(
        errors.RunNotBegunError("the run ended before it began: nothing was moved", "Start the job again", _RUN),
        "Start the job again: nothing was moved, and there is nothing to resume.",
    ),
    errors.UnknownKeyError: Fault(
        _raised(lambda: _with(part__diametr="48 mm")),
        "Write the key as the message proposes it. What is not known is never left out silently.",
    ),
    errors.QuantityError: Fault(
        _raised(lambda: _with(part__diameter="48")),
        'Write the value as a text with its unit: `"48 mm"`.',
    ),
    errors.ImplausibleError: Fault(
        _raised(lambda: _with(part__diameter="48 m")),
        "Look for a slip of the unit: the message names the likely one, [Slips in values](slips.md) what is plausible.",
    ),
    errors.PlanError: Fault(
        errors.PlanError("keep-out arcs leave no room: mark", 400, "deg", 360, "Mark less, or state fewer keep-outs"),
        "Change the value that the message names, to the side of the limit that it says.",
    ),
    errors.WindowError: Fault(
        _raised(lambda: fh.plan_job(_with(window__half_depth="0.5 mm", segments__count=2))),  # type: ignore[arg-type]
        "Ask for as many segments as the message says, or leave `segments.count` out.",
    ),
    errors.FormulaRangeError: Fault(
        _raised(lambda: window_half_depth(0.001, 0.9)),
        "See the value that is named: outside this range nobody knows what the formula says.",
    ),
    errors.CoordinateError: Fault(
        errors.CoordinateError(
            "machine coordinate too far from machine zero for the controller's 32-bit arithmetic",
            9_000_000,
            "steps",
            8_388_608,
            "Home, or unwind and set zero anew, before the job",
        ),
        "Home the axis, or set its zero anew. `axis.unwind` lets the program take whole turns back by itself.",
    ),
    errors.LimitExceededError: Fault(
        errors.LimitExceededError(
            ("torque-accelerating",), ("torque-accelerating fails: 0.61 N*m where 0.45 N*m is the limit",)
        ),
        "`circumstep limits JOB` says what helps, `--why CHECK` why. Only some limits may be "
        "[accepted](verdicts.md), with a reason.",
    ),
    errors.SettingsMismatchError: Fault(
        errors.SettingsMismatchError(
            ("steps per unit are 100.000, the plan needs 26.667",), "write the settings that the plan needs"
        ),
        "`circumstep controller settings write JOB` writes them, and keeps the old ones in a file.",
    ),
    errors.NotRestoredError: Fault(
        errors.NotRestoredError("backups/20260504-080000.json", ("acceleration: 500.0, and it stands at 2847.5",)),
        "Switch the board off and on, and restore the same backup again; then `controller settings compare`.",
    ),
    errors.ZeroNotSaidError: Fault(
        errors.ZeroNotSaidError(_RUN, "was stopped before its end"),
        "Look where the part stands, then say it: `--zero here`, `last`, `home` or `set` ([Where the zero "
        "is](runs.md#where-the-zero-is)).",
    ),
    errors.LinkError: Fault(
        errors.LinkError(_PORT, "it can't be told what is at its other end"),
        "See cable, supply and port; `circumstep controller find` asks every port who is there.",
    ),
    errors.PortUnavailableError: Fault(
        errors.PortUnavailableError(_PORT, "cannot be opened: Permission denied"),
        "No such port: see the cable, and `circumstep controller find`. No permission: on Linux join the "
        "group that owns the device, then log in anew.",
    ),
    errors.PortBusyError: Fault(
        errors.PortBusyError(_PORT, "end that program, or use another port", 4711),
        "End the program that has the port: a second circumstep, or a terminal.",
    ),
    errors.PortLostError: Fault(
        errors.PortLostError(_PORT, "cannot be read: device disconnected"),
        "See cable and plug. The gate was closed; `circumstep resume RUN` asks about the pass that was open.",
    ),
    errors.ReplyTimeoutError: Fault(
        errors.ReplyTimeoutError(_PORT, "the state of the axis is unknown", "?", 2.0),
        "Look at the machine: whether it moves nobody knows. Then see the cable, `link.baud`, and whether the "
        "board is on.",
    ),
    errors.UnexpectedReplyError: Fault(
        errors.UnexpectedReplyError(_PORT, "no two readings of the settings agree on steps per unit"),
        "See the cable and what lies beside it (motor wires), and `link.baud`. `trace.jsonl` of the run holds "
        "every byte.",
    ),
    errors.DialectError: Fault(
        errors.DialectError(_PORT, "nothing that is known answers at 115200 baud"),
        "`circumstep controller find` tries the usual speeds; then state `link.dialect` and `link.baud` in "
        "the machine file.",
    ),
    errors.ControllerError: Fault(
        errors.ControllerError("its position changed while nothing was told to move"),
        "Look at the machine before anything else; then home it or set its zero anew.",
    ),
    errors.ControllerFaultError: Fault(
        errors.ControllerFaultError("alarm: a limit switch was hit; it is locked, and its position is lost", code=1),
        "Find out why. Then `circumstep controller unlock`, and home or set zero anew.",
    ),
    errors.ControllerResetError: Fault(
        errors.ControllerResetError("it was reset: its position is lost. Home it or set zero anew"),
        "See the supply and the emergency stop: something reset the board. Then set the zero anew and resume.",
    ),
    errors.LineRejectedError: Fault(
        errors.LineRejectedError("value out of range", line="$123=99999999"),
        "The board does not take this value: see its own documentation, or lower what leads to it.",
    ),
    errors.PositionError: Fault(
        errors.PositionError("it does not stand where it should", planned_steps=4652, reported_steps=4650.0),
        "Somebody or something else has moved the axis, or the scale is another: set the zero anew.",
    ),
    errors.StandstillError: Fault(
        errors.StandstillError("it was told to stop, and was not seen to stand still"),
        "Look at the machine. A paused motion is ended by `circumstep controller unlock`.",
    ),
    errors.MotorReleasedError: Fault(
        errors.MotorReleasedError("its motor is released: hold it before it is turned"),
        "The part may have turned: set the zero anew, and let the board keep its motor energised (`controller "
        "settings write`).",
    ),
    errors.GateError: Fault(
        errors.GateError("command", "the program for segment 3, pass 1 ended with status 1"),
        "See the marking side, then `circumstep resume RUN`: it asks about this pass.",
    ),
    errors.GateTimeoutError: Fault(
        errors.GateTimeoutError("tcp", "the pass was not reported done within 120 s"),
        "See the marking side, or give it longer (`gate.timeout`); then `circumstep resume RUN`.",
    ),
    errors.StoppedError: Fault(
        errors.StoppedError("by the operator", "looking for controllers"),
        "Nothing is left to do: call it again when you like.",
    ),
    errors.RunStoppedError: Fault(
        errors.RunStoppedError("by the operator", _RUN),
        "`circumstep resume RUN` resumes it: no pass is skipped, and none repeated without asking.",
    ),
    errors.JournalError: Fault(
        errors.JournalError(
            f"{_RUN}/journal.jsonl", "cannot be written (No space left on device); stopped before the act"
        ),
        "Make room, or see the folder's rights; then resume. Nothing was moved that is not in the journal.",
    ),
    errors.DamagedRunError: Fault(
        errors.DamagedRunError(f"{_RUN}/setup.json", "was changed since the run began"),
        "`circumstep runs verify RUN` says where. Bring the file back from a copy, or start the job again.",
    ),
}
