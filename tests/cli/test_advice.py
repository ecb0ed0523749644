"""Every act has a command that the real command line takes."""

from __future__ import annotations

import shlex

import pytest
from typer.main import get_command

from firmware_host import acts
from firmware_host.acts import Act
from firmware_host.cli import main
from firmware_host.cli.screen.advice import advice_lines, arguments, command, completing_acts
from firmware_host.errors import ControllerError
from tests.cli.conftest import Circumstep
from tests.support import windows

EXAMPLES: tuple[Act, ...] = (
    acts.FindControllers(),
    acts.FindControllers("/dev/ttyUSB0"),
    acts.WriteSettings(),
    acts.WriteSettings("my job.toml", "socket://127.0.0.1:9"),
    acts.WriteSettings("job.toml", "/dev/ttyUSB0", ("inertia-ratio=light rotor, tried", "creep")),
    acts.RestoreSettings("old settings.toml"),
    acts.RestoreSettings("old.json", "/dev/ttyUSB0"),
    acts.ClearOffset("/dev/ttyUSB0"),
    acts.ClearOffset("/dev/ttyUSB0", "my machine.toml"),
    acts.Unlock(),
    acts.Unlock("/dev/ttyUSB0", "my machine.toml"),
    acts.Resume("runs/one two"),
    acts.Resume("runs/one", zero="here", without_marking=True),
    acts.Resume("runs/one", asks=True),
    acts.Resume("runs/one", gate_program="'my mark' it", baud="9600"),
    acts.Run(),
    acts.Run(
        "my job.toml", "/dev/ttyUSB0", "last", "2-4", "", ("creep=measured",), "mark it", "9600", "my runs", True, True
    ),
    acts.Run(zero="here", first="3"),
    acts.Run("my job.toml", zero="here", parts="my parts.csv", next_after="20 s"),
    acts.NameGateProgram("my job.toml", port="COM3", parts="24", next_after="20 s"),
    acts.Jog(),
    acts.Jog("my machine.toml", "/dev/ttyUSB0", "60 mm", write_settings=True),
    acts.Measure(),
    acts.Measure("ratio", "my job.toml", "/dev/ttyUSB0", turns="3", repeats="2", read_to="0.02 mm", write=True),
    acts.Measure(of="mine.toml", only=("ratio", "focus"), diameter="60 mm", record="my record", again=True),
    acts.Measure(of="my job.toml", angle_to="0.1 deg", gate_program="mark it", baud="9600", write_settings=True),
    acts.Redo("runs/one two"),
    acts.Redo("runs/one", "2-3", "1", "here", True, True),
    acts.Redo("runs/one", "2-3", gate_program="'my mark' it", baud="9600"),
    acts.Jog("my job.toml", by="-10 deg"),
    acts.Jog("my job.toml", to="0 deg"),
    acts.NameGateProgram(),
    acts.NameGateProgram("my job.toml"),
    acts.NameGateProgram("my job.toml", accepted=("creep=measured",), only="1,3"),
    acts.NameGateProgram(run="runs/one two", said_zero="here", baud="9600"),
    acts.NameGateProgram(run="runs/one two", segments="3", each="2", said_zero="here"),
    acts.NameGateProgram("my job.toml", first="2", port="/dev/ttyUSB0", baud="9600", said_zero="last", runs="my runs"),
    acts.VerifyRun("runs/one"),
    acts.ListProfiles(),
    acts.ListStations(),
    acts.ShowSchema("machine"),
    acts.DrawWrong(wrong="skewed", output="skewed.png"),
    acts.DrawWrong("my job.toml", "run-out", "run-out.png"),
)


def options_taken(words: list[str]) -> dict[str, object]:
    """The values that the command line finds in the words, by option; nothing is carried out."""
    group = get_command(main.app)
    context = group.make_context("circumstep", list(words), resilient_parsing=False)
    while hasattr(context.command, "resolve_command"):
        rest = [*context._protected_args, *context.args]
        name, found, rest = context.command.resolve_command(context, rest)
        assert found is not None
        context = found.make_context(name, rest, parent=context)
    return dict(context.params)


def test_every_act_has_an_example_here_and_a_command() -> None:
    assert {type(act) for act in EXAMPLES} == set(Act.__subclasses__())


@pytest.mark.parametrize("act", EXAMPLES, ids=repr)
def test_the_command_of_an_act_is_taken_by_the_command_line(act: Act) -> None:
    words = shlex.split(command(act))
    assert words == ["circumstep", *arguments(act)]
    taken = options_taken(words[1:])
    for value in vars(act).values():
        if isinstance(value, str) and value:
            each_one = (each if isinstance(each, list | tuple) else [each] for each in taken.values())
            assert value in {str(item) for items in each_one for item in items}
        if isinstance(value, tuple) and value:
            assert list(value) in [list(each) for each in taken.values() if isinstance(each, tuple | list)]


def test_a_command_that_does_not_exist_would_be_noticed() -> None:
    with pytest.raises(Exception, match="No such option"):
        options_taken(["resume", "runs/one", "--no-such-option"])


def test_the_command_is_quoted_for_the_shell() -> None:
    quoted = '"runs/one two"' if windows.wanted() else "'runs/one two'"
    assert command(acts.Resume("runs/one two")) == f"circumstep resume {quoted}"


def test_an_error_is_followed_by_the_commands_of_its_acts_once_each(
    circumstep: Circumstep, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> None:
        acts_of_it = (acts.Unlock(), acts.Resume("runs/a", zero="here"), acts.Unlock())
        raise ControllerError("it is locked", acts=acts_of_it)

    monkeypatch.setattr("firmware_host.cli.input.planned.load_job", fail)
    ended = circumstep("segments", "shaft-scale")
    assert ended.status == 3
    assert ended.err == (
        "error: controller: it is locked\n"
        "  Unlock with: circumstep controller unlock\n"
        "  Resume with: circumstep resume runs/a --zero here\n"
    )


def test_what_an_act_leaves_open_is_taken_from_the_command_and_what_it_names_stays() -> None:
    given = (acts.Unlock(), acts.ClearOffset("/dev/ttyUSB0"), acts.WriteSettings("job.toml"), acts.FindControllers())
    with (
        pytest.raises(ControllerError, match="it is locked") as caught,
        completing_acts(
            job="other.toml", machine="machine.toml", port="socket://127.0.0.1:9", accepted=("mass=a lead core",)
        ),
    ):
        raise ControllerError("it is locked", acts=given)
    assert caught.value.acts == (
        acts.Unlock("socket://127.0.0.1:9", "machine.toml"),
        acts.ClearOffset("/dev/ttyUSB0", "machine.toml"),
        acts.WriteSettings("job.toml", "socket://127.0.0.1:9", ("mass=a lead core",)),
        acts.FindControllers(),
    )


def test_a_run_that_asks_is_resumed_with_the_option_that_answers() -> None:
    assert advice_lines((acts.Resume("runs/a", asks=True),)) == [
        "To answer beforehand, resume with --assume done or --assume not-done.",
        "Resume with: circumstep resume runs/a",
    ]


def test_no_acts_no_lines() -> None:
    assert advice_lines(()) == []
