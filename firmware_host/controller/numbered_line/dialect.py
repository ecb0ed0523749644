"""The dialect `numbered-line`: every literal of its wire format, and nothing else.

Source: the wire description of this family, by what its boards do; what is marked (m) is from memory.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import reduce
from operator import xor
from typing import ClassVar

from firmware_host.controller.dialect import Capabilities, require_plain_numbers
from firmware_host.controller.numbered_line.base import NumberedDialect
from firmware_host.controller.reply import (
    Accepted,
    AlarmReport,
    AxisState,
    Busy,
    Complaint,
    Damaged,
    Greeting,
    Identity,
    Message,
    RateUnit,
    Repeated,
    Reply,
    Resend,
    SettingGroup,
    SettingLine,
    Skipped,
    StartRule,
    StatusReport,
    StepCounts,
    TravelEnds,
    TravelKept,
    Unknown,
    UnknownWord,
    Waiting,
)
from firmware_host.controller.stored_settings import SettingNames
from firmware_host.errors import InputError

_AXES = "XYZABCUVW"
_PROBE_NUMBER = 99_999_999
"""Larger than any line count: the controller asks for a line of this number again and never carries it out."""
_SETTING_KEY = re.compile(r"(M92|M203|M201|M202|M204|M207) ([A-Z])", re.ASCII)
_SETTING_VALUE = re.compile(r"\d{1,9}(?:\.\d{1,4})?", re.ASCII)  # as many as the most talkative boards print
_ACCEPTED = re.compile(r"ok(?: N?(\d{1,9}))?(?: P(\d{1,4}))?(?: B\d{1,4})?", re.ASCII)
_RESEND = re.compile(r"(?:Resend|rs):? ?N?(\d{1,9})", re.ASCII)  # the short form: (m)
_SKIPPED = re.compile(r"skip (\d{1,9})", re.ASCII)
_NUMBER = r"-?\d{1,9}(?:\.\d{1,6})?"
_POSITION = re.compile(rf"((?:[A-Z]: ?{_NUMBER} +){{1,9}})Count((?: +[A-Z]: ?-?\d{{1,10}}){{1,9}})\s*", re.ASCII)
_PLAIN_POSITION = re.compile(r"(?:[A-Z]: ?-?\d{1,9}\.\d{2,6} +){2,9}[A-Z]: ?-?\d{1,9}\.\d{2,6}", re.ASCII)
_STEPS = re.compile(r"[A-Z]S:-?\d{1,10}(?: [A-Z]S:-?\d{1,10}){0,8}", re.ASCII)
_STEP = re.compile(r"([A-Z])S:(-?\d{1,10})", re.ASCII)
_PLACE = re.compile(rf"([A-Z]): ?({_NUMBER})", re.ASCII)
_SETTINGS = re.compile(rf"(M92|M203|M201|M204)((?: +[A-Z]{_NUMBER}){{1,12}})\s*(?:;.*)?", re.ASCII)
_WORD = re.compile(rf"([A-Z])({_NUMBER})", re.ASCII)
_LISTED = re.compile(rf"EPR:\d {{1,3}}\d{{1,5}} +({_NUMBER}) +([A-Z])[ -](?:axis )?(.{{1,60}})", re.ASCII)
_LISTED_JUMP = re.compile(rf"EPR:\d {{1,3}}\d{{1,5}} +({_NUMBER}) +Max\. (Z-)?jerk \[mm/s\]", re.ASCII)
_LISTED_KINDS = {"steps per": "M92", "max. feedrate": "M203", "travel acceleration": "M202", "acceleration": "M201"}
_REPEATED = re.compile(r"Got:(?:N(\d{1,9}) ?)?[ -~]*", re.ASCII)
_UNKNOWN_WORD = re.compile(r"unknown command: ?(?:N(\d{1,9}) )?.*", re.ASCII | re.IGNORECASE)
_TRANSFER_WORDS = ("checksum", "line number", "expected line", "last line", "out of order")
_ADVANCED = re.compile(rf"M205((?: +[A-Z]{_NUMBER}){{1,12}})\s*(?:;.*)?", re.ASCII)
_TRAVEL_KEPT = re.compile(r"M211 S([01])\b.*", re.ASCII)
_TRAVEL_ENDS = re.compile(rf"Min:((?: +[A-Z]{_NUMBER})+) +Max:((?: +[A-Z]{_NUMBER})+)", re.ASCII)
_REMARKS = ("Info:", "X_OFFSET:", "Set output:", "Fanspeed:", "Detected EEPROM", "Free RAM:", "SelectExtruder:",
            "FlowMultiply:", "Printed filament:", "PrinterMode:", "Z jerk was too low")  # fmt: skip
_HALT_WORDS = ("halt", "kill", "stopped", "reset required")


class NumberedLineDialect(NumberedDialect):
    """Takes lines with a number and a checksum; says where it is, and after how many steps, when asked by a line."""

    name: ClassVar[str] = "numbered-line"
    alarm_remedy: ClassVar[str] = "Find out why; switch it off and on, then home it or set zero anew"
    max_line_bytes: ClassVar[int] = 72  # (m) of 96 that the smallest boards take, less number and checksum
    position_decimals: ClassVar[int] = 2
    capabilities: ClassVar[Capabilities] = Capabilities(
        tells_state=False,
        counts_steps=True,
        stop_keeps_position=True,
        in_pieces=True,
    )

    def probe(self) -> bytes:
        return self.numbered(_PROBE_NUMBER, self.position_query())

    def numbered(self, number: int, line: bytes) -> bytes:
        text = b"N%d %s" % (number, line.rstrip(b"\n"))
        return b"%s*%d\n" % (text, reduce(xor, text))

    def count_from(self, number: int) -> bytes:
        return self.numbered(number, b"M110 N%d\n" % number)

    def identity_query(self) -> bytes:
        return b"M115\n"

    def position_query(self) -> bytes:
        return b"M114\n"

    def steps_query(self) -> bytes:
        return b"M114 S1\n"

    def target_of(self, line: bytes, axis: str) -> float | None:
        match = re.match(rb"G1 %s(-?[\d.]+) " % axis.encode(), line)
        return float(match[1]) if match else None

    def travel_query(self) -> bytes:
        return b"M211\n"

    def settings_queries(self) -> tuple[bytes, ...]:
        return (b"M503\n", b"M205\n")

    def lists_stored(self, query: bytes) -> bool:
        return query == b"M205\n"

    def takes_rates_as_listed(self, query: bytes) -> bool:
        return query != b"M205\n"

    def ready_lines(self) -> tuple[bytes, ...]:
        return (b"G21\n", b"G90\n", b"M17\n", b"M84 S0\n")

    def move_line(self, axis: str, coordinate: str, feed: str) -> bytes:
        _require_axis(axis)
        require_plain_numbers(coordinate, feed)
        return f"G1 {axis}{coordinate} F{feed}\n".encode()

    def sync_line(self) -> bytes:
        return b"M400\n"

    def output_line(self, number: int, on: bool) -> bytes:
        if not 0 <= number <= 255:
            raise InputError(f"output {number} is not a pin", "Give a pin's number, 0 to 255", key="gate.output")
        return b"M42 P%d S%d\n" % (number, 255 if on else 0)

    def release_line(self) -> bytes:
        return b"M84\n"

    def stop_line(self) -> bytes:
        return b"M410\n"

    def halt_line(self) -> bytes:
        return b"M112\n"

    def home_line(self, axis: str) -> bytes:
        return f"G28 {_require_axis(axis)}\n".encode()

    def place_line(self, axis: str, coordinate: str) -> bytes:
        _require_axis(axis)
        require_plain_numbers(coordinate, "1")
        return f"G92 {axis}{coordinate}\n".encode()

    def store_line(self) -> bytes:
        return b"M500\n"

    def load_line(self) -> bytes:
        return b"M501\n"

    def setting_line(self, key: str, text: str) -> bytes:
        match = _SETTING_KEY.fullmatch(key)
        if match is None:
            raise InputError(f"{key!r} is not a setting", "Settings are written like M92 A")
        if not _SETTING_VALUE.fullmatch(text) or not float(text) > 0:
            remedy = "Write a decimal number above 0 with at most four decimals."
            raise InputError(f"{text!r} cannot be stored", remedy, key=key)
        return f"{match[1]} {match[2]}{text}\n".encode()

    def rescales(self, key: str) -> bool:
        return self.scaled_axis(key) != ""

    def scaled_axis(self, key: str) -> str:
        match = _SETTING_KEY.fullmatch(key)
        return match[2] if match and match[1] == "M92" and match[2] in _AXES else ""  # not that of a feeder

    def setting_names(self, axis: str) -> SettingNames:
        _require_axis(axis)
        return SettingNames(
            steps_per_unit=f"M92 {axis}",
            rate=f"M203 {axis}",
            acceleration=f"M201 {axis}",
            general_accelerations=("M204 T", "M204 S", "M204 P"),
        )

    def state_remedy(self, state: AxisState) -> str:
        return "reset it, or switch it off and on, and set zero anew" if state is AxisState.FAULTED else ""

    def parse(self, line: bytes) -> Reply:
        try:
            text = line.decode("ascii").strip()
        except UnicodeDecodeError:
            return Unknown(line)
        if text == "start":
            return Greeting(text)
        if text == "wait":
            return Waiting()
        if text == "!!":
            return AlarmReport(None, "halted")
        for opening, read in _READERS.items():
            if text.startswith(opening):
                return read(text) or Unknown(line)
        return _position(text) or _plain_position(text) or _step_counts(text) or _told_setting(text) or Unknown(line)


def _require_axis(axis: str) -> str:
    if len(axis) != 1 or axis not in _AXES:
        raise InputError(f"{axis!r} is not an axis letter", f"Use one of {' '.join(_AXES)}", key="axis")
    return axis


def _accepted(text: str) -> Reply | None:
    match = _ACCEPTED.fullmatch(text)
    if match is None:
        return None
    number, blocks = (None if group is None else int(group) for group in match.groups())
    return Accepted(number, blocks)


def _resend(text: str) -> Reply | None:
    match = _RESEND.fullmatch(text)
    return Resend(int(match[1])) if match else None


def _skipped(text: str) -> Reply | None:
    match = _SKIPPED.fullmatch(text)
    return Skipped(int(match[1])) if match else None


def _error(text: str) -> Reply:
    said = text.partition(":")[2].strip().lower()
    if any(word in said for word in _HALT_WORDS):
        return AlarmReport(None, "halted")
    if any(word in said for word in _TRANSFER_WORDS):
        return Damaged()
    return Complaint("it says that it could not carry it out")


def _fatal(text: str) -> Reply:
    return AlarmReport(None, "halted by an error of its own")


def _echo(text: str) -> Reply:
    said = text.partition(":")[2].strip()
    if said.startswith("busy:"):
        return Busy()
    if unknown := _unknown_word(said):
        return unknown
    if said.startswith(";"):
        remark = said.lower()
        if "rate" in remark and "units/" in remark:
            return RateUnit("units/s" in remark)
        return Message(said)
    return _told_setting(said) or Message(said)


def _unknown_word(text: str) -> Reply | None:
    match = _UNKNOWN_WORD.fullmatch(text)
    return UnknownWord(number=None if match[1] is None else int(match[1])) if match else None


def _repeated(text: str) -> Reply | None:
    match = _REPEATED.fullmatch(text)
    return Repeated(None if match[1] is None else int(match[1])) if match else None


def _told_setting(text: str) -> Reply | None:
    """Settings, what a start obeys, or how far the axes may travel."""
    if advanced := _ADVANCED.fullmatch(text):
        words = dict(_WORD.findall(advanced[1]))
        return StartRule({} if "J" in words else {axis: words[axis] for axis in _AXES if axis in words})
    if kept := _TRAVEL_KEPT.fullmatch(text):
        return TravelKept(kept[1] == "1")
    if ends := _TRAVEL_ENDS.fullmatch(text):
        lowest, highest = ({axis: float(end) for axis, end in _WORD.findall(part)} for part in ends.groups())
        return TravelEnds(lowest, highest)
    return _settings(text)


def _identity(text: str) -> Reply:
    return Identity()


def _capability(text: str) -> Reply:
    return Message(text)


def _settings(text: str) -> Reply | None:
    match = _SETTINGS.fullmatch(text)
    if match is None:
        return None
    words = dict(_WORD.findall(match[2]))
    general = match[1] == "M204"
    if (general and not words.keys() <= set("PRTS")) or (not general and "T" in words):
        return Message(text)  # a heater's constants; or settings of one tool of several (m)
    return SettingGroup(tuple(SettingLine(f"{match[1]} {letter}", value) for letter, value in words.items()))


def _listed(text: str) -> Reply:
    if jump := _LISTED_JUMP.fullmatch(text):
        return SettingGroup((SettingLine("M207 Z" if jump[2] else "M207 X", jump[1]),))
    match = _LISTED.fullmatch(text)
    if match is None:
        return Message(text)
    what = match[3].lower()
    if what.startswith("min pos"):
        return TravelEnds(lowest={match[2]: float(match[1])})
    if what.startswith("max length"):
        return TravelEnds(lengths={match[2]: float(match[1])})
    code = next((code for opening, code in _LISTED_KINDS.items() if what.startswith(opening)), None)
    if code is None:
        return Message(text)
    per_s = "/s]" in what if code == "M203" and "/" in what else None
    return SettingGroup((SettingLine(f"{code} {match[2]}", match[1]),), per_s)


def _plain_position(text: str) -> Reply | None:
    """A place without steps: at least three axes, each with its decimals, or it could be a piece of a longer line."""
    places = _PLACE.findall(text) if _PLAIN_POSITION.fullmatch(text) else []
    if not places or len(dict(places)) != len(places):
        return None
    machine = tuple(float(value) for _, value in places)
    return StatusReport(AxisState.READY, machine, letters="".join(letter for letter, _ in places))


def _step_counts(text: str) -> Reply | None:
    counts = _STEP.findall(text) if _STEPS.fullmatch(text) else []
    if not counts or len(dict(counts)) != len(counts):
        return None
    return StepCounts({letter: int(value) for letter, value in counts})


def _position(text: str) -> Reply | None:
    match = _POSITION.fullmatch(text)
    if match is None:
        return None
    places, counts = _PLACE.findall(match[1]), _PLACE.findall(match[2])
    if len(dict(places)) != len(places) or len(dict(counts)) != len(counts):
        return None
    return StatusReport(
        state=AxisState.READY,  # the controller class knows better: this dialect has no word for it
        machine=tuple(float(value) for _, value in places),
        letters="".join(letter for letter, _ in places),
        counts={letter: int(value) for letter, value in counts},
    )


_READERS: dict[str, Callable[[str], Reply | None]] = {
    "ok": _accepted,
    "Resend": _resend,
    "rs": _resend,
    "skip": _skipped,
    "Error:": _error,
    "fatal:": _fatal,
    "echo:": _echo,
    "busy:": lambda text: Busy(),
    "FIRMWARE_NAME:": _identity,
    "Cap:": _capability,
    "EPR:": _listed,
    "Got:": _repeated,
    "Unknown command:": _unknown_word,
    **dict.fromkeys(_REMARKS, Message),
}
