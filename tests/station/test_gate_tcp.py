"""The gate `tcp` against a client of the test's own, over loopback; the gate's time is virtual."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.errors import GateError, GateTimeoutError
from firmware_host.station.gate import GateContext, PassRequest, PassState
from firmware_host.station.gate_tcp import TcpGate
from firmware_host.station.json_lines import LONGEST_LINE
from tests.support.station_bench import ScriptedOperator

REQUEST = PassRequest(segment=2, segments=6, number=1, passes=2, angle_deg=22.9125)
TOKEN = "0123456789abcdef"
_REAL_WAIT_S = 5.0


class Client:
    """The marking side: sends objects, reads objects; every wait is bounded."""

    def __init__(self, port: int) -> None:
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=_REAL_WAIT_S)
        self._file = self.socket.makefile("rb")

    def say(self, **message: Any) -> None:
        self.raw(json.dumps(message).encode() + b"\n")

    def raw(self, data: bytes) -> None:
        self.socket.sendall(data)

    def hear(self) -> dict[str, Any]:
        line = self._file.readline()
        assert line, "the gate closed the connection"
        message: dict[str, Any] = json.loads(line)
        return message

    def ended(self) -> bool:
        return self._file.readline() == b""

    def close(self) -> None:
        self._file.close()
        self.socket.close()


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock()


@pytest.fixture
def gate(clock: VirtualClock, tmp_path: Path) -> Iterator[TcpGate]:
    context = GateContext(clock, ScriptedOperator(clock), job="scale", folder=tmp_path)
    gate = TcpGate(context, timeout_s=30, connect_s=10, make_token=lambda: TOKEN)
    yield gate
    gate.release()


@pytest.fixture
def client(gate: TcpGate) -> Iterator[Client]:
    client = Client(gate.port)
    yield client
    client.close()


def polled(gate: TcpGate, wanted: PassState) -> PassState:
    """Poll until the gate says `wanted` or the bytes on their way have surely come."""
    for _ in range(20_000):
        if (state := gate.poll()) is wanted:
            break
    return state


def polled_error(gate: TcpGate) -> None:
    for _ in range(20_000):
        gate.poll()


def hello(gate: TcpGate, client: Client) -> None:
    client.say(type="hello", token=TOKEN)
    for _ in range(20_000):
        gate.wants_stop()
    assert client.hear() == {"type": "hello", "protocol": 1, "job": "scale"}


def test_a_pass_is_told_and_answered(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    gate.open(REQUEST)
    ready = client.hear()
    assert ready == {
        "type": "ready", "id": 1, "segment": 2, "segments": 6, "pass": 1, "passes": 2, "angle_deg": 22.9125,
    }  # fmt: skip
    assert gate.poll() is PassState.MARKING
    client.say(type="done", id=1)
    assert polled(gate, PassState.DONE) is PassState.DONE
    gate.close()
    assert client.hear() == {"type": "closed", "id": 1}


def test_nothing_is_told_before_the_gate_opens(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    client.say(type="status")
    for _ in range(20_000):
        gate.wants_stop()
    assert client.hear() == {"type": "status", "gate": "closed", "id": 0}


def test_done_said_before_the_gate_was_open_says_nothing_of_the_next_pass(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    client.say(type="done", id=1)
    for _ in range(20_000):
        gate.wants_stop()
    assert client.hear()["type"] == "error"
    gate.open(REQUEST)
    assert client.hear()["type"] == "ready"
    assert gate.poll() is PassState.MARKING


def test_done_for_an_earlier_pass_is_refused(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    gate.open(REQUEST)
    gate.close()
    gate.open(REQUEST)
    assert [client.hear()["type"] for _ in range(3)] == ["ready", "closed", "ready"]
    client.say(type="done", id=1)
    assert polled(gate, PassState.DONE) is PassState.MARKING
    client.say(type="done", id=2)
    assert polled(gate, PassState.DONE) is PassState.DONE


@pytest.mark.parametrize("token", ["", "0123456789abcdeF", 7, None], ids=["empty", "one-off", "number", "none"])
def test_a_wrong_token_is_turned_away(gate: TcpGate, client: Client, token: object) -> None:
    client.say(type="hello", token=token)
    for _ in range(20_000):
        gate.wants_stop()
    assert client.hear() == {"type": "error", "reason": "wrong token"}
    assert client.ended()


def test_without_a_hello_nothing_is_obeyed(gate: TcpGate, client: Client) -> None:
    gate.open(REQUEST)
    client.say(type="hold")
    assert polled(gate, PassState.STOP) is PassState.MARKING
    assert client.hear()["type"] == "error"


def test_hold_stops_the_run_even_while_the_axis_moves(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    client.say(type="hold")
    assert any(gate.wants_stop() for _ in range(20_000))


def test_a_failed_pass_is_an_error_with_the_reason(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    gate.open(REQUEST)
    client.say(type="failed", id=1, reason="no artwork")
    with pytest.raises(GateError, match="no artwork"):
        polled_error(gate)


def test_a_marking_side_that_leaves_in_its_pass_is_an_error(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    gate.open(REQUEST)
    client.close()
    with pytest.raises(GateError, match="went away"):
        polled_error(gate)


def test_done_and_gone_at_once_is_done(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    gate.open(REQUEST)
    client.say(type="done", id=1)
    client.close()
    assert polled(gate, PassState.DONE) is PassState.DONE


def test_nobody_there_is_a_timeout_after_the_connect_time(gate: TcpGate, clock: VirtualClock) -> None:
    gate.open(REQUEST)
    clock.sleep(9.9)
    assert gate.poll() is PassState.MARKING
    clock.sleep(0.2)
    with pytest.raises(GateTimeoutError, match="no marking side said hello within 10 s"):
        gate.poll()


def test_a_pass_that_takes_too_long_is_a_timeout(gate: TcpGate, client: Client, clock: VirtualClock) -> None:
    hello(gate, client)
    gate.open(REQUEST)
    clock.sleep(30.1)
    with pytest.raises(GateTimeoutError, match="within 30 s"):
        gate.poll()


def test_a_second_marking_side_is_turned_away(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    second = Client(gate.port)
    for _ in range(20_000):
        gate.wants_stop()
    assert second.hear() == {"type": "error", "reason": "somebody else is connected"}
    second.close()
    gate.open(REQUEST)
    assert client.hear()["type"] == "ready"


@pytest.mark.parametrize(
    "data",
    [b"x" * (2 * LONGEST_LINE), b"[]\n", b"\xff\xfe\n", b"[" * 4000 + b"\n", b'"hello"\n'],
    ids=["endless line", "a list", "no text", "deep", "a string"],
)
def test_what_is_no_json_object_ends_the_connection(gate: TcpGate, client: Client, data: bytes) -> None:
    client.raw(data)
    for _ in range(20_000):
        gate.wants_stop()
    assert client.hear()["type"] == "error"


def test_port_and_token_are_for_the_owner_only(gate: TcpGate, tmp_path: Path) -> None:
    path = tmp_path / "gate.json"
    assert json.loads(path.read_text()) == {"host": "127.0.0.1", "port": gate.port, "token": TOKEN}
    assert path.stat().st_mode & 0o077 == 0


def test_it_listens_on_loopback_only(gate: TcpGate) -> None:
    assert gate._listener.getsockname()[0] == "127.0.0.1"


def test_release_twice_is_harmless_and_frees_the_port(gate: TcpGate) -> None:
    gate.release()
    gate.release()
    with pytest.raises(ConnectionRefusedError, match="refused"):
        socket.create_connection(("127.0.0.1", gate.port), timeout=_REAL_WAIT_S)
