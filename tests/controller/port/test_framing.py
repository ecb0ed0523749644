import pytest

from firmware_host.controller.port.framing import MAX_LINE_BYTES, LineFramer

STREAM = b"\r\nhello ['$' for help]\r\nok\r\n<Idle|MPos:0.000,0.000,0.000>\r\nerror:20\r\n"
LINES = (b"hello ['$' for help]", b"ok", b"<Idle|MPos:0.000,0.000,0.000>", b"error:20")


@pytest.mark.parametrize("cut", range(len(STREAM) + 1), ids=lambda cut: f"cut-{cut}")
def test_a_split_at_any_byte_gives_the_same_lines(cut: int) -> None:
    framer = LineFramer()
    assert framer.feed(STREAM[:cut]) + framer.feed(STREAM[cut:]) == LINES


def test_single_bytes_give_the_same_lines() -> None:
    framer = LineFramer()
    lines = [line for byte in STREAM for line in framer.feed(bytes([byte]))]
    assert tuple(lines) == LINES


def test_an_unfinished_line_is_kept_and_can_be_dropped() -> None:
    framer = LineFramer()
    assert framer.feed(b"ok\r\n<Idle|MP") == (b"ok",)
    assert framer.unfinished == b"<Idle|MP"
    assert framer.clear() == b"<Idle|MP"
    assert framer.feed(b"ok\n") == (b"ok",)


@pytest.mark.parametrize("portion", [1, 7, 1000, 5000], ids=lambda portion: f"by-{portion}")
def test_a_line_too_long_is_cut_and_what_ends_it_is_no_line(portion: int) -> None:
    """Noise that happens to end in "ok" must not be taken for an answer."""
    framer = LineFramer()
    data = b"\xff" * (MAX_LINE_BYTES + 1) + b"\xff" * 2000 + b"ok\r\nok\r\n"
    found: list[bytes] = []
    for start in range(0, len(data), portion):
        found += framer.feed(data[start : start + portion])
        assert len(framer.unfinished) <= MAX_LINE_BYTES
    assert found == [b"\xff" * MAX_LINE_BYTES, b"ok"]


def test_noise_without_a_line_end_does_not_pile_up() -> None:
    framer = LineFramer()
    found = [line for _ in range(1000) for line in framer.feed(b"\xff" * 100)]
    assert found == [b"\xff" * MAX_LINE_BYTES]
    assert framer.unfinished == b""
    assert framer.feed(b"\nok\n") == (b"ok",)


def test_a_line_of_the_greatest_length_is_whole() -> None:
    line = b"x" * MAX_LINE_BYTES
    assert LineFramer().feed(line + b"\r\n") == (line,)


def test_after_clearing_the_next_line_counts_whatever_came_before() -> None:
    framer = LineFramer()
    framer.feed(b"\xff" * (2 * MAX_LINE_BYTES))
    assert framer.clear() == b""
    assert framer.feed(b"ok\n") == (b"ok",)
