"""Every error circumstep raises on purpose: one root, one subclass per thing a caller can act on.

Errors are data. Each keeps its fields, derives its message from them (what, value, unit, limit, remedy),
survives pickling, and names the exit status the command line ends with:
1 a check failed, 2 bad usage or input, 3 link or controller fault, 4 stopped and resumable.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, ClassVar

if TYPE_CHECKING:
    from firmware_host.acts import Act

EXIT_DONE = 0
EXIT_CHECK_FAILED = 1
EXIT_BAD_INPUT = 2
EXIT_LINK_FAULT = 3
EXIT_STOPPED = 4


def _rebuild(kind: type[FirmwareHostError], state: dict[str, Any]) -> FirmwareHostError:
    return kind(**state)


@dataclass(eq=False, repr=False)
class FirmwareHostError(Exception):
    """Root of every error raised on purpose. Subclasses are dataclasses; their fields are public.

    Each decorator costs the start of every command a little: a subclass without fields of its own has none.

    `acts`: what the caller can do about it; the front door tells the command of each behind the message.
    """

    acts: tuple[Act, ...] = field(default=(), kw_only=True)

    exit_status: ClassVar[int] = EXIT_LINK_FAULT

    def message(self) -> str:
        """One line or two: what is wrong, where, the limit, what would be right."""
        return type(self).__name__

    def __str__(self) -> str:
        return self.message()

    def __repr__(self) -> str:
        stated = ", ".join(f"{each.name}={getattr(self, each.name)!r}" for each in fields(self))
        return f"{type(self).__name__}({stated})"

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuild, (type(self), {f.name: getattr(self, f.name) for f in fields(self)})


# --- what the user wrote -------------------------------------------------------------------------------------


@dataclass(eq=False, repr=False)
class InputError(FirmwareHostError, ValueError):
    """A file, an option or a value handed in is not usable.

    `others`: more problems of the same file, each a line of the message; `untold`: how many there are besides.
    """

    problem: str
    remedy: str = ""
    source: str = ""
    key: str = ""
    line: int | None = None
    others: tuple[str, ...] = ()
    untold: int = 0

    exit_status: ClassVar[int] = EXIT_BAD_INPUT

    def message(self) -> str:
        lines = [self._itself(self.source), *(f"  {other}" for other in self.others)]
        if self.untold:
            lines.append(f"  and {self.untold} more")
        return "\n".join(lines)

    def as_other(self) -> str:
        """The same, as a line behind another problem of the same file."""
        return self._itself("")

    def _itself(self, source: str) -> str:
        where = source
        if self.line is not None:
            where = f"{where}:{self.line}" if where else f"line {self.line}"
        text = ": ".join(part for part in (where, self.key, self.problem) if part)
        return f"{text}. {self.remedy}" if self.remedy else text


class UnreadableFileError(InputError):
    """The file is missing, too large, not UTF-8, or not TOML."""


class MissingFileError(UnreadableFileError):
    """There is nothing at the path."""


class RunNotBegunError(InputError):
    """A run that ended before the first line of its journal: nothing was moved, and there is nothing to resume."""


class UnknownKeyError(InputError):
    """A key that no file of this kind has; the remedy names the nearest known key."""


class QuantityError(InputError):
    """A physical value without a unit, with the wrong dimension, or out of its range."""


class ImplausibleError(QuantityError):
    """A value that no machine or part of this kind can have; the remedy names the likely slip."""


@dataclass(eq=False, repr=False)
class PlanError(FirmwareHostError, ValueError):
    """What was asked for cannot be planned: names the value, its unit, the limit and the remedy."""

    what: str
    value: float
    unit: str
    limit: float
    remedy: str
    source: str = ""

    exit_status: ClassVar[int] = EXIT_BAD_INPUT

    def message(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        where = f"{self.source}: " if self.source else ""
        return f"{where}{self.what}: {self.value:.6g}{unit}, limit {self.limit:.6g}{unit}. {self.remedy}"


class WindowError(PlanError):
    """The marking window and the part do not fit each other."""


class FormulaRangeError(PlanError):
    """A value outside the range in which a formula of the physics holds."""


class CoordinateError(PlanError):
    """A target that the controller's own arithmetic would not turn into the intended step."""


# --- checks that failed --------------------------------------------------------------------------------------


@dataclass(eq=False, repr=False)
class LimitExceededError(FirmwareHostError):
    """One or more limits keep the plan from moving; nothing was sent. `unknown`: those of `checks` not known."""

    checks: tuple[str, ...]
    details: tuple[str, ...]
    unknown: tuple[str, ...] = ()

    exit_status: ClassVar[int] = EXIT_CHECK_FAILED

    def message(self) -> str:
        details = "; ".join(self.details)
        if not self.unknown:
            return f"the plan exceeds its limits: {details}"
        names = ", ".join(self.unknown)
        return f"limits stop the plan ({names} not known): {details}. Or accept a limit by name, in the job's [accept]"


@dataclass(eq=False, repr=False)
class SettingsMismatchError(FirmwareHostError):
    """The controller's stored settings contradict the plan; nothing that moves was sent."""

    mismatches: tuple[str, ...]
    remedy: str

    exit_status: ClassVar[int] = EXIT_CHECK_FAILED

    def message(self) -> str:
        return "the controller's settings do not fit the plan: " + "; ".join(self.mismatches) + f". Fix: {self.remedy}"


