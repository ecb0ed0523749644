"""Each printed advice that names a command, typed as it stands, in a folder with a blank in its name.

A scene brings a command to print the advice of an act, on the simulator. An act without a scene fails here, and so does
a text of the program that names a command by itself.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from firmware_host import acts
from firmware_host.acts import Act
from firmware_host.cli.screen import advice
from firmware_host.clock import ScaledClock
from firmware_host.model import load_machine
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.numbered_line.boards import set_numbered_board
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.serving.server import DeviceServer
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.system.processes import join_command, split_command
from tests.cli.command import CLOCK_FACTOR, PATIENCE_S, Ended, Program, call
from tests.cli.whole import every_command
from tests.joint.test_controller_offset import another_program
from tests.support import windows
from tests.support.board_faults import trip_limit_switch
from tests.support.three_segments import JOB, own_folders
from tests.test_house import SOURCES, literals, names

FASTER = 20.0
AGAIN_S = 1.5
"""After so long a person types an answer again that seems to have been overheard."""
WITH_PROGRAM = JOB + '[gate]\nkind = "command"\ntimeout = "20 s"\n'
MARKER = "import pathlib, sys; sys.exit(pathlib.Path('laser off').exists())"
"""Marks a pass, unless the laser is off."""


@dataclass(frozen=True)
class Scene:
    """What printed the advice, how its command has to end, what is typed to it, and what holds afterwards.

    `person`: answers, each to the words that are told before it, where what is typed too early counts for nothing.
    """

    printed: Ended
    status: int = 0
    typed: str = ""
    person: tuple[tuple[str, str], ...] = ()
    after: Callable[[Ended], object] = field(default=lambda ended: True)


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder with a blank in its name, with everything below it that the commands keep."""
    folder = tmp_path / "my jobs"
    folder.mkdir()
    own_folders(folder, monkeypatch)
    Path("my job.toml").write_text(JOB, encoding="utf-8")
    Path("marked job.toml").write_text(WITH_PROGRAM, encoding="utf-8")
    Path("my mark.py").write_text(MARKER, encoding="utf-8")
    monkeypatch.setattr("firmware_host.cli.set_up.controller.list_devices", lambda: ())  # no port of this computer


@contextmanager
def board(*, delivered: bool = False) -> Iterator[DeviceServer]:
    clock = ScaledClock(FASTER)
    device = simulated_device(load_machine("belt-chuck"), delivered=delivered, start_s=clock.monotonic())
    device.make_moves_last(FASTER / CLOCK_FACTOR)  # a run times them
    with serve(device, clock) as server:
        yield server


def no_port() -> Iterator[Scene]:
    yield Scene(call("run", "my job.toml"))


def new_board() -> Iterator[Scene]:
    with board(delivered=True) as server:
        words = ("run", "my job.toml", "--port", server.url, "--without-marking")
        yield Scene(call(*words), after=lambda _: call(*words).status == 0)


def settings_written() -> Iterator[Scene]:
    with board(delivered=True) as server:
        compare = ("controller", "settings", "compare", "my job.toml", "--port", server.url)
        assert call(*compare).status == 1
        yield Scene(
            call("controller", "settings", "write", "my job.toml", "--port", server.url),
            after=lambda _: call(*compare).status == 1,
        )


def offset_left() -> Iterator[Scene]:
    machine = call("profile", "show", "machine", "belt-chuck").out.replace('"status-query"', '"numbered-line"')
    Path("my machine.toml").write_text(machine, encoding="utf-8")
    Path("my job.toml").write_text(JOB.replace('"belt-chuck"', '"my machine.toml"'), encoding="utf-8")
    clock = ScaledClock(FASTER)
    variant = set_numbered_board("A", steps_per_unit=26.667, rate=60, acceleration=200, highest_step_rate=28_000)
    device = NumberedLineDevice(variant, clock.monotonic())
    device.make_moves_last(FASTER / CLOCK_FACTOR)
    with serve(device, clock, kind="socket") as server:
        another_program(server, clock, b"M17", b"G1 A10 F6000", b"M400", b"M400", b"G92 A0")
        words = ("run", "my job.toml", "--port", server.url, "--without-marking")
        yield Scene(call(*words), after=lambda _: call(*words).status == 0)


