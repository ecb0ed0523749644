"""What has to hold for every dialect and every variant: one suite, run for each board of the table."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import SimpleNamespace

import pytest
from serial.urlhandler import protocol_socket

from firmware_host.clock import VirtualClock
from firmware_host.controller.controller import StopReport
from firmware_host.errors import (
    ControllerError,
    ControllerFaultError,
    ControllerResetError,
    FirmwareHostError,
    LinkError,
    PortLostError,
    PositionError,
    StandstillError,
)
from firmware_host.simulator.device import SimulatedDevice
from tests.contract.ports import Harm, LineHarm, MergingPort, TornPort
from tests.contract.rig import TARGETS, Rig, rig
from tests.contract.spoken import MIXED, PLAIN, SINGLES, Case
from tests.contract.wires import KINDS, NEEDS, Wire
from tests.support.memory_port import MemoryPort


def over(boards: Sequence[Case]) -> pytest.MarkDecorator:
    """Each of these boards on each kind of line; through the system's own lines every time only a few of them."""
    pairs = [
        pytest.param(kind, case, id=f"{kind}-{case}", marks=_marks(kind, case)) for kind in KINDS for case in boards
    ]
    return pytest.mark.parametrize(("wire", "case"), pairs, indirect=["wire"])


FEW = {"pty": ("plain", "work positions", "hasty", "listing", "mute"), "socket": ("plain", "hasty")}


def _marks(kind: str, case: Case) -> list[pytest.MarkDecorator]:
    needs = [NEEDS[kind]] if kind in NEEDS else []
    return needs if _every_time(kind, case) else [*needs, pytest.mark.slow]


def _every_time(kind: str, case: Case) -> bool:
    """What a line of the system adds does not depend on the board: a few of them show it."""
    return kind not in FEW or case.name.partition("/")[2] in FEW[kind]


each_board = over(MIXED)
each_dialect = over(PLAIN)
every_board = over(MIXED + SINGLES)


@pytest.fixture
def wire(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Wire]:
    """Every clause below holds on each kind of line."""
    monkeypatch.setattr(protocol_socket, "time", SimpleNamespace(sleep=lambda seconds: None))  # it dawdles on closing
    wire = Wire(request.param, tmp_path)
    yield wire
    wire.close()


RELEASING = "the motor is released"
"""What `watch` says of variants that let go of the motor: right, but the job ends there."""


def finished(r: Rig) -> None:
    """The whole job went well, up to a variant that lets go of its motor at a standstill."""
    error = r.outcome()
    if error is not None:
        assert RELEASING in str(error)
        assert r.proofs
    else:
        assert len(r.proofs) == len(TARGETS)


# --- a good line ---------------------------------------------------------------------------------------------------


@pytest.mark.some(40)
@every_board
def test_every_standstill_proof_comes_after_the_last_step_and_on_the_target(wire: Wire, case: Case) -> None:
    finished(wire.rig(case))


@pytest.mark.some(20)
@over([case for case in MIXED + SINGLES if case.syncs])
def test_a_plan_too_short_is_no_sign_of_rest_where_sync_lines_tell(wire: Wire, case: Case) -> None:
    """Boards whose sync line or position report speaks too early are among them, singly and together."""
    r = wire.rig(case)
    r.ready()
    for steps in (1000, -250):
        accepted_s = r.move(steps)
        r.stand(steps, accepted_s, planned_s=0.0)
    assert len(r.proofs) == 2


@pytest.mark.some(12)
@each_board
def test_replies_in_single_bytes_are_the_same_replies(wire: Wire, case: Case) -> None:
    finished(wire.rig(case, TornPort, 1))


@pytest.mark.some(20)
@each_dialect
@pytest.mark.parametrize("size", range(2, 40), ids=lambda size: f"pieces-of-{size}")
def test_replies_torn_at_any_byte_are_the_same_replies(wire: Wire, case: Case, size: int) -> None:
    finished(wire.rig(case, TornPort, size))


@pytest.mark.some(16)
@each_board
def test_replies_that_come_merged_are_taken_one_by_one(wire: Wire, case: Case) -> None:
    finished(wire.rig(case, MergingPort))


# --- a bad line ----------------------------------------------------------------------------------------------------


@pytest.mark.some(10)
@each_board
@pytest.mark.parametrize("harm", ["drop", "double", "late", "garble", "noise"])
def test_one_harmed_reply_is_survived_or_told_but_never_believed(wire: Wire, case: Case, harm: Harm) -> None:
    lines = _lines_of_a_job(case)
    for number in _spread(lines, wire.few(12)):
        r = wire.rig(case)
        spoil = LineHarm(r.clock, {number: harm})
        r.port.spoil = spoil
        r.outcome()  # asserts that every proof was true
        assert spoil.done == 1


