from __future__ import annotations

from firmware_host.simulator import StatusQueryDevice, StatusQueryVariant
from tests.faults.line.faulty_line import FaultyLine


def test_a_line_without_faults_changes_nothing() -> None:
    plain, wrapped = (StatusQueryDevice(StatusQueryVariant()) for _ in range(2))
    line = FaultyLine(wrapped)
    for device in (plain, line):
        device.receive(b"G0A10\n?", 0.0)
    assert line.next_event_s() == plain.next_event_s()
    assert line.transmit(0.1) == plain.transmit(0.1)
    assert line.moving_at(0.1)
    assert line.transmit(5.0) == plain.transmit(5.0) == b""
    assert line.steps_at("A", 5.0) == plain.steps_at("A", 5.0) == 1000
    assert line.motion_log == plain.motion_log
    line.hardware_reset(6.0)
    assert line.transmit(6.0).endswith(b"['$' for help]\r\n")
    assert line.client_opened(7.0) is line.released_at(7.0) is False


def test_one_lost_answer_leaves_the_others_and_the_motion() -> None:
    answers = iter([True, False, True])
    board = StatusQueryDevice(StatusQueryVariant())
    line = FaultyLine(
        board, to_client=lambda data, _now_s: data if not data.startswith(b"ok") or next(answers) else b""
    )
    line.transmit(0.0)
    for count in range(1, 4):
        line.receive(b"G0A%d\n" % count, float(count))
    assert line.transmit(10.0) == b"ok\r\nok\r\n"
    assert line.steps_at("A", 10.0) == 300


def test_bytes_damaged_on_their_way_to_the_board_are_refused_by_it() -> None:
    line = FaultyLine(
        StatusQueryDevice(StatusQueryVariant()), to_device=lambda data, _now_s: data.replace(b"G", b"\x07")
    )
    line.transmit(0.0)
    line.receive(b"G0A10\n", 1.0)
    assert line.transmit(2.0) == b"error:1\r\n"
    assert line.steps_at("A", 2.0) == 0
