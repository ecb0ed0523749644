"""Errors as data: fields, messages, exit statuses, pickling, for every class there is."""

import ast
import copy
import inspect
import math
import pickle
import re
from collections import Counter
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from firmware_host import errors
from firmware_host.acts import FindControllers, Resume, Unlock
from firmware_host.commissioning.estimates.sensible import require_sizes
from firmware_host.commissioning.marks.comb import gap_by
from firmware_host.errors import (
    CoordinateError,
    FirmwareHostError,
    FormulaRangeError,
    GateError,
    GateTimeoutError,
    ImplausibleError,
    InputError,
    LimitExceededError,
    LineRejectedError,
    LinkError,
    MissingFileError,
    PlanError,
    PortBusyError,
    PositionError,
    QuantityError,
    ReplyTimeoutError,
    RunStoppedError,
    SettingsMismatchError,
    UnknownKeyError,
    UnreadableFileError,
    WindowError,
)
from firmware_host.mechanics.optics.beam import window_half_depth
from firmware_host.model import Setup, load_job
from firmware_host.planning.plan import plan_job
from firmware_host.simulator.numbered_line.words import RefusedCommandError
from firmware_host.simulator.status_query.refusal import RefusedLineError

ALL = [kind for _, kind in inspect.getmembers(errors, inspect.isclass) if issubclass(kind, FirmwareHostError)]


def sample(kind: type[FirmwareHostError]) -> FirmwareHostError:
    """An error of that kind in which every field holds a value of its own."""
    values: dict[str, Any] = {}
    for number, field in enumerate(fields(kind), 1):
        by_type = {
            "str": f"the {field.name}",
            "float": number + 0.25,
            "int": number,
            "tuple[Act, ...]": (FindControllers(), Unlock("PORT")),
            "tuple[str, ...]": (f"first of {field.name}", f"second of {field.name}"),
        }
        values[field.name] = by_type[str(field.type).removesuffix(" | None")]
    return kind(**values)


@pytest.mark.parametrize("kind", ALL, ids=lambda kind: kind.__name__)
def test_an_error_survives_pickling_and_copying_with_all_its_fields(kind: type[FirmwareHostError]) -> None:
    error = sample(kind)
    for other in (pickle.loads(pickle.dumps(error)), copy.copy(error), copy.deepcopy(error)):
        assert type(other) is kind
        assert other is not error
        assert {f.name: getattr(other, f.name) for f in fields(kind)} == {
            f.name: getattr(error, f.name) for f in fields(kind)
        }
        assert str(other) == str(error)
        assert other.exit_status == error.exit_status


@pytest.mark.parametrize("kind", ALL, ids=lambda kind: kind.__name__)
def test_an_error_says_something_and_names_one_of_the_exit_statuses(kind: type[FirmwareHostError]) -> None:
    error = sample(kind)
    assert str(error) == error.message()
    assert error.message().strip()
    assert "\n\n" not in error.message()
    assert error.exit_status in (1, 2, 3, 4)
    assert kind.__doc__
    assert kind.__name__.endswith("Error")
    with pytest.raises(FirmwareHostError, match=re.escape(str(error))):
        raise error


@pytest.mark.parametrize("kind", ALL, ids=lambda kind: kind.__name__)
def test_every_text_and_number_of_an_error_is_in_its_message(kind: type[FirmwareHostError]) -> None:
    error = sample(kind)
    message = error.message()
    shown = {field.name for field in fields(kind)} - {"acts"}  # the front door tells those
    # What only a program reads: the names of the checks (their details are shown), and codes that the detail repeats.
    shown -= {"checks", "code"}
    for name in shown:
        value = getattr(error, name)
        for part in value if isinstance(value, tuple) else (value,):
            assert str(part) in message, f"{name} of {kind.__name__} is not in {message!r}"


