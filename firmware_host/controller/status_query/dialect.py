"""The dialect `status-query`: every literal of its wire format, and nothing else.

Source: the wire description of this family, by what its boards do. Meanings of error and alarm codes are in our own
words; those marked (m) are from memory.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import ClassVar

from firmware_host.controller.dialect import Capabilities, require_plain_numbers
from firmware_host.controller.reply import (
    Accepted,
    AlarmReport,
    AxisLetters,
    AxisState,
    BufferInfo,
    Greeting,
    Message,
    ParserState,
    Rejected,
    Reply,
    ResetAwaited,
    SettingLine,
    StatusReport,
    Unknown,
)
from firmware_host.controller.status_query.base import StateWordDialect
from firmware_host.controller.stored_settings import SettingNames
from firmware_host.errors import InputError

_AXES = "XYZABCUVW"
_SETTING_VALUE = re.compile(r"-?\d{1,9}(?:\.\d{1,3})?", re.ASCII)
_LISTED_VALUE = re.compile(r"-?\d{1,9}(?:\.\d{1,6})?", re.ASCII)
_LISTED_TEXT = re.compile(r"[ \x22-\x3e\x40-\x7d]*", re.ASCII)  # no byte that is acted on at once
_SETTING_KEY = re.compile(r"\$\d{1,4}", re.ASCII)
_SETTING = re.compile(r"\$(\d{1,4})=([^()]*?)(?: *\(.*\))?", re.ASCII)
_SOFT_LIMITS, _HOMING = "$20", "$22"
_NUMBERS = frozenset((*range(7), *range(10, 14), *range(20, 28), *range(30, 33), *range(100, 200)))
"""Settings that are numbers on every board measured; any other is kept as it is told, be it a text."""
_START_LINE = re.compile(r"\$N\d=.*", re.ASCII)
_AXIS_LINE = re.compile(r"(\d):([A-Z]{1,9})", re.ASCII)
_POSITIONS = re.compile(r"-?\d{1,8}\.\d{3,4}(?:,-?\d{1,8}\.\d{3,4}){2,8}", re.ASCII)
_COUNTS = re.compile(r"\d{1,5},\d{1,5}", re.ASCII)
_FEEDS = re.compile(r"-?\d{1,8}(?:\.\d{1,3})?(?:,-?\d{1,8}(?:\.\d{1,3})?)?", re.ASCII)
_OPTIONS = re.compile(r"[^,\]]*,(\d{1,5}),(\d{1,6})(?:,.*)?", re.ASCII)
_STORING = re.compile(rb"\$\w*=|\$RST=|G10(?![\d.])|G28\.1|G30\.1", re.ASCII | re.IGNORECASE)
_GREETING = re.compile(r"\['\$'[^\[\]]{0,40} for help\]", re.ASCII)
"""What a greeting has in it, whatever stands before or behind it."""
_RESET_AWAITED = "MSG:Reset to continue"
_UNTIL_RESET = 2
"""The alarm after which no line is heard until a reset, on every board measured that has it."""
_MODES = ("G17", "G21", "G40", "G49", "G80", "G90", "G94")
_SHOWN_MODES = ("G21", "G90", "G94")
_RELATIVE = "G91"

_STATES = {
    "Idle": AxisState.READY,
    "Run": AxisState.MOVING,
    "Jog": AxisState.MOVING,
    "Hold:0": AxisState.HOLDING,
    "Hold:1": AxisState.SLOWING,
    "Hold": AxisState.SLOWING,  # doesn't say that it has stopped
    "Alarm": AxisState.LOCKED,
    "Door:0": AxisState.DOOR,
    "Door:1": AxisState.DOOR,
    "Door:2": AxisState.SLOWING,  # (m)
    "Door:3": AxisState.MOVING,  # (m)
    "Door": AxisState.SLOWING,
    "Check": AxisState.CHECKING,
    "Home": AxisState.HOMING,
    "Sleep": AxisState.ASLEEP,
}
_ERRORS = {
    1: "a word lacks its letter",  # (m)
    2: "a number cannot be read or is missing",
    3: "no such $ line",  # (m)
    4: "a negative value where none is allowed",  # (m)
    5: "homing is switched off in the settings",
    6: "the step pulse is set too short",  # (m)
    7: "a stored line cannot be read",
    8: "only possible while the axis is ready",
    9: "locked: unlock or home first",  # (m)
    10: "soft limits need homing",
    11: "the line is too long",
    12: "the setting asks for more steps per second than the controller makes",  # (m)
    13: "the door is open",  # (m)
    14: "the line is too long",
    15: "the target lies beyond the travel",  # (m)
    16: "a word that a jog line cannot have",
    20: "a word the controller does not know",
    21: "two words of one modal group",  # (m)
    22: "no feed has been set",  # (m)
    23: "a whole number is needed",  # (m)
    24: "two words both use the axis words",  # (m)
    25: "a word is given twice",  # (m)
    26: "axis words are missing",  # (m)
    33: "the target cannot be reached",  # (m)
    36: "a word that nothing uses",
    53: "no such setting",
}
_ALARMS = {
    1: "a limit switch was hit; position lost",  # (m)
    2: "the target lies beyond the soft limits",
    3: "reset while moving; position lost",
    6: "reset while homing",  # (m)
    7: "door opened while homing",  # (m)
    8: "homing: the switch did not let go",  # (m)
    9: "homing: no switch found",  # (m)
}
_REMEDIES = {
    AxisState.HOLDING: "release the hold at the machine, or unlock it, which drops the rest of its motion",
    AxisState.LOCKED: "find out why; home the axis, or unlock it and set zero anew",
    AxisState.FAULTED: "reset the controller and set zero anew",
    AxisState.CHECKING: "end the check mode by resetting the controller",
    AxisState.ASLEEP: "reset the controller and set zero anew",
    AxisState.DOOR: "close the door, then resume at the machine",
}


class StatusQueryDialect(StateWordDialect):
    """Answers `?` with its state and position; every line with one word."""

    name: ClassVar[str] = "status-query"
    alarm_remedy: ClassVar[str] = "Find out why; home it, or unlock it and set zero anew"
    max_line_bytes: ClassVar[int] = 80
    default_buffer_bytes: ClassVar[int] = 127
    position_decimals: ClassVar[int] = 3
    state_tells_standstill: ClassVar[bool] = True
    capabilities: ClassVar[Capabilities] = Capabilities(
        tells_state=True,
        counts_steps=False,
        stop_keeps_position=True,
    )

    def status_request(self) -> bytes:
        return b"?"

    def hold_request(self) -> bytes:
        return b"!"

    def reset_request(self) -> bytes:
        return b"\x18"

    def settings_query(self) -> bytes:
        return b"$$\n"

    def buffer_query(self) -> bytes:
        return b"$I\n"

    def modes_query(self) -> bytes:
        return b"$G\n"

    def clear_line(self) -> bytes:
        return b"\n"

    def modal_line(self) -> bytes:
        return " ".join(_MODES).encode() + b"\n"

    def missing_modes(self, state: ParserState) -> tuple[str, ...]:
        return tuple(word for word in _SHOWN_MODES if word not in state.words)

    def marker_line(self) -> bytes:
        return _RELATIVE.encode() + b"\n"

    def marker_stands(self, state: ParserState) -> bool:
        return _RELATIVE in state.words

    def move_line(self, axis: str, coordinate: str, feed: str) -> bytes:
        self.axis_index(axis)
        require_plain_numbers(coordinate, feed)
        return f"G53 G1 {axis}{coordinate} F{feed}\n".encode()

    def sync_line(self) -> bytes:
        return b"G4 P0.01\n"

    def home_line(self) -> bytes:
        return b"$H\n"

    def unlock_line(self) -> bytes:
        return b"$X\n"

    def output_line(self, number: int, on: bool) -> bytes:
        """0 and 1: the outputs that RS-274 (NIST, 3.6) calls flood and mist; the word that ends one ends both."""
        words = {0: b"M8\n", 1: b"M7\n"}
        if number not in words:
            raise InputError(f"output {number} is neither 0 nor 1", "Give 0 (flood) or 1 (mist)", key="gate.output")
        return words[number] if on else b"M9\n"

    def release_line(self) -> bytes:
        return b"$SLP\n"

    def setting_line(self, key: str, text: str) -> bytes:
        if not _SETTING_KEY.fullmatch(key):
            raise InputError(f"{key!r} is not a setting", "Settings are written like $100")
        if not _SETTING_VALUE.fullmatch(text):
            remedy = "Write a decimal number with at most three decimals: only such a value can be read back."
            raise InputError(f"{text!r} cannot be stored", remedy, key=key)
        return f"{key}={text}\n".encode()

    def listed_setting_line(self, key: str, text: str) -> bytes:
        may_be_text = _SETTING_KEY.fullmatch(key) and int(key[1:]) not in _NUMBERS
        if _SETTING_KEY.fullmatch(key) and (_LISTED_TEXT if may_be_text else _LISTED_VALUE).fullmatch(text):
            return f"{key}={text}\n".encode()
        return self.setting_line(key, text)

    def storing_order(self, changes: Mapping[str, str]) -> tuple[str, ...]:
        """Soft limits are switched on after homing, and off before it, which would take them along."""

        def place(key: str) -> int:
            on = changes[key].strip("0.") != ""
            return {_HOMING: 0 if on else 2, _SOFT_LIMITS: 2 if on else 0}.get(key, 3 if self.rescales(key) else 1)

        return tuple(sorted(changes, key=place))

    def rescales(self, key: str) -> bool:
        return key[1:] in {str(100 + index) for index in range(len(_AXES))}

    def may_stay_refused(self, line: bytes) -> bool:
        return line[:1] not in (b"$", b"\n")

    def awaits_reset(self, reply: Reply) -> bool:
        return isinstance(reply, ResetAwaited) or (isinstance(reply, AlarmReport) and reply.code == _UNTIL_RESET)

    def stores(self, line: bytes) -> bool:
        return _STORING.search(line.replace(b" ", b"")) is not None

    def axis_index(self, axis: str) -> int:
        if len(axis) != 1 or axis not in _AXES:
            raise InputError(f"{axis!r} is not an axis letter", f"Use one of {' '.join(_AXES)}", key="axis")
        return _AXES.index(axis)

    def axis_letters(self, count: int) -> str:
        return _AXES[:count]

    def setting_names(self, axis: str) -> SettingNames:
        return self.setting_names_at(self.axis_index(axis))

    def setting_names_at(self, index: int) -> SettingNames:
        return SettingNames(
            steps_per_unit=f"${100 + index}",
            rate=f"${110 + index}",
            acceleration=f"${120 + index}",
            release_delay="$1",
            release_never=255,
            inches="$13",
            soft_limits=_SOFT_LIMITS,
            homing=_HOMING,
            travel=f"${130 + index}",
        )

    def usable_bytes(self, receive_bytes: int) -> int:
        return max(receive_bytes - 1, 1)  # a ring buffer keeps one place free: 127 of 128

    def state_remedy(self, state: AxisState) -> str:
        return _REMEDIES.get(state, "")

    def parse(self, line: bytes) -> Reply:
        try:
            text = line.decode("ascii").strip()
        except UnicodeDecodeError:
            return Unknown(line)
        if text == "ok":
            return Accepted()
        if _GREETING.search(text):
            return Greeting(text)
        for opening, read in _READERS.items():
            if text.startswith(opening):
                return read(text) or Unknown(line)
        return Unknown(line)


def _code(text: str) -> int | None:
    code = text.partition(":")[2]
    return int(code) if re.fullmatch(r"\d{1,3}", code, re.ASCII) else None


def _error(text: str) -> Reply | None:
    code = _code(text)
    return None if code is None else Rejected(code, _ERRORS.get(code, f"error {code}, of unknown meaning"))


def _alarm(text: str) -> Reply:
    code = _code(text)  # an alarm whose number is damaged is still an alarm
    unknown = "alarm of unknown meaning" if code is None else f"alarm {code}, of unknown meaning"
    return AlarmReport(code, unknown if code is None else _ALARMS.get(code, unknown))


def _setting(text: str) -> Reply | None:
    if _START_LINE.fullmatch(text):
        return Message(text)
    match = _SETTING.fullmatch(text)
    if match is None or (int(match[1]) in _NUMBERS and not _LISTED_VALUE.fullmatch(match[2])):
        return None
    return SettingLine(f"${match[1]}", match[2])


def _bracket(text: str) -> Reply | None:
    kind, colon, content = text[1:-1].partition(":")
    if not text.endswith("]") or not kind:
        return None
    if kind == "GC" and colon:
        return ParserState(tuple(content.split()))
    if kind == "OPT" and colon:
        match = _OPTIONS.fullmatch(content)
        return BufferInfo(int(match[1]), int(match[2])) if match else None
    if kind == "AXS" and colon:
        match = _AXIS_LINE.fullmatch(content)
        whole = match is not None and int(match[1]) == len(match[2]) == len(set(match[2]))
        return AxisLetters(match[2]) if match is not None and whole else None
    return ResetAwaited(text[1:-1]) if text[1:-1] == _RESET_AWAITED else Message(text[1:-1])


@lru_cache(maxsize=256)  # an axis that stands says the same again and again
def _status(text: str) -> Reply | None:
    if not text.endswith(">"):
        return None
    word, *parts = text[1:-1].split("|")
    state = _STATES.get(word) or _STATES.get(word.partition(":")[0])
    fields = dict(part.partition(":")[::2] for part in parts)
    if state is None or len(fields) != len(parts) or ("MPos" in fields) == ("WPos" in fields):
        return None
    for name, pattern in _FIELD_FORMS.items():
        if name in fields and not pattern.fullmatch(fields[name]):
            return None
    return StatusReport(
        state=state,
        machine=_positions(fields.get("MPos")),
        work=_positions(fields.get("WPos")),
        offset=_positions(fields.get("WCO")),
        pins=fields.get("Pn", ""),
    )


def _positions(text: str | None) -> tuple[float, ...] | None:
    return None if text is None else tuple(float(number) for number in text.split(","))


_FIELD_FORMS = {"MPos": _POSITIONS, "WPos": _POSITIONS, "WCO": _POSITIONS, "Bf": _COUNTS, "FS": _FEEDS, "F": _FEEDS}
_READERS: dict[str, Callable[[str], Reply | None]] = {
    "error:": _error,
    "ALARM:": _alarm,
    "$": _setting,
    "[": _bracket,
    "<": _status,
}
