import pytest

from firmware_host.controller.framing import MAX_LINE_BYTES, LineFramer

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


def test_noise_without_a_line_end_is_handed_out_and_does_not_pile_up() -> None:
    framer = LineFramer()
    noise = b"\xff" * (MAX_LINE_BYTES + 1)
    assert framer.feed(noise) == (noise,)
    assert framer.unfinished == b""
