from __future__ import annotations

import re

from hypothesis import example, given, settings
from hypothesis import strategies as st

from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.status_query.recorded import RECORDED
from tests.simulator.bench import Bench

REPORT = re.compile(r"<[A-Z][a-z]+(:\d)?\|[MW]Pos:-?\d+\.\d{3,4}(,-?\d+\.\d{3,4}){3}(\|[A-Za-z]+:[^|<>]+)*>")
ANSWER = re.compile(r"ok|error:\d+")

WORDS = st.sampled_from(
    "G0 G1 G4 G10 G20 G21 G28 G28.1 G53 G54 G55 G80 G90 G91 G92 G92.1 G93 G94 L2 L20 P0 P1 P.01 F100 F9999 A1 A-99999 "
    "X1.5 Y0 S5 M3 M30 A99999999999999999999999999999999999999999 Z1e5 (".split()
)
DOLLARS = st.sampled_from(
    "$ $$ $# $I $G $X $H $C $SLP $RST=$ $J=A5F100 $J=G91A-5F1 $1=0 $3=255 $10=0 $13=1 $20=1 $22=1 $103=0.001 "
    "$103=1000000 $113=1 $123=0.01 $133=0 $= $==1".split()
)
LINES = st.one_of(st.lists(WORDS, max_size=6).map("".join), DOLLARS)
REALTIME = st.sampled_from([b"?", b"!", b"~", b"\x18", b"\x85", b"\x90"])
PIECES = st.one_of(LINES.map(lambda line: line.encode() + b"\n"), REALTIME, st.binary(max_size=20))


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(PIECES, st.floats(0, 3)), max_size=25), st.sampled_from(sorted(RECORDED)))
def test_no_lines_whatever_keep_a_recorded_board_from_answering_once_it_was_reset(
    pieces: list[tuple[bytes, float]], name: str
) -> None:
    device, now_s = StatusQueryDevice(RECORDED[name]), 1.0
    for data, pause_s in pieces:
        device.receive(data, now_s)
        now_s += pause_s
        device.transmit(now_s).decode("ascii")
    device.hardware_reset(now_s)
    device.transmit(now_s + 2.0)
    device.receive(b"?", now_s + 2.0)
    (report,) = device.transmit(now_s + 2.1).decode("ascii").splitlines()
    assert re.fullmatch(r"<(Idle|Alarm)\|[MW]Pos:[-\d.,]+(\|[A-Za-z]+:[^|<>]*)*>", report), report


def answers_a_status(bench: Bench) -> None:
    bench.wait(1.0)
    bench.write("?")
    reports = [line for line in bench.wait(0.1) if line.startswith("<")]
    assert len(reports) == 1
    assert REPORT.fullmatch(reports[0]), reports[0]


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.binary(max_size=300), st.floats(0, 3)), max_size=8))
def test_no_bytes_whatever_keep_the_board_from_answering(chunks: list[tuple[bytes, float]]) -> None:
    bench = Bench()
    for data, pause_s in chunks:
        bench.write(data)
        bench.wait(pause_s)
    answers_a_status(bench)


@settings(max_examples=75, deadline=None)
@given(st.lists(st.tuples(PIECES, st.floats(0, 3)), max_size=25), st.booleans(), st.booleans())
@example([(b"G0A5\n", 0.0), (b"!\x85", 0.0), (b"$J=A5F100\n", 0.001), (b"!", 0.0), (b"~", 1.0)], False, False)
def test_no_lines_whatever_keep_the_board_from_answering(
    pieces: list[tuple[bytes, float]], crashes: bool, homing: bool
) -> None:
    bench = Bench(
        {"$22": float(homing)},
        when_too_fast="crash" if crashes else "lose-time",
        highest_step_rate=5000.0,
        home_switches={"A": 100},
        planner_blocks=2,
    )
    for data, pause_s in pieces:
        bench.write(data)
        bench.wait(pause_s)
    answers_a_status(bench)


@settings(max_examples=37, deadline=None)
@given(st.lists(LINES.filter(lambda line: "$SLP" not in line), min_size=1, max_size=12))
def test_every_line_is_answered_exactly_once(lines: list[str]) -> None:
    bench = Bench({"$103": 10.0, "$113": 60000, "$123": 1e5, "$110": 60000, "$120": 1e5})
    for line in lines:
        said = bench.run(line)
        assert len([text for text in said if ANSWER.fullmatch(text)]) == 1, (line, said)