def locked() -> Iterator[Scene]:
    clock = ScaledClock(FASTER)
    device = simulated_device(load_machine("belt-chuck"), delivered=False, start_s=clock.monotonic())
    assert isinstance(device, StatusQueryDevice)
    device.settings["$21"] = 1
    trip_limit_switch(device, clock.monotonic())
    device.make_moves_last(FASTER / CLOCK_FACTOR)
    with serve(device, clock) as server:
        words = ("run", "my job.toml", "--port", server.url, "--without-marking", "--write-settings")
        yield Scene(call(*words), after=lambda _: call(*words).status == 0)


def stopped_run(url: str) -> Ended:
    """A run that stopped because the laser was off; it is on again."""
    Path("laser off").touch()
    program = (sys.executable, "my mark.py")
    ended = call("run", "marked job.toml", "--port", url, "--runs", "my runs", "--", *program)
    assert ended.status == 4, ended.err
    Path("laser off").unlink()
    return ended


def run_stopped() -> Iterator[Scene]:
    with board() as server:
        yield Scene(stopped_run(server.url), typed="n\n")


def run_stopped_and_shown() -> Iterator[Scene]:
    with board() as server:
        stopped_run(server.url)
        (run,) = Path("my runs").iterdir()
        text = (run / "setup.json").read_text("utf-8")
        assert '"command"' in text
        # The record does not keep the program: the station does.
        kept = ("station", "new", "bench", "--machine", "belt-chuck", "--port", server.url)
        assert call(*kept, "--", sys.executable, "my mark.py").status == 0
        yield Scene(call("runs", "show", str(run)), typed="n\n")


def run_anew() -> Iterator[Scene]:
    with board() as server:
        stopped_run(server.url)
        words = ("run", "marked job.toml", "--port", server.url, "--runs", "my runs")
        refused = call(*words, "--gate-program", join_command((sys.executable, "my mark.py")))
        yield Scene(refused)


def program_not_named() -> Iterator[Scene]:
    with board() as server:
        yield Scene(call("run", "marked job.toml", "--port", server.url))


def program_not_named_for_a_run() -> Iterator[Scene]:
    with board() as server:
        stopped_run(server.url)
        (run,) = Path("my runs").iterdir()
        yield Scene(call("resume", str(run), "--zero", "here", "--assume", "not-done"), typed="n\n")


def port_gone() -> Iterator[Scene]:
    clock = ScaledClock(FASTER)
    device = simulated_device(load_machine("belt-chuck"), delivered=True, start_s=clock.monotonic())
    with serve(device, clock) as server:
        written = call(
            "controller", "settings", "write", "my job.toml", "--port", server.url, "--backup", "my old.json"
        )
        assert written.status == 0, written.err
    with serve(device, clock, kind="pty", link=Path("PORT")):
        yield Scene(call("controller", "settings", "restore", "my old.json"))


def run_damaged() -> Iterator[Scene]:
    with board() as server:
        stopped_run(server.url)
    (run,) = Path("my runs").iterdir()
    (run / "setup.json").write_text("{}", encoding="utf-8")
    yield Scene(call("runs", "show", str(run)), status=1)


GOOD_BOTH = (
    ("Part 1 of 2: 3 of 3 passes marked. STILL, gate closed.\nEnter: good; r 2 or", "\n"),
    ("Part 2 of 2.\nSTILL, gate closed: change the part.", "\n"),
    ("Part 2 of 2: 3 of 3 passes marked. STILL, gate closed.\nEnter: good; r 2 or", "\n"),
)
BATCH = ("--parts", "2", "--next-after", "1 s", "--runs", "my runs")


