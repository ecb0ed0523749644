"""What a controller can say, in our own words: one frozen class per kind of line, the same for every dialect."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum


class AxisState(Enum):
    """What the controller says it is doing."""

    READY = "ready"
    """Standing still, waiting for a line."""
    MOVING = "moving"
    HOLDING = "holding"
    """Held, standing still, with motion left to make."""
    SLOWING = "slowing"
    """Held, still slowing down."""
    LOCKED = "locked"
    """After an alarm: moves are refused until it is unlocked or homed."""
    FAULTED = "faulted"
    """Halted until it is reset."""
    HOMING = "homing"
    CHECKING = "checking"
    """Lines are answered but not carried out."""
    ASLEEP = "asleep"
    """Motors released; wakes by a reset."""
    DOOR = "door"
    """Held by the door switch, standing still."""

    @property
    def stands_still(self) -> bool:
        """True where the state by itself means that the axis doesn't move."""
        return self not in {AxisState.MOVING, AxisState.SLOWING, AxisState.HOMING}


class Reply:
    """Base of everything a line can mean."""

    __slots__ = ()


@dataclass(frozen=True)
class Accepted(Reply):
    """The oldest unanswered line was accepted.

    `number` is the line's, where lines are numbered and the controller repeats it. `blocks_free` moves can
    still be taken in; None: not told.
    """

    number: int | None = None
    blocks_free: int | None = None


@dataclass(frozen=True)
class Rejected(Reply):
    """The oldest unanswered line was refused; `meaning` is ours, not the controller's wording."""

    code: int | None
    meaning: str


@dataclass(frozen=True)
class StatusReport(Reply):
    """One answer to a status request.

    `machine`, `work` and `offset` hold one number per axis in the controller's report unit (mm or degrees), in the
    controller's order of axes; machine = work + offset. None: not in this report. `pins`: the letters of the inputs
    that are on. `letters` name the axes of `machine` where a dialect reports them by letter; `counts` are motor steps
    by axis letter, made or only planned (`Learned.position`). Where a dialect has no word for the state, the state is
    what is known: moving from a move until a standstill is proved.
    """

    state: AxisState
    machine: tuple[float, ...] | None
    work: tuple[float, ...] | None = None
    offset: tuple[float, ...] | None = None
    pins: str = ""
    letters: str = ""
    counts: Mapping[str, int] | None = None


@dataclass(frozen=True)
class AlarmReport(Reply):
    """The controller stopped by itself; its position may be lost."""

    code: int | None
    meaning: str


@dataclass(frozen=True)
class Greeting(Reply):
    """The controller has just been reset; whatever it was told before is forgotten."""

    text: str


@dataclass(frozen=True)
class Message(Reply):
    """Words for a person, or a line of information that is not used."""

    text: str


@dataclass(frozen=True)
class ResetAwaited(Message):
    """It stands still after an alarm, and hears no line any more: only a reset, which keeps its position, ends that."""


@dataclass(frozen=True)
class AxisLetters(Reply):
    """The letters of its axes, in the order in which positions are reported."""

    letters: str


@dataclass(frozen=True)
class SettingLine(Reply):
    """One stored setting: the controller's own key (such as it is written) and the text of its value as printed."""

    key: str
    text: str


@dataclass(frozen=True)
class SettingGroup(Reply):
    """Settings printed on one line. `rates_per_s` tells, of rates, whether they are per second; None: not told."""

    settings: tuple[SettingLine, ...]
    rates_per_s: bool | None = None


@dataclass(frozen=True)
class StepCounts(Reply):
    """Motor steps by axis letter, printed on a line of their own behind a position."""

    counts: Mapping[str, int]


@dataclass(frozen=True)
class StartRule(Reply):
    """The setting that bounds the step of speed at the start of a move: by axis letter; empty: no such step is set."""

    jumps: Mapping[str, str]


@dataclass(frozen=True)
class TravelEnds(Reply):
    """Ends of the travel by axis letter (axis units); `lengths` count from the lowest end. None: not on this line."""

    lowest: Mapping[str, float] = field(default_factory=dict)
    highest: Mapping[str, float] = field(default_factory=dict)
    lengths: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class TravelKept(Reply):
    """Whether the controller keeps moves between the ends of the travel once an axis was homed."""

    on: bool


@dataclass(frozen=True)
class RateUnit(Reply):
    """A remark in the print of settings: rates are per second (True) or per minute (False)."""

    per_s: bool


@dataclass(frozen=True)
class BufferInfo(Reply):
    """What the controller says of its buffers: moves it can plan ahead, and the bytes of its receive buffer."""

    blocks: int
    receive_bytes: int


@dataclass(frozen=True)
class ParserState(Reply):
    """The modal words in effect, in the order printed."""

    words: tuple[str, ...]


@dataclass(frozen=True)
class Identity(Reply):
    """What the controller says it is; no other answer is like it."""


@dataclass(frozen=True)
class Resend(Reply):
    """The controller asks for the line of this number next: it has taken all lines up to the one before."""

    number: int


@dataclass(frozen=True)
class Skipped(Reply):
    """The controller had the line of this number already and did not carry it out again."""

    number: int


@dataclass(frozen=True)
class Complaint(Reply):
    """The line was not carried out, even if it is accepted next; or, if a Resend follows, it came damaged."""

    meaning: str


@dataclass(frozen=True)
class UnknownWord(Complaint):
    """The controller has no such word: it lacks what was asked for. `number` is the line's, where it is told."""

    meaning: str = "a word the controller does not know"
    number: int | None = None


@dataclass(frozen=True)
class Damaged(Complaint):
    """The line came damaged or out of order: it is asked for again, and is no refusal once it has been."""

    meaning: str = "it came damaged, or out of order"


@dataclass(frozen=True)
class Repeated(Reply):
    """The controller repeats a line as it has come, before anything else about it. `number` is the line's, if any."""

    number: int | None


@dataclass(frozen=True)
class Busy(Reply):
    """The controller is still at work on a line: its answer will come."""


@dataclass(frozen=True)
class Waiting(Reply):
    """The controller says that it waits for a line. No sign of a standstill: some say so while they move."""


@dataclass(frozen=True)
class Unknown(Reply):
    """A line that fits no reply: damaged, or foreign. Never guessed at."""

    raw: bytes