@pytest.mark.some(12)
@each_board
@pytest.mark.parametrize("delay_s", [0.05, 0.3, 1.5, 6.0], ids=lambda delay_s: f"{delay_s:g}-s")
def test_a_late_reply_is_never_taken_for_another(wire: Wire, case: Case, delay_s: float) -> None:
    lines = _lines_of_a_job(case)
    for number in _spread(lines, wire.few(8)):
        r = wire.rig(case)
        r.port.spoil = LineHarm(r.clock, {number: "late"}, delay_s)
        r.outcome()


@pytest.mark.some(30)
@each_board
@pytest.mark.parametrize("harm", ["drop", "double", "late", "garble", "noise"])
def test_many_harmed_replies_are_survived_or_told_but_never_believed(wire: Wire, case: Case, harm: Harm) -> None:
    for every in (3, 7):
        r = wire.rig(case)
        r.port.spoil = LineHarm(r.clock, dict.fromkeys(range(0, 5000, every), harm))
        r.outcome()


@pytest.mark.some(12)
@each_board
def test_noise_alone_disturbs_nobody_for_good(wire: Wire, case: Case) -> None:
    r = wire.rig(case)
    r.port.spoil = LineHarm(r.clock, dict.fromkeys(range(0, 5000, 5), "noise"))
    r.outcome()
    r.run(5.0)
    r.device.transmit(r.now_s)
    r.port.spoil = lambda data: data
    controller = r.open()
    controller.unlock() if controller.status().state.value == "locked" else None
    controller.prepare()


@pytest.mark.some(12)
@each_board
def test_silence_is_told_in_time(wire: Wire, case: Case) -> None:
    r = wire.rig(case)
    r.port.spoil = lambda data: b""
    error = r.outcome()
    assert isinstance(error, LinkError)
    assert "nothing answers" in str(error)
    assert r.now_s < 30.0


@pytest.mark.some(8)
@each_board
def test_a_board_that_is_busy_for_ever_is_not_waited_for_for_ever(wire: Wire, case: Case) -> None:
    r = wire.rig(case)

    def phase(name: str) -> None:
        if name == "moving":
            r.port.spoil = case.spoken.busy

    error = r.outcome(phase)
    assert isinstance(error, LinkError | StandstillError)
    assert not r.proofs


# --- a board that isn't where it should be ---------------------------------------------------------------------------


@pytest.mark.some(16)
@each_board
def test_one_step_off_is_never_a_standstill(wire: Wire, case: Case) -> None:
    r = wire.rig(case)
    r.ready()
    accepted_s = r.move(1000)
    r.port.spoil = case.spoken.off_by_one_step
    with pytest.raises(PositionError, match=r"planned \d+ steps, reported \d+") as caught:
        r.stand(1000, accepted_s, r.planned_s(1000))
    assert caught.value.reported_steps - caught.value.planned_steps == pytest.approx(1, abs=0.01)
    assert r.controller is not None
    assert r.controller.standstill is None


@pytest.mark.some(16)
@each_board
def test_one_step_off_while_the_gate_is_open_is_seen(wire: Wire, case: Case) -> None:
    r = wire.rig(case)
    controller = r.ready()
    r.index(100, 0)
    r.port.spoil = case.spoken.off_by_one_step
    with pytest.raises(ControllerError, match=r"another step|moving, not ready|motor is released"):
        controller.watch()
    assert controller.standstill is None


@pytest.mark.some(30)
@each_board
@pytest.mark.parametrize("state", ["opening", "ready", "moving", "watching"])
def test_a_board_that_stops_by_itself_is_told_in_whatever_state(wire: Wire, case: Case, state: str) -> None:
    r = wire.rig(case)
    done: list[str] = []

    def phase(name: str) -> None:
        if name == state and not done:
            done.append(name)
            if name == "moving":
                r.move(TARGETS[0])
                r.run(0.05)
            case.spoken.fault(r.device, r.now_s)

    error = r.outcome(phase)
    assert isinstance(error, ControllerError | LinkError), error
    assert r.controller is None or r.controller.standstill is None
    steps = r.steps
    r.run(30.0)
    assert r.steps == steps


@pytest.mark.some(30)
@each_board
@pytest.mark.parametrize("act", ["stop", "home", "settings", "offset", "sync"])
def test_a_board_that_stops_by_itself_in_the_middle_of_an_act_is_not_trusted_after_it(
    wire: Wire, case: Case, act: str
) -> None:
    r = wire.rig(case)
    controller = r.ready()
    acts: dict[str, Callable[[], object]] = {
        "stop": controller.stop,
        "home": lambda: controller.home(20.0),
        "settings": controller.read_settings,
        "offset": controller.clear_offset,
        "sync": lambda: r.stand(4000, r.now_s, 1.0),
    }
    if act in ("stop", "sync"):
        r.move(4000)
        r.run(0.3)
        assert r.moving
    faults: list[float] = []

    def spoil(data: bytes) -> bytes:
        if data and not faults:
            faults.append(r.now_s)
            case.spoken.fault(r.device, r.now_s)
        return data

    r.port.spoil = spoil
    told = ""
    try:
        done = acts[act]()
        assert not isinstance(done, StopReport) or not done.stands_still or not r.moving
    except FirmwareHostError as error:
        told = str(error)
    assert faults or told, "it never talked"
    if not faults:  # refused before anything was said: these cannot hold, nor home
        return
    steps = r.steps
    with pytest.raises(FirmwareHostError, match=r"."):
        controller.prepare()
    with pytest.raises(FirmwareHostError, match=r"."):
        r.move(500)
    r.run(10.0)
    assert r.steps == steps