def batch_stopped() -> Iterator[Scene]:
    with board() as server:
        Path("laser off").touch()
        words = ("run", "marked job.toml", "--port", server.url, *BATCH, "--", sys.executable, "my mark.py")
        ended = call(*words)
        assert ended.status == 4, ended.err
        Path("laser off").unlink()
        person = (("still clamped", "\n"), ("y or n", "n\n"), *GOOD_BOTH)
        yield Scene(ended, person=person, after=lambda ended: "2 good" in ended.out)


def batch_anew() -> Iterator[Scene]:
    with board() as server:
        stopped_run(server.url)
        words = ("run", "marked job.toml", "--port", server.url, *BATCH)
        refused = call(*words, "--", sys.executable, "my mark.py")
        yield Scene(
            refused, person=(("then Enter: the axis", "\n"), *GOOD_BOTH), after=lambda ended: "2 good" in ended.out
        )


def program_not_named_for_a_batch() -> Iterator[Scene]:
    with board() as server:
        yield Scene(call("run", "marked job.toml", "--port", server.url, *BATCH))


def two_runs_done(url: str) -> Path:
    """The folder of the first of two runs."""
    for _ in range(2):
        words = ("run", "marked job.toml", "--port", url, "--zero", "here", "--runs", "my runs")
        done = call(*words, "--", sys.executable, "my mark.py")
        assert done.status == 0, done.err
    return min(Path("my runs").iterdir())


def redone_after_another_run() -> Iterator[Scene]:
    with board() as server:
        run = two_runs_done(server.url)
        yield Scene(call("redo", str(run), "--segments", "2-3", "--", sys.executable, "my mark.py"))


def program_not_named_for_a_redo() -> Iterator[Scene]:
    with board() as server:
        run = two_runs_done(server.url)
        yield Scene(call("redo", str(run), "--segments", "2", "--passes", "1", "--zero", "here"))


def turned_by_hand_on_a_new_board() -> Iterator[Scene]:
    Path("my machine.toml").write_text(call("profile", "show", "machine", "belt-chuck").out, encoding="utf-8")
    with board(delivered=True) as server:
        words = ("jog", "my machine.toml", "--port", server.url, "--by", "-10 deg")
        yield Scene(call(*words), after=lambda _: call(*words).status == 0)


def measuring_stopped() -> Iterator[Scene]:
    with board() as server:
        stopped = call(
            "commission", "measure", "direction", "my job.toml", "--port", server.url, "--record", "my record"
        )
        assert stopped.status == 4, stopped.err
        yield Scene(stopped, person=(("which way did it turn?", "clockwise\n"),))


def no_such_job() -> Iterator[Scene]:
    yield Scene(call("segments", "my-jov"))


def key_missing() -> Iterator[Scene]:
    Path("my job.toml").write_text(JOB.replace('mass = "1.85 kg"\n', "").replace("[mark]\n", "[marc]\n"), "utf-8")
    yield Scene(call("segments", "my job.toml"))


def no_such_station() -> Iterator[Scene]:
    yield Scene(call("station", "use", "my bench"))


def seams_askew() -> Iterator[Scene]:
    Path("my job.toml").write_text(JOB, "utf-8")
    printed = call("seam", "my job.toml", "--step", "0.4 mm")
    yield Scene(printed, after=lambda _: Path("skewed.png").read_bytes().startswith(b"\x89PNG"))


SCENES: dict[type[Act], tuple[Callable[[], Iterator[Scene]], ...]] = {
    acts.FindControllers: (no_port,),
    acts.WriteSettings: (new_board,),
    acts.RestoreSettings: (settings_written, port_gone),
    acts.ClearOffset: (offset_left,),
    acts.Unlock: (locked,),
    acts.Resume: (run_stopped, run_stopped_and_shown, batch_stopped, batch_anew),
    acts.Run: (run_anew,),
    acts.Jog: (turned_by_hand_on_a_new_board,),
    acts.Measure: (measuring_stopped,),
    acts.Redo: (redone_after_another_run,),
    acts.NameGateProgram: (
        program_not_named,
        program_not_named_for_a_run,
        program_not_named_for_a_redo,
        program_not_named_for_a_batch,
    ),
    acts.VerifyRun: (run_damaged,),
    acts.ListProfiles: (no_such_job,),
    acts.ListStations: (no_such_station,),
    acts.ShowSchema: (key_missing,),
    acts.DrawWrong: (seams_askew,),
}
NEED_POSIX = (port_gone, *SCENES[acts.NameGateProgram])
PLAYED = [
    pytest.param(
        act,
        play,
        id=play.__name__,
        marks=[
            *([pytest.mark.slow] if place else []),  # the first scene of each act is played every time
            *([pytest.mark.posix("pseudo-terminals, scripts as programs")] if play in NEED_POSIX else []),
        ],
    )
    for act, plays in SCENES.items()
    for place, play in enumerate(plays)
]