EXIT_STATUS = {
    1: {"LimitExceededError", "SettingsMismatchError", "NotRestoredError", "ZeroNotSaidError"},
    2: {
        "InputError",
        "UnreadableFileError",
        "MissingFileError",
        "RunNotBegunError",
        "UnknownKeyError",
        "QuantityError",
        "ImplausibleError",
        "PlanError",
        "WindowError",
        "FormulaRangeError",
        "CoordinateError",
        "DamagedRunError",
    },
    3: {
        "FirmwareHostError",
        "LinkError",
        "PortUnavailableError",
        "PortBusyError",
        "PortLostError",
        "ReplyTimeoutError",
        "UnexpectedReplyError",
        "DialectError",
        "ControllerError",
        "ControllerFaultError",
        "ControllerResetError",
        "LineRejectedError",
        "PositionError",
        "StandstillError",
        "MotorReleasedError",
        "JournalError",
    },
    4: {"GateError", "GateTimeoutError", "RunStoppedError", "StoppedError"},
}


def test_every_error_has_an_exit_status_that_was_chosen() -> None:
    assert sorted(name for names in EXIT_STATUS.values() for name in names) == sorted(kind.__name__ for kind in ALL)


@pytest.mark.parametrize(
    ("status", "name"), [(status, name) for status, names in EXIT_STATUS.items() for name in sorted(names)]
)
def test_the_exit_status_says_who_can_act_on_it(status: int, name: str) -> None:
    # 1 a check failed, 2 bad usage or input, 3 link or controller fault, 4 stopped and resumable.
    kind = {kind.__name__: kind for kind in ALL}[name]
    assert sample(kind).exit_status == status


@pytest.mark.parametrize(
    ("kind", "builtin"),
    [
        (InputError, ValueError),
        (PlanError, ValueError),
        (LinkError, OSError),
        (ReplyTimeoutError, TimeoutError),
        (GateTimeoutError, TimeoutError),
        (UnreadableFileError, InputError),
        (UnknownKeyError, InputError),
        (QuantityError, InputError),
        (WindowError, PlanError),
        (FormulaRangeError, PlanError),
        (CoordinateError, PlanError),
        (GateTimeoutError, GateError),
    ],
    ids=lambda kind: kind.__name__,
)
def test_an_error_is_caught_by_what_a_caller_would_write(kind: type[Exception], builtin: type[Exception]) -> None:
    assert issubclass(kind, builtin)
    assert issubclass(kind, FirmwareHostError)


def test_a_plan_error_names_value_unit_limit_and_remedy() -> None:
    error = WindowError("sag at the edge", 0.7166, "mm", 0.5, "Ask for 6 segments")
    assert str(error) == "sag at the edge: 0.7166 mm, limit 0.5 mm. Ask for 6 segments"
    assert str(PlanError("segments", 12, "", 10, "Fewer")) == "segments: 12, limit 10. Fewer"


@pytest.mark.parametrize(
    ("error", "text"),
    [
        (
            InputError("is missing", "Add it", "job.toml", "part.length", 7),
            "job.toml:7: part.length: is missing. Add it",
        ),
        (InputError("is empty", source="job.toml"), "job.toml: is empty"),
        (InputError("is odd", key="count"), "count: is odd"),
        (InputError("is odd", line=3), "line 3: is odd"),
        (InputError("is odd"), "is odd"),
    ],
    ids=["all", "file-only", "key-only", "line-only", "bare"],
)
def test_an_input_error_leads_with_the_place(error: InputError, text: str) -> None:
    assert str(error) == text


def test_messages_of_the_link_name_port_line_and_time() -> None:
    assert str(PortBusyError("/dev/x", "close it", 4711)) == "port /dev/x: in use by process 4711; close it"
    assert str(PortBusyError("/dev/x", "close it")) == "port /dev/x: in use; close it"
    late = ReplyTimeoutError("/dev/x", "is it powered?", "G1 A1", 2.5)
    assert str(late) == "port /dev/x: no answer to 'G1 A1' within 2.5 s; is it powered?"
    assert str(LineRejectedError("unknown word", "Q1", 20)) == "controller refused 'Q1': unknown word"
    assert str(PositionError("wrong place", planned_steps=611, reported_steps=610.5)) == (
        "controller: wrong place: planned 611 steps, reported 610.500 steps"
    )


