"""No bytes whatever raise or keep the board from answering."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.numbered_line.recorded import RECORDED
from tests.simulator.numbered_line.bench import numbered
from tests.support.board_faults import counter_at
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS, rotary_axis, single_differences

REPORT = re.compile(r"X:-?\d+\.\d+( [YZABCE]:-?\d+\.\d+)+( Count X:-?\d+( [YZABC]:-?\d+)+)?")

WORDS = st.sampled_from(
    "G0 G1 G4 G20 G21 G28 G90 G91 G92 M17 M18 M42 M82 M84 M92 M110 M114 M115 M201 M203 M204 M205 M400 M410 M500 M501 "
    "M502 M503 M112 M106 M202 M207 M211 X-5 X900 "
    "A1 A-99999 A X1.5 Y0 E5 F100 F0 F-1 F9999 P0 P100 P4 S0 S5 S-1 T100 N5 A1e9 A3e38 A1.2.3 A+ "
    "A99999999999999999999999999999999999999 A999999999999999999999999999999999999999999 A0.00001 ; *5".split()
)
LINES = st.lists(WORDS, max_size=5).map(" ".join)
NUMBERS = st.integers(-1, 30)
PIECES = st.one_of(
    st.tuples(NUMBERS, LINES).map(lambda pair: numbered(*pair).encode() + b"\n"),
    LINES.map(lambda line: line.encode() + b"\n"),
    st.binary(max_size=20),
)
ALL = {**NUMBERED_LINE_BOARDS, **single_differences()}
FUZZED = {**ALL, **RECORDED}


def plain_text(device: NumberedLineDevice, now_s: float) -> None:
    """What a board says is plain text, but for the bytes that one repeats."""
    said = device.transmit(now_s)
    if device.variant.speech != "echoing":
        said.decode("ascii")


def answers_after_a_reset(device: NumberedLineDevice, now_s: float) -> None:
    device.hardware_reset(now_s)
    now_s += device.variant.boot_loss_s
    device.transmit(now_s)
    device.receive(numbered(1, "M114").encode() + b"\n", now_s)
    said = device.transmit(now_s + 0.2).decode("ascii").splitlines()
    assert len([line for line in said if line.startswith("ok")]) == 1, said
    assert len([line for line in said if REPORT.fullmatch(line)]) == 1, said


@settings(max_examples=37, deadline=None)
@given(st.lists(st.tuples(st.binary(max_size=300), st.floats(0, 3)), max_size=8), st.sampled_from(sorted(FUZZED)))
def test_no_bytes_whatever_keep_the_board_from_answering(chunks: list[tuple[bytes, float]], name: str) -> None:
    device, now_s = NumberedLineDevice(FUZZED[name]), 0.0
    for data, pause_s in chunks:
        device.receive(data, now_s)
        now_s += pause_s
        plain_text(device, now_s)
    answers_after_a_reset(device, now_s)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(PIECES, st.floats(0, 3)), max_size=25), st.sampled_from(sorted(FUZZED)))
@example([(b"G0A3e38\n", 0.0), (b"G91\nG0A99999999999999999999999999999999999999\n", 1.0), (b"G92\n", 1.0)], "plain")
def test_no_lines_whatever_keep_the_board_from_answering(pieces: list[tuple[bytes, float]], name: str) -> None:
    device, now_s = NumberedLineDevice(FUZZED[name]), 2.0
    device.transmit(now_s)
    for data, pause_s in pieces:
        device.receive(data, now_s)
        now_s += pause_s
        plain_text(device, now_s)
        assert device.next_event_s() is None or device.next_event_s() >= now_s
    answers_after_a_reset(device, now_s)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(LINES.filter(lambda line: line and not re.match(r"[;*]|.*M(112|110)|.*\*", line)), min_size=1, max_size=8)
)
def test_every_line_in_order_is_answered_with_one_ok(lines: list[str]) -> None:
    patient = replace(
        NUMBERED_LINE_BOARDS["small"], busy_every_s=None
    )  # a move may take 1e30 s: no keep-alive all that time
    device, now_s = NumberedLineDevice(patient), 1.0
    device.transmit(now_s)
    for number, words in enumerate(lines, start=1):
        device.receive(numbered(number, words).encode() + b"\n", now_s)
        said = b""
        while (event_s := device.next_event_s()) is not None and b"ok" not in said:
            now_s = max(now_s, event_s)
            said += device.transmit(now_s)
        assert said.splitlines().count(b"ok") == 1, (words, said)


@pytest.mark.parametrize("name", sorted(ALL))
def test_every_variant_moves_to_the_step_and_ends_a_line_behind_a_sync_only_when_it_stands(name: str) -> None:
    variant = ALL[name]
    device, now_s = NumberedLineDevice(variant), variant.boot_loss_s
    axis = rotary_axis(variant)
    device.transmit(now_s)
    for number, words in enumerate(("M17", f"G1 {axis}7.5 F600", "M400", "G90"), start=1):
        device.receive(numbered(number, words).encode() + b"\n", now_s)
        said = b""
        while b"ok" not in said:
            event_s = device.next_event_s()
            assert event_s is not None, (words, said)
            now_s = max(now_s, event_s)
            said += device.transmit(now_s)
    assert not device.moving_at(now_s)
    assert not device.released_at(now_s)
    assert counter_at(device, axis, now_s) == 750
    assert abs(device.steps_at(axis, now_s)) == 750
