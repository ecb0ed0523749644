"""Common mistakes: each is made for real at the command line, and mended as its message says.

`python -m tests.mistakes.page` writes `docs/pages/mistakes.md` anew.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple
from unittest.mock import patch

import serial

from firmware_host.clock import ScaledClock
from firmware_host.controller.port.serial_port import open_port
from firmware_host.folders import shipped_folder
from firmware_host.model import load_machine
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.system.posix import ports as posix_ports
from firmware_host.system.processes import split_command
from tests.cli.command import CLOCK_FACTOR, MARK_NOW, Ended, Program, call, call_marking
from tests.mistakes.wrong_speed import OtherSpeed

FASTER = 20.0
BOARD = "board"
"""How the port is called: a link, as a system's own rule would make it."""
SHOW = ("controller", "show", "--machine", "my machine.toml", "--port", BOARD)
RUN = ("run", "my job.toml", "--port", BOARD, "--without-marking")
Made = Iterator[tuple[Ended, Callable[[], Ended]]]
"""What the command said; then the same command once what it said was done."""


class Mistake(NamedTuple):
    """What somebody did (a sentence), the command that told them so, and how it is played."""

    title: str
    done: str
    words: tuple[str, ...]
    play: Callable[[Mistake], Made]
    more: str = ""
    only_warns: bool = False


def files() -> None:
    """A job of three segments with its machine, as somebody would keep them: whatever the shipped ones say."""
    job = (shipped_folder() / "jobs/shaft-scale.toml").read_text(encoding="utf-8")
    job = job.replace('machine = "belt-chuck"', 'machine = "my machine.toml"').replace('arc = "60 mm"', 'arc = "30 mm"')
    Path("my job.toml").write_text(job.replace("passes = 2", "passes = 1"), encoding="utf-8")
    machine = (shipped_folder() / "machines/belt-chuck.toml").read_text(encoding="utf-8")
    Path("my machine.toml").write_text(machine, encoding="utf-8")


def changed(file: str, old: str, new: str) -> None:
    """One thing in a file written otherwise."""
    text = Path(file).read_text(encoding="utf-8")
    assert text.count(old) == 1, (old, file)
    Path(file).write_text(text.replace(old, new), encoding="utf-8")


def said(ended: Ended, pattern: str) -> tuple[str, ...]:
    """What the message itself proposes; fails where it does not."""
    found = re.search(pattern, ended.err)
    assert found, (pattern, ended.err)
    return found.groups()


# --- files ----------------------------------------------------------------------------------------------------------


def in_the_job(old: str, new: str, proposes: str) -> Callable[[Mistake], Made]:
    """`new` is written for `old`; what the message proposes is put in its place."""

    def play(mistake: Mistake) -> Made:
        changed("my job.toml", old, new)
        ended = call(*mistake.words)

        def mended() -> Ended:
            (right,) = said(ended, proposes)
            key, _, wrong = new.partition(" = ")
            changed("my job.toml", new, f"{right} = {wrong}" if proposes == KEY else f"{key} = {right}")
            return call(*mistake.words)

        yield ended, mended

    return play


KEY = r"Did you mean '(\w+)'\?"


def missing(mistake: Mistake) -> Made:
    ended = call(*mistake.words)

    def mended() -> Ended:
        (right,) = said(ended, r"Did you mean '([^']+)'\?")
        return call(mistake.words[0], right)

    yield ended, mended


# --- the wire -------------------------------------------------------------------------------------------------------


@contextmanager
def board(**kind: str) -> Iterator[StatusQueryDevice]:
    clock = ScaledClock(FASTER)
    device = simulated_device(load_machine("belt-chuck"), delivered=False, start_s=clock.monotonic(), **kind)
    device.make_moves_last(FASTER / CLOCK_FACTOR)
    with serve(device, clock, kind="pty", link=Path(BOARD)):
        yield device  # type: ignore[misc]


def busy(mistake: Mistake) -> Made:
    with board():
        other = open_port(BOARD, baud=115200, clock=ScaledClock(FASTER))
        ended = call(*mistake.words)

        def mended() -> Ended:
            other.close()
            return call(*mistake.words)

        yield ended, mended
        other.close()


@contextmanager
def as_somebody_else() -> Iterator[None]:
    """Inside, the administrator opens ports as a user without rights; who is none already may not open this one.

    Its group has the rights, and is called dialout, as on most Linux systems.
    """
    real = serial.serial_for_url
    Path(BOARD).chmod(0)

    def opened(*words: object, **options: object) -> object:
        if os.geteuid() != 0:
            return real(*words, **options)
        os.seteuid(65534)
        try:
            return real(*words, **options)
        finally:
            os.seteuid(0)

    with (
        patch("firmware_host.controller.port.serial_port.serial.serial_for_url", opened),
        patch.object(posix_ports, "_group_with_rights", lambda name: "dialout" if Path(name).exists() else ""),
    ):
        yield


def forbidden(mistake: Mistake) -> Made:
    with board():
        with as_somebody_else():
            ended = call(*mistake.words)
        said(ended, r'"sudo usermod -a -G (dialout) \$USER"')

        def mended() -> Ended:
            Path(BOARD).chmod(0o600)
            return call(*mistake.words)

        yield ended, mended