def test_messages_of_checks_list_every_one() -> None:
    limits = LimitExceededError(("torque", "rate"), ("torque 2 N*m, limit 1 N*m", "rate 50 kHz, limit 28 kHz"))
    assert str(limits) == "the plan exceeds its limits: torque 2 N*m, limit 1 N*m; rate 50 kHz, limit 28 kHz"
    unknown = LimitExceededError(("grip",), ("grip: not known. Give drive.friction",), ("grip",))
    assert str(unknown) == (
        "limits stop the plan (grip not known): grip: not known. Give drive.friction. "
        "Or accept a limit by name, in the job's [accept]"
    )
    settings = SettingsMismatchError(("steps per unit 10, planned 26.667",), "circumstep controller settings write JOB")
    assert str(settings).endswith("planned 26.667. Fix: circumstep controller settings write JOB")
    stopped = RunStoppedError("Ctrl-C", "runs/7")
    assert str(stopped) == "stopped (Ctrl-C); the run in runs/7 can be resumed"
    assert stopped.acts == (Resume("runs/7"),)
    assert str(GateError("operator", "no answer")) == "gate operator: no answer"


# --- where they are raised -----------------------------------------------------------------------------------------

PACKAGE = Path(errors.__file__).parent
PLANNED = {kind.__name__ for kind in ALL if issubclass(kind, PlanError)}
WRITTEN = {kind.__name__ for kind in ALL if issubclass(kind, InputError)}

#: Where the problem itself says what would be right: (file, how many).
NO_REMEDY = {"model/files/problems.py": 3}  # what pydantic and the models' own checks say


@cache
def built() -> tuple[tuple[str, str, dict[str, ast.expr]], ...]:
    """Every place of the package that builds an error: its file, the class, what it is given by name."""
    order = {kind.__name__: [each.name for each in fields(kind) if each.name != "acts"] for kind in ALL}
    begins = re.compile(rf"(?<![\w.`])({'|'.join(order)})\(")
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        source = path.read_text(encoding="utf-8")
        for each in begins.finditer(source) if path.name != "errors.py" else ():
            if source.endswith("class ", 0, each.start()):
                continue
            call = call_at(source, each.start())
            given = dict(zip(order[each[1]], call.args, strict=False))
            given |= {word.arg or "**": word.value for word in call.keywords}
            found.append((path.relative_to(PACKAGE).as_posix(), each[1], given))
    return tuple(found)


def call_at(source: str, begin: int) -> ast.Call:
    """The call that begins there: up to the first bracket with which it is one."""
    end = begin
    while True:
        end = source.index(")", end) + 1
        try:
            call = ast.parse(source[begin:end], mode="eval").body
        except SyntaxError:
            continue
        assert isinstance(call, ast.Call)
        return call


def test_every_error_is_built_somewhere_and_the_root_nowhere() -> None:
    assert {name for _, name, _ in built()} == {kind.__name__ for kind in ALL} - {"FirmwareHostError"}


def test_elsewhere_only_simulated_boards_have_errors_of_their_own_and_those_say_what_they_hold() -> None:
    sources = {path: path.read_text(encoding="utf-8") for path in sorted(PACKAGE.rglob("*.py"))}
    of_ours = re.compile(rf"^class (\w+)\((?:{'|'.join(kind.__name__ for kind in ALL)})\b", re.MULTILINE)
    elsewhere = {name for path, text in sources.items() if path.name != "errors.py" for name in of_ours.findall(text)}
    assert elsewhere == {"RefusedCommandError", "RefusedLineError"}
    raised = {name for text in sources.values() for name in re.findall(r"raise (Refused\w+)\(", text)}
    assert raised == elsewhere
    assert str(RefusedCommandError("Unknown command")) == "Unknown command"
    assert str(RefusedLineError(9)) == "the simulated board refuses the line with number 9"


def said(node: ast.expr | None) -> str | None:
    """A text as it stands in the source, with {} for what is filled in; None where it is made elsewhere."""
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(str(each.value) if isinstance(each, ast.Constant) else "{}" for each in node.values)
    return None


#: Units that a message may end a number with; "" for what is counted, and ratios.
UNITS = {"", "deg", "mm", "m", "rad/s", "rad/s^2", "Hz", "K", "steps", "microsteps", "units", "steps/s"}


