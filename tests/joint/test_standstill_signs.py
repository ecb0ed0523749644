"""The first sign of a standstill: it never comes before the last step, and the settle time runs from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.axis import StandstillProof
from firmware_host.controller.controller import Controller
from firmware_host.controller.deadlines import ANSWER_LEAST_S
from firmware_host.controller.port.trace import MemoryTrace, TraceKind
from firmware_host.controller.reply import AxisState
from firmware_host.controller.standstill import OnPoll
from tests.contract.spoken import MIXED, SINGLES, STATED, STEPS_PER_UNIT, Case
from tests.support.bench import Bench
from tests.support.board_faults import miscount
from tests.support.memory_port import MemoryPort
from tests.support.real_boards import REAL_BOARDS

PLANNED_S = 10 / 50 + 50 / 500
"""10 units at 50 units/s and 500 units/s^2: d/v + v/a (the trapezoid of the design description)."""
LIARS = {"status-query/speaks of plans"}
"""Says idle before the last step and tells the planned place: nothing but the planned time speaks of its end."""
LOCKED = {"status-query/home switch"}
"""Has to be homed first, to another zero."""
CASES = [case for case in (*MIXED, *SINGLES, *REAL_BOARDS.values()) if case.name not in LIARS | LOCKED]
STATE_WORD, NUMBERED = REAL_BOARDS["status-query"], REAL_BOARDS["numbered-line"]


def on_the_bench(case: Case, **changed: Any) -> tuple[Bench[Any], Controller]:
    clock = VirtualClock()
    device = case.spoken.device(replace(case.variant, **changed), 0.0)
    b = Bench(clock, device, MemoryPort(device, clock), MemoryTrace(clock), case.spoken.dialect(), case.axis)
    return b, b.ready(stated=STATED, greeting_timeout_s=3.0)


def stood(
    b: Bench[Any],
    controller: Controller,
    planned_s: float = PLANNED_S,
    units: int = 10,
    on_poll: OnPoll | None = None,
) -> StandstillProof:
    accepted_s = controller.move_to(str(units), "3000")
    return controller.wait_for_standstill(
        target_steps=int(units * STEPS_PER_UNIT),
        steps_per_unit=Fraction(STEPS_PER_UNIT),
        accepted_at_s=accepted_s,
        planned_duration_s=planned_s,
        deadline_s=accepted_s + planned_s + 30.0,
        on_poll=on_poll,
    )


def last_step_s(b: Bench[Any]) -> float:
    return float(b.device.motion_log[-1].end_s)


@pytest.mark.some(60)
@pytest.mark.parametrize("planned_s", [PLANNED_S, 0.1, 0.01], ids=["as planned", "a third", "hardly any"])
@pytest.mark.parametrize("case", CASES, ids=str)
def test_no_sign_comes_before_the_last_step_however_wrong_the_plan_is(case: Case, planned_s: float) -> None:
    b, controller = on_the_bench(case)
    proof = stood(b, controller, planned_s)
    assert last_step_s(b) <= proof.since_s <= proof.at_s
    assert not b.moving
    assert abs(b.steps) == 1000


@pytest.mark.parametrize(
    ("board", "first_s", "all_s"),
    [("status-query", 0.009, 0.034), ("numbered-line", 0.013, 0.024), ("numbered-line, second sync", 0.013, 0.024)],
)
def test_on_boards_as_measured_the_signs_come_as_quickly_as_answers_do(
    board: str, first_s: float, all_s: float
) -> None:
    """Answers in 4 to 5 ms, 2.3 ms for an ok; the idle word and a late sync up to 18 ms after the last step."""
    b, controller = on_the_bench(REAL_BOARDS[board])
    for units in (10, 0, 10, 0, 10):
        proof = stood(b, controller, units=units)
        assert proof.since_s - last_step_s(b) <= first_s
        assert proof.at_s - last_step_s(b) <= all_s


def test_a_board_that_tells_the_planned_place_is_believed_by_its_idle_word_alone() -> None:
    b, controller = on_the_bench(STATE_WORD, position_report="planned")
    proof = stood(b, controller, planned_s=0.1)  # it is still on its way then
    assert proof.since_s - last_step_s(b) >= STATE_WORD.variant.idle_delay_s


def test_a_board_that_says_idle_on_its_way_is_believed_by_its_arrival() -> None:
    b, controller = on_the_bench(STATE_WORD, idle_early_s=10.0)
    proof = stood(b, controller, planned_s=0.1)
    assert [report.state for report in proof.reports] == [AxisState.READY, AxisState.READY]
    assert last_step_s(b) <= proof.since_s <= last_step_s(b) + 0.013


def contradicted(case: Case, contradict: Callable[[bytes, Bench[Any]], bytes], *, delay_s: float) -> float:
    """How long after the contradiction, the first one `delay_s` after the last step, the sign came that counts (s)."""
    b, controller = on_the_bench(case)
    struck: list[float] = []

    def spoil(data: bytes) -> bytes:
        end_s = last_step_s(b) if b.device.motion_log and not b.moving else None
        if data and not struck and end_s is not None and b.clock.monotonic() >= end_s + delay_s:
            changed = contradict(data, b)
            if changed != data:
                struck.append(b.clock.monotonic())
            return changed
        return data

    b.port.spoil = spoil
    proof = stood(b, controller)
    assert struck, "nothing was contradicted"
    return proof.since_s - struck[0]


def another_place(data: bytes, b: Bench[Any]) -> bytes:
    return data.replace(b"10.000", b"10.020").replace(b"A:1000", b"A:1002")


def moving_word(data: bytes, b: Bench[Any]) -> bytes:
    return data.replace(b"<Idle", b"<Run")


@pytest.mark.parametrize("case", [STATE_WORD, NUMBERED], ids=str)
def test_another_place_after_the_first_sign_starts_the_settle_time_again(case: Case) -> None:
    assert contradicted(case, another_place, delay_s=0.012) > 0


def test_a_moving_word_after_the_idle_one_starts_the_settle_time_again() -> None:
    def second_idle(data: bytes, b: Bench[Any]) -> bytes:
        heard.append(data)
        return moving_word(data, b) if b"<Idle" in data and sum(b"<Idle" in line for line in heard) == 2 else data

    heard: list[bytes] = []
    assert contradicted(STATE_WORD, second_idle, delay_s=0.0) > 0


def test_a_pulse_between_two_idle_reports_starts_the_settle_time_again() -> None:
    """The reports differ by less than a microstep would, but they differ."""

    def a_hair(data: bytes, b: Bench[Any]) -> bytes:
        return data.replace(b"10.000", b"10.001") if b"<Idle" in data else data

    assert contradicted(STATE_WORD, a_hair, delay_s=0.0) > 0


def test_a_count_that_changes_after_the_sync_lines_asks_for_them_again() -> None:
    b, controller = on_the_bench(Case("plain", NUMBERED.spoken, replace(NUMBERED.variant, count_report="actual")))
    jolts = iter([1, -1])

    def jolt(data: bytes) -> None:
        if b"M114" in data and b.port.sent.count(b"M400") in (2 + before, 3 + before):
            miscount(b.device, b.axis, next(jolts, 0), b.clock.monotonic())

    before = b.port.sent.count(b"M400")
    b.port.on_write = jolt
    proof = stood(b, controller)
    syncs = [entry.at_s for entry in b.trace.entries if entry.kind is TraceKind.SENT and b"M400" in entry.data]
    assert len(syncs) - before == 4
    assert proof.since_s > syncs[-1]


# --- when it is asked ------------------------------------------------------------------------------------------------


def asked_s(b: Bench[Any], since_s: float) -> list[float]:
    questions = (b"?", b"M114")
    sent = [entry for entry in b.trace.entries if entry.kind is TraceKind.SENT and entry.at_s >= since_s]
    return [entry.at_s for entry in sent if any(question in entry.data for question in questions)]


@pytest.mark.parametrize("case", [STATE_WORD, NUMBERED], ids=str)
def test_questions_are_few_on_the_way_and_follow_the_answers_near_the_end(case: Case) -> None:
    b, controller = on_the_bench(case)
    begun_s = b.clock.monotonic()
    stood(b, controller)
    end_s = last_step_s(b)
    asked = asked_s(b, begun_s)
    on_the_way = [at_s for at_s in asked if at_s < end_s - 0.03]
    assert 0.04 <= min(later - earlier for earlier, later in pairwise(on_the_way))
    near = [at_s for at_s in asked if at_s >= end_s - 0.01]
    gaps = [later - earlier for earlier, later in pairwise(near)]
    assert min(gaps) >= ANSWER_LEAST_S - 1e-9
    assert max(gaps) <= 0.012  # an answer of 4 or 5 ms, and the two sync lines between


@pytest.mark.parametrize("delay_s", [0.0, 0.001, 0.03, 0.07])
def test_there_is_never_a_second_question_and_never_one_right_behind_the_other(delay_s: float) -> None:
    b, controller = on_the_bench(STATE_WORD, status_delay_s=delay_s)
    begun_s = b.clock.monotonic()
    stood(b, controller)
    entries = [entry for entry in b.trace.entries if entry.at_s >= begun_s]
    open_questions, most = 0, 0
    for entry in entries:
        if entry.kind is TraceKind.SENT and entry.data == b"?":
            open_questions += 1
        elif entry.kind is TraceKind.RECEIVED and entry.data.startswith(b"<"):
            open_questions -= 1
        most = max(most, open_questions)
    assert most == 1
    asked = asked_s(b, begun_s)
    assert min(later - earlier for earlier, later in pairwise(asked)) >= ANSWER_LEAST_S - 1e-9


def test_an_axis_that_is_late_is_not_asked_without_a_pause_for_ever() -> None:
    b, controller = on_the_bench(STATE_WORD)
    begun_s = b.clock.monotonic()
    stood(b, controller, planned_s=0.1, units=200)  # it takes 4 s
    asked = [at_s for at_s in asked_s(b, begun_s) if at_s > begun_s + 1.0]
    assert min(later - earlier for earlier, later in pairwise(asked)) >= 0.013


@pytest.mark.parametrize("case", [STATE_WORD, NUMBERED], ids=str)
def test_an_axis_that_stood_still_while_the_program_got_no_time_is_not_late(case: Case) -> None:
    b, controller = on_the_bench(case)
    pauses = iter([60.0])
    proof = stood(b, controller, on_poll=lambda report: b.clock.sleep(next(pauses, 0.0)))
    assert next(pauses, None) is None
    assert proof.reported_steps == pytest.approx(10 * STEPS_PER_UNIT, abs=0.5)