@pytest.mark.some(16)
@each_board
def test_after_a_fault_nothing_moves_until_somebody_says_so(wire: Wire, case: Case) -> None:
    r = wire.rig(case)
    controller = r.ready()
    r.index(100, 0)
    case.spoken.fault(r.device, r.now_s)
    with pytest.raises(FirmwareHostError, match=r"."):
        controller.watch()
    steps = r.steps
    for refused in (lambda: r.move(500), controller.prepare):
        with pytest.raises(FirmwareHostError, match=r"."):
            refused()
    r.run(10.0)
    assert r.steps == steps


@pytest.mark.some(12)
@each_board
def test_a_reset_in_the_middle_of_a_reply_is_told_and_the_position_is_lost(wire: Wire, case: Case) -> None:
    lines = _lines_of_a_job(case)
    told = 0
    for number in _spread(lines, 10):
        r = wire.rig(case)
        heard = 0
        reset: list[float] = []

        def spoil(data: bytes, r: Rig = r, number: int = number, reset: list[float] = reset) -> bytes:
            nonlocal heard
            heard += data.count(b"\n")
            if heard > number and not reset and data:
                reset.append(r.now_s)
                r.device.hardware_reset(r.now_s)
                return data[: len(data) // 2]
            return data

        r.port.spoil = spoil
        error = r.outcome()  # asserts that no proof after it was false
        told += isinstance(error, ControllerResetError) if case.resets_show else error is not None
    assert told > 0


# --- a port that goes away -----------------------------------------------------------------------------------------


class CutPort(MemoryPort):
    """Goes away at its n-th use."""

    def __init__(self, device: SimulatedDevice, clock: VirtualClock, uses: int) -> None:
        super().__init__(device, clock)
        self.left = uses
        self.cut_s: float | None = None

    def _check(self) -> None:
        self.left -= 1
        if self.left <= 0 and not self.lost:
            self.lost = True
            self.cut_s = self.clock.monotonic()
        super()._check()


@pytest.mark.some(10)
@each_board
def test_a_pulled_cable_is_told_at_once_wherever_it_happens(wire: Wire, case: Case) -> None:
    whole = wire.rig(case, CutPort, 10**9)
    whole.outcome()
    assert isinstance(whole.port, CutPort)
    uses = 10**9 - whole.port.left
    for number in _spread(uses, wire.few(25)):
        r = wire.rig(case, CutPort, number + 1)
        assert isinstance(r.port, CutPort)
        error = None
        try:
            r.job()
        except FirmwareHostError as caught:
            error = caught
        if r.port.cut_s is None:
            continue  # it went only after the end of the job
        assert isinstance(error, PortLostError), (number, error)
        assert error.exit_status == 3
        if r.controller is not None:
            assert not r.controller.stop().stands_still
            r.controller.close()
        assert r.now_s - r.port.cut_s <= 2.0
        assert r.port.closed


# --- stopping ------------------------------------------------------------------------------------------------------


@pytest.mark.some(16)
@every_board
def test_a_stop_under_way_stands_and_says_whether_the_position_is_kept(wire: Wire, case: Case) -> None:
    r = wire.rig(case)
    controller = r.ready()
    r.move(4000)
    r.run(0.3)
    assert r.moving
    report = controller.stop()
    assert report.stands_still, report.detail
    assert not r.moving
    steps = r.steps
    assert controller.stop() is report
    r.run(30.0)
    assert r.steps == steps
    assert controller.position_lost == controller.in_pieces, "what was sent whole can't be ended by sending no more"
    if not controller.position_lost:
        controller.prepare()
        assert abs(steps) < 4000
    else:
        with pytest.raises(ControllerFaultError, match="stopped short: steps may be lost"):
            controller.prepare()
        controller.unlock()
        controller.prepare()


@pytest.mark.some(16)
@every_board
def test_a_stop_at_standstill_keeps_the_position(wire: Wire, case: Case) -> None:
    r = wire.rig(case)
    controller = r.ready()
    r.index(300, 0)
    truth = r.steps
    assert controller.stop().stands_still
    controller.prepare()
    r.index(301, 300)
    assert r.steps == truth + 1


def _lines_of_a_job(case: Case) -> int:
    r = rig(case)
    spoil = LineHarm(r.clock, {})
    r.port.spoil = spoil
    r.outcome()
    return spoil.count


def _spread(count: int, samples: int) -> list[int]:
    """At most `samples` numbers from 0 up to `count`, evenly spread."""
    return sorted({count * sample // samples for sample in range(samples)})
