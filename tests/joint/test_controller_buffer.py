"""Character counting against boards with tiny buffers: no byte is ever lost, and no line is late for it."""

from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.status_query.sender import CountingSender
from tests.support.bench import bench


@settings(max_examples=15, deadline=None)
@given(
    receive_buffer=st.integers(24, 130),
    blocks=st.integers(1, 4),
    targets=st.lists(st.integers(-900, 900), min_size=1, max_size=25),
    storing=st.booleans(),
)
def test_the_receive_buffer_never_overflows(
    receive_buffer: int, blocks: int, targets: list[int], storing: bool
) -> None:
    b = bench(receive_buffer=receive_buffer, planner_blocks=blocks)
    sender = CountingSender(b.port, StatusQueryDialect(), b.clock, b.trace)
    sender.await_greeting(1.0)
    sender.usable_bytes = receive_buffer - 1
    most = 0

    def count(data: bytes) -> None:
        nonlocal most
        most = max(most, sender.unanswered_bytes)

    b.port.on_write = count
    lines = [f"G1 A{target / 100:.2f} F6000\n".encode() for target in targets]
    if storing:
        lines.insert(len(lines) // 2, b"G10 L2 P2 X5\n")
    exchanges = sender.stream(lines, timeout_s=60.0)
    assert [exchange.line for exchange in exchanges] == lines
    assert most <= receive_buffer - 1
    assert b.device.bytes_lost == 0
    b.run(120.0)
    assert b.steps == targets[-1]


def test_lines_are_sent_ahead_as_far_as_the_buffer_allows() -> None:
    b = bench(receive_buffer=64, planner_blocks=2)
    sender = CountingSender(b.port, StatusQueryDialect(), b.clock, b.trace)
    sender.await_greeting(1.0)
    sender.usable_bytes = 63
    counts: list[int] = []
    b.port.on_write = lambda data: counts.append(sender.unanswered_bytes)
    sender.stream([b"G1 A1.00 F600\n", b"G1 A2.00 F600\n"] * 6, timeout_s=60.0)
    assert max(counts) == 56  # four lines of 14 bytes; a fifth would make 70


def test_one_byte_more_than_the_buffer_takes_is_lost() -> None:
    """The control experiment: what character counting protects from is really there."""
    b = bench(receive_buffer=64, planner_blocks=2)
    sender = CountingSender(b.port, StatusQueryDialect(), b.clock, b.trace)
    sender.await_greeting(1.0)
    for _ in range(20):
        b.port.write(b"G1 A1.00 F600\nG1 A2.00 F600\n")
    assert b.device.bytes_lost > 0


def test_the_size_of_the_buffer_is_learnt_when_opening() -> None:
    for receive_buffer in (128, 256):
        b = bench(receive_buffer=receive_buffer)
        assert b.open().sender.usable_bytes == receive_buffer - 1