def test_where_something_cannot_be_planned_value_unit_limit_and_fix_are_given() -> None:
    sites = [(file, given) for file, name, given in built() if name in PLANNED]
    assert len(sites) > 50
    for file, given in sites:
        assert {"what", "value", "unit", "limit", "remedy"} <= given.keys(), file
        unit, what, remedy = (said(given[each]) for each in ("unit", "what", "remedy"))
        assert unit is None or unit in UNITS, f"{file}: {unit}"
        assert what is None or re.fullmatch(r"\S.*[^.:\s]", what), f"{file}: {what}"
        assert remedy is None or re.fullmatch(r"[A-Z].{8,}[^.]|\{.*", remedy), f"{file}: {remedy}"


def test_where_what_was_written_cannot_be_used_the_fix_is_given() -> None:
    sites = [(file, given) for file, name, given in built() if name in WRITTEN]
    without = Counter(file for file, given in sites if not {"remedy", "acts"} & given.keys())
    assert dict(without) == NO_REMEDY
    for file, given in sites:
        if remedy := said(given.get("remedy")):
            assert re.fullmatch(r"([A-Z{]|part\.).*[^.]", remedy, re.DOTALL), f"{file}: {remedy}"
        if problem := said(given.get("problem")):
            assert not problem.endswith("."), f"{file}: {problem}"


def changed(**values: str) -> Setup:
    return load_job("shaft-scale").with_values({key.replace("__", "."): value for key, value in values.items()})


@pytest.mark.parametrize(
    ("act", "kind", "message"),
    [
        pytest.param(
            lambda: plan_job(changed(window__half_depth="0.1 mm", segments__count=2)),  # type: ignore[arg-type]
            WindowError,
            r"segment of 30\.00 mm is wider than the .+ allows: [\d.]+ deg, limit [\d.]+ deg\. Ask for at least \d+ s",
            id="window",
        ),
        pytest.param(
            lambda: window_half_depth(0.001, 0.9),
            FormulaRangeError,
            r"^spot growth: 0\.9, limit 1\. It must be greater than 1",
            id="formula",
        ),
        pytest.param(
            lambda: gap_by(11, 0.5e-3),
            FormulaRangeError,
            r"^number of the lines that meet: 11, limit 10\. Count again",
            id="comb",
        ),
        pytest.param(
            lambda: require_sizes(time_between=1e13),
            FormulaRangeError,
            r"^time between: 1e\+13, limit 1e\+12\. Read it again: look at the number and its unit$",
            id="too much",
        ),
        pytest.param(
            lambda: require_sizes(time_between=math.nan),
            FormulaRangeError,
            r"^time between: nan, limit 1e-12\. It must be above nothing",
            id="no number",
        ),
        pytest.param(
            lambda: changed(part__diameter="48"),
            QuantityError,
            r"part\.diameter: '48' has no unit\. Write a string with a unit, like \"48\.2 mm\"$",
            id="unit",
        ),
        pytest.param(
            lambda: changed(part__diameter="48 m"),
            ImplausibleError,
            r'part\.diameter: 48 m is more than any has \(at most 5,000 mm\)\. Did you mean "48 mm"\?',
            id="implausible",
        ),
        pytest.param(
            lambda: changed(part__diametr="48 mm"),
            UnknownKeyError,
            r"part\.diametr: unknown key 'diametr'\. Did you mean 'diameter'\?",
            id="key",
        ),
        pytest.param(
            lambda: load_job("./no-such-job.toml"),
            MissingFileError,
            r"^no-such-job\.toml: no such file\. .+",
            id="file",
        ),
        pytest.param(
            lambda: plan_job(changed(mark__arc="400 mm")),
            PlanError,
            r"mark\.arc is longer than the part's circumference: 400 mm, limit [\d.]+ mm\. Write mark\.angle = ",
            id="plan",
        ),
    ],
)
def test_what_is_really_raised_says_value_limit_and_fix(act: Any, kind: type[FirmwareHostError], message: str) -> None:
    with pytest.raises(kind, match=message) as caught:
        act()
    assert type(caught.value) is kind


def test_where_no_motion_is_safe_what_would_help_is_said() -> None:
    setup = load_job("bottle-band").with_values({"drive.friction": 0.02})
    with pytest.raises(LimitExceededError, match=r"grip: wanted more than .* is safe; .*give it more grip") as caught:
        plan_job(setup)
    assert "grip" in caught.value.checks