def other_dialect(mistake: Mistake) -> Made:
    with board(dialect="numbered-line"):
        ended = call(*mistake.words)

        def mended() -> Ended:
            (right,) = said(ended, r'Set link.dialect = "([a-z-]+)" in the machine file')
            changed("my machine.toml", 'dialect = "status-query"', f'dialect = "{right}"')
            return call(*mistake.words)

        yield ended, mended


def other_speed(mistake: Mistake) -> Made:
    clock = ScaledClock(FASTER)
    device = simulated_device(load_machine("belt-chuck"), delivered=False, start_s=clock.monotonic())
    with OtherSpeed(device, clock, Path(BOARD), baud=57600):
        ended = call(*mistake.words)

        def mended() -> Ended:
            (find,) = said(ended, r"Find the controller with: circumstep (.+)")
            found = call(*split_command(find), told="y\n")
            rate = re.search(r"link\.baud\s+=\s+(\d+)", found.out)
            assert rate, found
            changed("my machine.toml", "baud = 115200", f"baud = {rate[1]}")
            return call(*mistake.words)

        yield ended, mended


def released(mistake: Mistake) -> Made:
    with board() as device:
        device.settings["$1"] = 25
        ended = call(*mistake.words)

        def mended() -> Ended:
            (write,) = said(ended, r"Write the settings with: circumstep (.+)")
            assert call(*split_command(write)).status == 0
            return call(*mistake.words)

        yield ended, mended


def microsteps(mistake: Mistake) -> Made:
    with board() as device:
        device.settings["$103"] = round(2 * float(device.settings["$103"]), 3)
        ended = call(*mistake.words)

        def mended() -> Ended:
            (right,) = said(ended, r"If (\d+) is right, set it in the machine file")
            changed("my machine.toml", "microsteps = 16", f"microsteps = {right}")
            return call(*mistake.words)

        yield ended, mended


def left_behind(mistake: Mistake) -> Made:
    words = tuple(word for word in RUN if word != "--without-marking")
    with board():
        with Program(*words) as program:
            program.wait_for("err", MARK_NOW)
            program.kill()
        ended = call(*mistake.words)

        def mended() -> Ended:
            (resume,) = said(ended, r"Resume with: circumstep (.+)")
            return call_marking(*split_command(resume), "--assume", "not-done")

        yield ended, mended


SEGMENTS = ("segments", "my job.toml")
MISTAKES = (
    Mistake(
        "A wrong unit",
        'The job says `diameter = "50 m"`, and means millimetres.',
        SEGMENTS,
        in_the_job('diameter = "50 mm"', 'diameter = "50 m"', r"Did you mean (\"[^\"]+\")\?"),
    ),
    Mistake(
        "The radius for the diameter",
        'The part is 50 mm thick, and the job says `diameter = "25 mm"`.',
        SEGMENTS,
        in_the_job('diameter = "50 mm"', 'diameter = "25 mm"', r"did you mean part.diameter = (\"[^\"]+\")\?"),
        "The job is planned all the same: the mass may be wrong instead. That there are two numbers to compare is "
        "why a part should be weighed. Without its mass nothing in the job can tell, and a tape around the part must: "
        "`segments` says what it must read.",
        only_warns=True,
    ),
    Mistake(
        "Inches as millimetres",
        'The part is 1.9685 in thick, and the job says `diameter = "1.9685 mm"`.',
        SEGMENTS,
        in_the_job('diameter = "50 mm"', 'diameter = "1.9685 mm"', r"did you mean part.diameter = (\"[^\"]+\")\?"),
    ),
    Mistake(
        "A key that is not known",
        'The job says `passess = 1`.',
        SEGMENTS,
        in_the_job("passes = 1", "passess = 1", KEY),
    ),
    Mistake("A file that is not there", "The file is called `my job.toml`.", ("segments", "my jov.toml"), missing),
    Mistake("The port is busy", "Another window has it, with a run or a `jog`.", SHOW, busy),
    Mistake(
        "No permission for the port",
        "On Linux, serial ports belong to a group, often `dialout`.",
        SHOW,
        forbidden,
        "(The test does not join a group: it gives the user the right to the device.)",
    ),
    Mistake("The wrong dialect", 'The machine file says `dialect = "status-query"`.', SHOW, other_dialect),
    Mistake(
        "The wrong line speed",
        "The board speaks at 57600 bit/s, and the machine file says `baud = 115200`.",
        SHOW,
        other_speed,
        "The command that is named asks the port at other usual speeds, and says which one it is.",
    ),
    Mistake(
        "The motor is released",
        "To keep the motor cool, the controller lets go of it 25 ms after each move.",
        RUN,
        released,
    ),
    Mistake(
        "The microsteps do not match",
        "The controller is set for 32 microsteps, and the machine file says `microsteps = 16`.",
        RUN,
        microsteps,
        "Where file and controller agree and only the switches at the driver stand otherwise, nothing on the wire "
        "tells it: the part turns half as far, or twice. `circumstep commission run JOB ratio` measures it, see "
        "[Measuring a machine that was built](commissioning.md).",
    ),
    Mistake(
        "A run that was left behind",
        "The computer was switched off in the middle of a run, and the job is begun anew.",
        RUN,
        left_behind,
    ),
)  # fmt: skip
