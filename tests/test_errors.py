"""Errors as data: fields, messages, exit statuses, pickling, for every class there is."""

import copy
import inspect
import pickle
import re
from dataclasses import fields
from typing import Any

import pytest

from firmware_host import errors
from firmware_host.acts import FindControllers, Resume, Unlock
from firmware_host.errors import (
    CoordinateError,
    FirmwareHostError,
    FormulaRangeError,
    GateError,
    GateTimeoutError,
    InputError,
    LimitExceededError,
    LineRejectedError,
    LinkError,
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
    1: {"LimitExceededError", "SettingsMismatchError"},
    2: {
        "InputError",
        "UnreadableFileError",
        "MissingFileError",
        "RunNotBegunError",
        "UnknownKeyError",
        "QuantityError",
        "PlanError",
        "WindowError",
        "FormulaRangeError",
        "CoordinateError",
    },
    3: {
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
    },
    4: {"GateError", "GateTimeoutError", "RunStoppedError", "StoppedError"},
}


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