def test_every_act_has_a_scene_in_which_its_command_is_printed_and_typed() -> None:
    assert set(SCENES) == set(Act.__subclasses__())


@pytest.mark.some(8)
@pytest.mark.parametrize(("act", "play"), PLAYED)
def test_a_printed_command_works_as_it_stands(
    act: type[Act], play: Callable[[], Iterator[Scene]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program_called_program(tmp_path, monkeypatch)
    scene = next(played := play())
    lines = commands_in(scene.printed, act)
    assert lines, scene.printed
    for line in lines:
        program, *words = split_command(line)
        assert program == "circumstep"
        if not windows.wanted():
            assert as_the_shell_takes_it(line) == words
        ended = answered(words, scene.person) if scene.person else call(*words, told=scene.typed)
        assert ended.status == scene.status, (line, ended)
        assert scene.after(ended), line
    played.close()


def answered(words: list[str], person: tuple[tuple[str, str], ...]) -> Ended:
    """The end of a command that a person answers; what was typed before it was asked for is typed again."""
    with Program(*words) as program:
        for place, (told, answer) in enumerate(person):
            program.wait_for("err", told)
            next_told = person[place + 1][0] if place + 1 < len(person) else ""
            program.say(answer)
            while not program.comes("err", next_told, AGAIN_S):
                program.say(answer)
        return program.end()


def commands_in(ended: Ended, act: type[Act]) -> list[str]:
    """The commands that were printed behind the words of an act."""
    wordings = [advice._WORDS[act], *(advice._WORDS_OF_ZERO.values() if act in (acts.Run, acts.Redo) else ())]
    either = "|".join(map(re.escape, wordings))
    return re.findall(rf"(?:{either}): (circumstep .*)$", ended.out + ended.err, re.MULTILINE)


def as_the_shell_takes_it(line: str) -> list[str]:
    """The words that the shell hands to the program."""
    shown = subprocess.run(
        ["sh", "-c", f"circumstep() {{ printf '%s\\n' \"$@\"; }}\n{line}"],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=True,
    )
    return shown.stdout.splitlines()


def program_called_program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where an advice says PROGRAM ARGUMENT, there is a program of that name: it marks."""
    folder = tmp_path / "bin"
    folder.mkdir()
    program = folder / "PROGRAM"
    program.write_text('#!/bin/sh\ntest "$1" = ARGUMENT\n', encoding="utf-8")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", str(folder), prepend=os.pathsep)


# --- texts ----------------------------------------------------------------------------------------------------------


def test_no_text_of_the_program_names_a_command_but_the_words_of_the_acts() -> None:
    found = {
        names(path): told
        for path in SOURCES
        if (told := [text for _, text in literals(path) if re.search(r"\bcircumstep [a-z-]", text)])
    }
    assert found == {}


def test_a_command_that_a_help_text_names_is_there() -> None:
    group = every_command()
    for path in SOURCES:
        for line, text in literals(path):
            for named in re.findall(r"`((?:run|resume|segments|limits|controller|station|profile|runs)[a-z -]*)", text):
                words, node = named.split(), group
                while words and hasattr(node, "commands"):
                    assert words[0] in node.commands, f"{names(path)}:{line}: `{named}` is no command"
                    node, words = node.commands[words[0]], words[1:]
