"""The answer of each document: what is grave is never left out, and no answer contradicts its figures."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from firmware_host.model import load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.compare.advice import advised, margin_losses
from firmware_host.planning.compare.motors import compare_motors
from firmware_host.planning.index.report import IndexAdvice, MarginLoss, OtherChoice
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import Verdict, upper_limit
from firmware_host.planning.plan import Layout, plan_job, plan_layout
from firmware_host.reporting.plans.first.plan import plan_document
from firmware_host.reporting.plans.limits import limits_document
from firmware_host.reporting.plans.motors import motors_document
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.runs.run import run_document
from firmware_host.station.journal.record import PassRecord, RunRecord
from tests.planning.limits.report import report
from tests.planning.limits.workshop import DELETE, machine
from tests.reporting.shown import JOBS, printed, shipped
from tests.support.station_bench import changed_setup

MOTORS = {p.name: load_motor(str(p.path)) for p in list_profiles("motors") if p.shipped}


@cache
def advised_report(name: str) -> LimitReport:
    return advised(*shipped(name), MOTORS)


def answer(text: str) -> list[str]:
    return text.partition("\n\n")[0].splitlines()


# --- limits ------------------------------------------------------------------------------------------------------


@pytest.mark.some(2)
@pytest.mark.parametrize("name", JOBS)
def test_the_answer_names_the_tightest_check_with_its_own_margin(name: str) -> None:
    found = advised_report(name)
    least = min((check for check in found.checks if check.margin is not None), key=lambda check: check.margin or 0)
    lines = answer(printed(limits_document(found)))
    assert lines[0].startswith(f"Verdict: {found.verdict.value}. ")
    assert lines[1].startswith(f"Tightest: {least.name}, ")
    assert lines[1].endswith(f", margin {100 * (least.margin or 0):.0f} %.")


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        (Verdict.HOLDS, "a fifth of the limit or more left"),
        (Verdict.NARROW, "It may turn. Less than a fifth is left: "),
        (Verdict.ACCEPTED, "It may turn. Not kept, but accepted: "),
        (Verdict.EXCEEDED, "It may turn. More than is advised: "),
        (Verdict.NOT_KNOWN, "Nothing may turn until this is known: "),
        (Verdict.FAILS, "Nothing may turn: "),
    ],
    ids=str,
)
def test_whether_it_may_turn_is_what_the_verdict_does(verdict: Verdict, words: str) -> None:
    line = answer(printed(limits_document(replace(report(), verdict=verdict))))[0]
    assert words in line
    assert ("Nothing may turn" in line) == verdict.stops


def test_what_is_not_known_and_what_is_assumed_stand_in_the_answer() -> None:
    unknown = answer(printed(limits_document(report(machine(support__largest_radial_load=DELETE)))))
    assert unknown[0].startswith("Verdict: holds, on what is known. The ")
    assert unknown[1] == "Not known, and stops nothing: radial-load."
    assumed = report(machine(gearing__0__efficiency=DELETE, gearing__0__kind="toothed-belt"))
    data = "1 datum" if len(assumed.assumptions) == 1 else f"{len(assumed.assumptions)} data"
    caution = f"Estimated, {data} assumed: prove it on the machine, first without the laser."
    assert answer(printed(limits_document(assumed)))[-1] == caution


def test_every_failing_check_is_a_row_however_many_there_are() -> None:
    many = tuple(
        upper_limit(f"limit-{number}", 2.0, 1.0, "N", formula="f", source="s", remedy=f"way {number}")
        for number in range(12)
    )
    text = printed(limits_document(replace(report(), verdict=Verdict.FAILS, checks=many)))
    assert "Nothing may turn: limit-0, limit-1, limit-2 and 9 more." in text
    assert [line.split()[0] for line in text.splitlines() if line.rstrip().endswith("fails") and "-100 %" in line] == [
        check.name for check in many
    ]


# --- can it go faster? -------------------------------------------------------------------------------------------


def with_choices(*choices: OtherChoice) -> list[str]:
    found = report()
    text = printed(limits_document(replace(found, advice=IndexAdvice(found.motion, stronger=choices))))
    return text[text.index("Can it go faster?") :].splitlines()


def choice(what: str, quicker: float, verdict: Verdict = Verdict.HOLDS, *losses: MarginLoss) -> OtherChoice:
    return OtherChoice(what, 1.0, 1.0, report().motion.timing, quicker, verdict, losses)


def test_no_is_said_where_nothing_helps_or_what_helps_would_fail() -> None:
    for lines in (with_choices(), with_choices(choice("a", 1.0), choice("b", 3.0, Verdict.FAILS))):
        assert lines[0].startswith("Can it go faster? No, not by any one change looked at")
        assert len(lines) == 1


def test_the_quickest_change_stands_first_with_its_verdict_and_what_it_costs() -> None:
    loss, small = MarginLoss("heat-cycle", 0.43, 0.09), MarginLoss("mass", 0.99, 0.9)
    lines = with_choices(choice("a", 1.2), choice("b", 2.52, Verdict.NARROW, loss, small), choice("c", 1.1))
    assert lines[0].startswith("Can it go faster? Yes, up to 2.5 times; ")
    assert lines[1:] == [
        "  First: b: 2.5 times, verdict then: holds narrowly. It costs margin: heat-cycle 43 % -> 9 %.",
        "  Or: a: 1.20 times, verdict then: holds. It costs no margin that matters.",
    ]


def test_a_stated_acceleration_is_the_first_thing_to_leave_out() -> None:
    setup = changed_setup("shaft-scale", index={"acceleration": "100 deg/s^2"})
    found = advised(setup, plan_job(setup), MOTORS)
    text = printed(limits_document(found))
    (first,) = (line for line in text.splitlines() if line.startswith("  First: "))
    assert first.startswith("  First: index.acceleration left out: ")
    free = plan_job(shipped("shaft-scale")[0]).limits.motion.timing.index_s
    assert found.advice is not None
    left_out = found.advice.stronger[0]
    assert left_out.timing.index_s == pytest.approx(free, rel=2e-3)
    assert left_out.quicker == pytest.approx(found.motion.timing.index_s / free, rel=2e-3)


@pytest.mark.parametrize("name", JOBS)
def test_what_a_change_costs_is_what_a_plan_of_the_changed_machine_loses(name: str) -> None:
    setup, found = shipped(name)[0], advised_report(name)
    assert found.advice is not None
    (current,) = (each for each in found.advice.stronger if each.what.startswith("driver.current "))
    if current.quicker < 1.005:
        assert (current.verdict, current.losses) == (None, ())
        return
    value = current.what.removeprefix("driver.current ")
    anew = plan_job(setup.with_values({"driver.current": value})).limits
    assert current.verdict is anew.verdict
    losses = margin_losses(found.checks, anew.checks)
    assert {loss.name for loss in current.losses} == {loss.name for loss in losses}
    by_name = {loss.name: loss for loss in losses}
    for loss in current.losses:
        assert loss.before - loss.after > 0.02
        assert loss.after == pytest.approx(by_name[loss.name].after, abs=0.02)
    assert [loss.after for loss in current.losses] == sorted(loss.after for loss in current.losses)


# --- segments ----------------------------------------------------------------------------------------------------


def screen(layout: Layout) -> list[str]:
    return printed(segments_document(layout)).splitlines()


def test_one_segment_has_no_seam_and_nothing_is_said_of_any() -> None:
    layout = plan_layout(changed_setup("shaft-scale", mark={"arc": "9 mm"}))
    lines = screen(layout)
    assert lines[0] == "1 segment, each 20.63 deg = 9.00 mm wide, no seam."
    assert not any("Seams" in line for line in lines)
    assert "Its centre is at 0.000 deg." in lines


def test_how_the_seams_look_is_what_the_figures_say() -> None:
    layout = shipped("shaft-scale")[1].layout
    seams, nothing = layout.seams, np.zeros(5)
    for tolerance, words in ((None, "give window.spot_diameter to learn whether they show"), (1.0, "none should show")):
        shown = screen(replace(layout, seams=replace(seams, tolerance=tolerance)))
        (line,) = (line for line in shown if line.startswith("Seams: "))
        assert line.startswith(f"Seams: {words}: 0.16 mm overlap to 0.054 mm gap")
    open_ones = replace(seams, tolerance=1e-3, gap=np.array([0, 2e-3, 0, 0, 0]), below=nothing, above=nothing)
    lines = screen(replace(layout, seams=open_ones))
    assert "Seams: 1 of 5 may show: 0 mm to 2.0 mm gap (shows from 1.0 mm)." in lines
    table = lines[lines.index("Seams, the worst first (+ gap, - overlap)") + 2 :][:2]
    assert [row.split() for row in table] == [
        ["2", "+2.0", "mm", "+2.0", "mm", "may", "show"],
        ["1,", "3,", "4,", "5", "+0", "mm", "+0", "mm", "no"],
    ]


def test_what_is_not_known_of_the_seams_and_what_is_assumed_stand_in_the_answer() -> None:
    layout = shipped("shaft-scale")[1].layout
    lines = answer(printed(segments_document(replace(layout, seams=replace(layout.seams, unknown=("drive.slip",))))))
    assert "Not known, and in no figure here: drive.slip." in lines
    assert lines[-1] == "Estimated, 2 data assumed: prove it on the machine, first without the laser."


# --- motors, plans, runs -----------------------------------------------------------------------------------------


def test_motors_that_all_fail_are_said_to_and_the_machine_s_own_is_named() -> None:
    setup = shipped("heavy-shaft")[0]
    weak = {name: MOTORS[name] for name in ("nema14-pancake", "nema14-short")}
    lines = printed(motors_document(compare_motors(setup, weak))).splitlines()
    assert lines[0] == "None of 2 motors can do it: 2 fail."
    assert not any(line.startswith("First choice") for line in lines)
    some = {name: MOTORS[name] for name in ("nema34-short", "nema23-short", "nema14-pancake")}
    lines = printed(motors_document(compare_motors(setup, some), present=setup.machine.motor)).splitlines()
    assert lines[0] == "2 of 3 motors can do it: 1 with all limits kept, 1 beyond what is advised and 1 fail."
    assert lines[1].startswith("First choice: nema23-short at 2.8 A, an index in 0.289 s")
    assert lines[2].startswith("Quicker, but exceeded: nema34-short at 5.0 A, an index in 0.242 s")
    assert lines[3] == "The machine's own, nema34-short: exceeded (mid-range), an index in 0.242 s."


def test_a_plan_before_a_run_says_all_that_is_grave() -> None:
    setup, plan = shipped("tumbler-wrap")
    lines = printed(plan_document(setup, plan)).splitlines()
    assert lines[0] == "Job: tapered cup, wrap. Machine: two rollers, one driven."
    assert "Verdict: exceeded. It may turn. More than is advised: creep and axial-walk." in lines
    assert lines[-1].endswith("assumed: prove it on the machine, first without the laser.")
    assert len(lines) <= 7


PASSES = tuple(PassRecord(segment, 1, "done", 611 * segment, 611 * segment + 0.04) for segment in range(1, 4))
DONE = RunRecord("a job", "a machine", "done", "", 0, "2026-01-01T00:00:00", "2026-01-01T00:00:09", PASSES)


def test_a_run_that_went_well_is_two_lines_and_one_that_did_not_shows_its_passes() -> None:
    assert printed(run_document(DONE)).splitlines() == [
        "done: 3 of 3 passes marked.",
        "At each pass it stood within 0.04 of a microstep of where it should.",
    ]
    assert printed(run_document(replace(DONE, reports="planned"))).splitlines() == [
        "done: 3 of 3 passes marked.",
        "Its board reports planned places: each within 0.04 of a microstep of its target.",
        "That it stood is told by its answer at the end of motion and the planned time.",
    ]
    right = {segment: 611 * segment for segment in range(1, 4)}
    counted = printed(run_document(DONE, right)).splitlines()
    assert counted[0] == "done: 3 of 3 passes marked; the motor's step counter is the plan's at 3 of 3 passes."
    assert len(counted) == 2
    off = printed(run_document(DONE, right | {2: 1224})).splitlines()
    assert off[0].endswith("the motor's step counter is the plan's at 2 of 3 passes.")
    assert [line.split()[:3] for line in off[off.index("") + 3 :]] == [["2", "1", "done"]]
    unknown = replace(DONE, outcome="stopped", passes=(*PASSES[:2], replace(PASSES[2], status="unknown")))
    assert [line.split()[:3] for line in printed(run_document(unknown)).splitlines()[-1:]] == [["3", "1", "unknown"]]


def test_a_margin_without_end_is_told_in_words() -> None:
    nothing = upper_limit("nothing", 0.1, 0.0, "N", formula="f", source="s", remedy="r")
    assert nothing.margin == -math.inf
    text = printed(limits_document(replace(report(), verdict=nothing.verdict, checks=(nothing,))))
    assert "Tightest: nothing, 0.1 N where 0 N is the limit, margin none." in text
    assert "inf" not in text
