"""The gate `tcp` against a client of the test's own, over loopback; the gate's time is virtual."""

from __future__ import annotations

import hmac
import json
import socket
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.errors import GateError, GateTimeoutError
from firmware_host.station.gates import tcp_door as gate_tcp_door
from firmware_host.station.gates.gate import GateContext, PartContext, PassRequest, PassState
from firmware_host.station.gates.json_lines import LONGEST_LINE
from firmware_host.station.gates.tcp import TcpGate
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
    gate = TcpGate(context, timeout_s=30, connect_s=10, make_token=lambda: TOKEN, tokens=tmp_path / "own" / "gates")
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


def attended(gate: TcpGate) -> None:
    """Let the gate take in what is surely there by now."""
    for _ in range(20_000):
        gate.wants_stop()


def polled_error(gate: TcpGate) -> None:
    for _ in range(20_000):
        gate.poll()


def hello(gate: TcpGate, client: Client) -> None:
    client.say(type="hello", token=TOKEN)
    attended(gate)
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


def test_the_marking_side_is_told_which_part_of_a_batch(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    gate.open(replace(REQUEST, part=PartContext(3, 24, "A-103", "For Ada", {"Ring size": "56"})))
    ready = client.hear()
    assert ready["type"] == "ready"
    columns = {"Ring size": "56"}
    assert ready["part"] == {"number": 3, "of": 24, "serial": "A-103", "text": "For Ada", "columns": columns}


def test_nothing_is_told_before_the_gate_opens(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    client.say(type="status")
    attended(gate)
    assert client.hear() == {"type": "status", "gate": "closed", "id": 0}


def test_done_said_before_the_gate_was_open_says_nothing_of_the_next_pass(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    client.say(type="done", id=1)
    attended(gate)
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


@pytest.mark.parametrize(
    "token",
    ["", "0123456789abcdeF", 7, None, [], "\ud800"],
    ids=["empty", "one-off", "number", "none", "list", "half a pair"],
)
def test_a_wrong_token_is_turned_away(gate: TcpGate, client: Client, token: object) -> None:
    client.say(type="hello", token=token)
    attended(gate)
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
    assert [client.hear()["type"] for _ in range(2)] == ["ready", "closed"]  # closed before it was told


def test_a_second_marking_side_is_turned_away(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    second = Client(gate.port)
    attended(gate)
    assert second.hear() == {"type": "error", "reason": "somebody else is connected"}
    second.close()
    gate.open(REQUEST)
    assert client.hear()["type"] == "ready"


@pytest.mark.parametrize(
    "data",
    [
        b"x" * (2 * LONGEST_LINE),
        b'{"type": "hello", "token": "' + TOKEN.encode() + b'"' + b" " * LONGEST_LINE + b"}\n",
        b"[]\n",
        b"\xff\xfe\n",
        b"[" * 4000 + b"\n",
        b'"hello"\n',
        b"7" * 4000 + b"\n",
    ],
    ids=["endless line", "a hello too long", "a list", "no text", "deep", "a string", "a number"],
)
def test_what_is_no_json_object_ends_the_connection(gate: TcpGate, client: Client, data: bytes) -> None:
    client.raw(data)
    attended(gate)
    assert client.hear()["type"] == "error"


def test_a_line_of_4096_bytes_is_still_taken(gate: TcpGate, client: Client) -> None:
    said = json.dumps({"type": "hello", "token": TOKEN}).encode()
    client.raw(said[:-1] + b" " * (4096 - len(said)) + b"}\n")
    attended(gate)
    assert client.hear()["type"] == "hello"


# --- who keeps the door --------------------------------------------------------------------------------------------


def test_callers_who_say_nothing_do_not_keep_the_marking_side_out(gate: TcpGate) -> None:
    idle: list[Client] = []
    for _ in range(20):
        idle.append(Client(gate.port))
        gate.wants_stop()
    client = Client(gate.port)
    hello(gate, client)
    gate.open(REQUEST)
    assert client.hear()["type"] == "ready"
    assert idle[0].hear() == {"type": "error", "reason": "too many connections at once"}
    for one in [*idle, client]:
        one.close()


def test_a_caller_who_says_no_hello_in_time_is_cut_off_and_no_caller_is_the_marking_side(
    gate: TcpGate, client: Client, clock: VirtualClock
) -> None:
    attended(gate)
    gate.open(REQUEST)
    clock.sleep(5.1)
    assert polled(gate, PassState.DONE) is PassState.MARKING  # its end is not the end of the pass
    assert client.hear() == {"type": "error", "reason": "say hello with the token within 5 s"}
    assert client.ended()


def test_a_second_hello_does_not_disturb_the_pass(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    gate.open(REQUEST)
    client.say(type="hello", token="wrong")
    client.say(type="done", id=1)
    assert polled(gate, PassState.DONE) is PassState.DONE
    assert [client.hear()["type"] for _ in range(2)] == ["ready", "error"]


@pytest.mark.some(4)
@pytest.mark.parametrize("said", [True, 1.0, "1", [1], None], ids=["true", "1.0", "text", "list", "none"])
@pytest.mark.parametrize("kind", ["done", "failed"])
def test_only_the_number_itself_names_the_pass(gate: TcpGate, client: Client, kind: str, said: object) -> None:
    hello(gate, client)
    gate.open(REQUEST)
    client.say(type=kind, id=said)
    assert polled(gate, PassState.DONE) is PassState.MARKING
    assert [client.hear()["type"] for _ in range(2)] == ["ready", "error"]


@pytest.mark.parametrize(
    "reason", ["red\x1b[31m\nerror: all is well\ud800", {"a": 1}, None], ids=["control", "object", "none"]
)
def test_the_reason_of_a_failed_pass_is_one_harmless_line(gate: TcpGate, client: Client, reason: object) -> None:
    hello(gate, client)
    gate.open(REQUEST)
    client.say(type="failed", id=1, reason=reason)
    with pytest.raises(GateError, match="the marking side says the pass failed") as caught:
        polled_error(gate)
    assert str(caught.value).isprintable()
    assert [client.hear()["type"] for _ in range(2)] == ["ready", "closed"]  # closed before it was told


# --- the end of the run --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("outcome", ["done", "stopped", "failed"])
def test_bye_with_the_outcome_is_the_last_word(gate: TcpGate, client: Client, outcome: str) -> None:
    hello(gate, client)
    gate.open(REQUEST)
    gate.ended(outcome)
    client.raw(b'{"type": "status"}\n' * 100)  # not read any more: it must not reset the connection over the bye
    gate.release()
    assert [client.hear()["type"] for _ in range(2)] == ["ready", "closed"]
    assert client.hear() == {"type": "bye", "outcome": outcome}
    assert client.ended()


def test_a_run_that_never_told_its_end_has_failed(gate: TcpGate, client: Client) -> None:
    hello(gate, client)
    gate.release()
    assert client.hear() == {"type": "bye", "outcome": "failed"}


def test_a_caller_who_never_said_hello_hears_no_bye(gate: TcpGate, client: Client) -> None:
    attended(gate)
    gate.release()
    assert client.ended()


def test_a_file_of_the_run_tells_the_port_and_where_the_token_stands(gate: TcpGate, tmp_path: Path) -> None:
    told = json.loads((tmp_path / "gate.json").read_text("utf-8"))
    token_file = Path(told.pop("token_file"))
    assert told == {"host": "127.0.0.1", "port": gate.port}
    assert token_file.parent == tmp_path / "own" / "gates"
    assert token_file.read_text("utf-8") == f"{TOKEN}\n"
    assert TOKEN not in (tmp_path / "gate.json").read_text("utf-8")
    gate.release()
    assert not token_file.exists()


def test_the_token_stands_in_the_users_own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    clock = VirtualClock()
    gate = TcpGate(GateContext(clock, ScriptedOperator(clock), folder=tmp_path), timeout_s=30, connect_s=10)
    token_file = Path(json.loads((tmp_path / "gate.json").read_text("utf-8"))["token_file"])
    assert token_file.parent == tmp_path / "state" / "circumstep" / "gates"
    gate.release()


@pytest.mark.posix("rights of files")
def test_port_and_token_are_for_the_owner_only(gate: TcpGate, tmp_path: Path) -> None:
    own = tmp_path / "own" / "gates"
    (token_file,) = own.iterdir()
    for path in (tmp_path / "gate.json", own, token_file):
        assert path.stat().st_mode & 0o077 == 0


def test_it_listens_at_one_loopback_address_only(gate: TcpGate) -> None:
    """Every address 127.x.y.z is this computer: one that listened everywhere would answer here, too."""
    with pytest.raises(ConnectionRefusedError, match="refused"):
        socket.create_connection(("127.0.0.2", gate.port), timeout=_REAL_WAIT_S)


def test_the_token_is_compared_in_constant_time(gate: TcpGate, client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    compared: list[tuple[bytes, bytes]] = []

    def compare(said: bytes, token: bytes) -> bool:
        compared.append((said, token))
        return hmac.compare_digest(said, token)

    monkeypatch.setattr(gate_tcp_door, "hmac", SimpleNamespace(compare_digest=compare))
    hello(gate, client)
    assert compared == [(TOKEN.encode(), TOKEN.encode())]


def test_release_twice_is_harmless_and_frees_the_port(gate: TcpGate) -> None:
    gate.release()
    gate.release()
    with pytest.raises(ConnectionRefusedError, match="refused"):
        socket.create_connection(("127.0.0.1", gate.port), timeout=_REAL_WAIT_S)