@dataclass(eq=False, repr=False)
class NotRestoredError(FirmwareHostError):
    """Some settings of a backup could not be brought back; all others are. `left`: which, and how they stand now."""

    backup: str
    left: tuple[str, ...]

    exit_status: ClassVar[int] = EXIT_CHECK_FAILED

    def message(self) -> str:
        told = "; ".join(self.left)
        kept = f"not all settings kept in {self.backup} are back: {told}. All others are as they were"
        return f"{kept}. Switch the controller off and on, and restore them again"


@dataclass(eq=False, repr=False)
class ZeroNotSaidError(FirmwareHostError):
    """Where a new run's zero is has to be said, because of what happened at the port before; nothing has moved.

    `run_folder`: of the last run there, "" where that is not why.
    """

    run_folder: str
    why: str

    exit_status: ClassVar[int] = EXIT_CHECK_FAILED

    def message(self) -> str:
        whose = f"the last run at this port, {self.run_folder}, " if self.run_folder else ""
        return f"say where the job's zero is: {whose}{self.why}. Nothing has moved"


# --- the link ------------------------------------------------------------------------------------------------


@dataclass(eq=False, repr=False)
class LinkError(FirmwareHostError, OSError):
    """The line to the controller cannot be used."""

    url: str
    detail: str

    def message(self) -> str:
        return f"port {self.url}: {self.detail}"


class PortUnavailableError(LinkError):
    """The port does not exist or cannot be opened."""


@dataclass(eq=False, repr=False)
class PortBusyError(LinkError):
    """Another process holds the port."""

    holder_pid: int | None = None

    def message(self) -> str:
        holder = f" by process {self.holder_pid}" if self.holder_pid is not None else ""
        return f"port {self.url}: in use{holder}; {self.detail}"


class PortLostError(LinkError):
    """The port went away while it was in use."""


@dataclass(eq=False, repr=False)
class ReplyTimeoutError(LinkError, TimeoutError):
    """No answer before the deadline; the fate of the line is unknown."""

    line: str = ""
    waited_s: float = 0.0

    def message(self) -> str:
        return f"port {self.url}: no answer to {self.line!r} within {self.waited_s:.3g} s; {self.detail}"


class UnexpectedReplyError(LinkError):
    """Bytes came that fit no reply awaited."""


class DialectError(LinkError):
    """No known dialect answers on this port."""


# --- the controller ------------------------------------------------------------------------------------------


@dataclass(eq=False, repr=False)
class ControllerError(FirmwareHostError):
    """The controller refuses, faults, or is not where the plan needs it."""

    detail: str

    def message(self) -> str:
        return f"controller: {self.detail}"


@dataclass(eq=False, repr=False)
class ControllerFaultError(ControllerError):
    """The controller reports an alarm or is locked; position may be lost."""

    code: int | None = None


class ControllerResetError(ControllerError):
    """The controller greeted again: it was reset, and its position is lost."""


@dataclass(eq=False, repr=False)
class LineRejectedError(ControllerError):
    """The controller refused a line."""

    line: str = ""
    code: int | None = None

    def message(self) -> str:
        return f"controller refused {self.line!r}: {self.detail}"


@dataclass(eq=False, repr=False)
class PositionError(ControllerError):
    """The controller stands at another step than planned."""

    planned_steps: int = 0
    reported_steps: float = 0.0

    def message(self) -> str:
        return (
            f"controller: {self.detail}: planned {self.planned_steps} steps, reported {self.reported_steps:.3f} steps"
        )


class StandstillError(ControllerError):
    """The axis does not stand still, or cannot be proved to, where it has to."""


class MotorReleasedError(StandstillError):
    """The motor does not hold the axis any more, or will let go of it: the part may have turned by itself."""


# --- the run -------------------------------------------------------------------------------------------------


@dataclass(eq=False, repr=False)
class GateError(FirmwareHostError):
    """The marking side did not answer, or answered that the pass failed. The run is resumable."""

    gate: str
    detail: str

    exit_status: ClassVar[int] = EXIT_STOPPED

    def message(self) -> str:
        return f"gate {self.gate}: {self.detail}"


class GateTimeoutError(GateError, TimeoutError):
    """The pass was not reported done in time."""


@dataclass(eq=False, repr=False)
class StoppedError(FirmwareHostError):
    """Something was stopped by the operator or a signal while it was `doing` that; `left`: how things stand now."""

    reason: str
    doing: str
    left: str = "nothing was moved"

    exit_status: ClassVar[int] = EXIT_STOPPED

    def message(self) -> str:
        return f"stopped ({self.reason}) while {self.doing}; {self.left}"


@dataclass(eq=False, repr=False)
class RunStoppedError(FirmwareHostError):
    """The run was stopped by the operator or a signal; it can be resumed."""

    reason: str
    run_folder: str

    exit_status: ClassVar[int] = EXIT_STOPPED

    def __post_init__(self) -> None:
        from firmware_host.acts import Resume  # with the first error that has any

        self.acts = self.acts or (Resume(self.run_folder),)

    def message(self) -> str:
        return f"stopped ({self.reason}); the run in {self.run_folder} can be resumed"


@dataclass(eq=False, repr=False)
class JournalError(FirmwareHostError):
    """The journal of a run is damaged, locked, cannot be written, or does not fit the job."""

    path: str
    detail: str

    def message(self) -> str:
        return f"run record {self.path}: {self.detail}"


class DamagedRunError(JournalError):
    """What was read of a run is damaged, no plain file, or does not fit the job."""

    exit_status: ClassVar[int] = EXIT_BAD_INPUT
