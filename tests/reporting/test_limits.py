"""Limits, the comparison of jobs, motors and sweeps: the document's figures are those of the reports."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace
from functools import cache

import pytest

from firmware_host.model import load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.compare.advice import advised
from firmware_host.planning.compare.motors import compare_motors
from firmware_host.planning.compare.sweep import parse_sweep, sweep_limits
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import Verdict, upper_limit
from firmware_host.planning.reliability.estimate import reliability
from firmware_host.reporting.document import Table
from firmware_host.reporting.measures import seconds
from firmware_host.reporting.plans.limits import ESTIMATE, checks_table, comparison_document, limits_document
from firmware_host.reporting.plans.motors import motors_document
from firmware_host.reporting.plans.sweep import sweep_document, sweep_margins
from firmware_host.reporting.render.csv import csv_text
from firmware_host.reporting.render.json import json_document
from tests.planning.limits.report import named, report
from tests.planning.limits.workshop import DELETE, job, machine, roller_machine
from tests.reporting.shown import JOBS, behind, column_of, figure, printed, section, shipped, texts_of

MOTORS = {p.name: load_motor(str(p.path)) for p in list_profiles("motors") if p.shipped}


@cache
def advised_report(name: str) -> LimitReport:
    return advised(*shipped(name), MOTORS)


@pytest.mark.some(2)
@pytest.mark.parametrize("name", JOBS)
def test_every_check_of_the_report_is_a_row_with_its_unit_formula_and_source(name: str) -> None:
    found = advised_report(name)
    document = limits_document(found)
    table = document.tables[0]
    assert column_of(table, "name") == [check.name for check in found.checks]
    assert column_of(table, "value") == [check.value for check in found.checks]
    assert column_of(table, "unit") == [check.unit for check in found.checks]
    values = json_document(document)
    assert list(values) == ["verdict", "not_known", "checks", "assumptions", "index"]
    assert values["verdict"] == found.verdict.value
    keys = ["name", "value", "limit", "unit", "margin", "verdict"]
    keys += ["reason", "assumed", "missing", "stops", "formula", "source"]
    assert all(list(check) == keys and check["formula"] and check["source"] for check in values["checks"])
    names = {check["name"] for check in values["checks"]}
    assert names >= {"torque-accelerating", "torque-braking", "step-rate-driver", "inertia-ratio"}
    assert ("grip" in names) == (name in ("bottle-band", "tumbler-wrap"))


@pytest.mark.parametrize("in_pieces", [True, False], ids=["runs-out", "holds"])
def test_the_stopping_time_is_told_at_once_and_in_the_figures(in_pieces: bool) -> None:
    """Of the longest move. A hold takes the ramp, v/a; what was sent of a move that is over soon takes all of it."""
    _, plan = shipped("shaft-scale")
    program = plan.program
    stopping_s = program.stopping_s(in_pieces=in_pieces)
    longest_s = float(program.durations.max())
    ramp_s = min(program.speed / program.acceleration, longest_s / 2)
    assert stopping_s == pytest.approx(longest_s + 0.1 if in_pieces else ramp_s, rel=1e-6)
    document = limits_document(plan.limits, stopping_s=stopping_s, notes=("2 moves are short",))
    assert json_document(document)["stopping_s"] == stopping_s
    assert json_document(document)["short_moves"] == ["2 moves are short"]
    text = printed(document)
    assert f"A stop stands still within {seconds(stopping_s)}." in text
    assert "2 moves are short" in text


def test_what_is_not_finite_is_null_in_the_document() -> None:
    found = report(roller_machine(friction=2.0, centre_distance="26 mm"), job(), acceleration=2000.0)
    assert math.isinf(named(found, "grip").value or 0)
    values = json.loads(json.dumps(json_document(limits_document(found)), allow_nan=False))
    assert set(values) == {"verdict", "not_known", "checks", "assumptions"}
    assert values["verdict"] == "fails"
    assert next(check for check in values["checks"] if check["name"] == "grip")["value"] is None


def test_a_terminal_shows_the_verdict_first_then_what_would_help_then_all_checks() -> None:
    found = report(roller_machine(friction=2.0, centre_distance="26 mm"), job(), acceleration=2000.0)
    lines = behind(limits_document(found)).splitlines()
    assert lines[0] == "Verdict: fails"
    told = [check for check in found.checks if check.verdict is Verdict.FAILS]
    told += [check for check in found.checks if check.verdict is Verdict.EXCEEDED]
    told += [check for check in found.checks if check.verdict is Verdict.NARROW]
    assert lines[1 : 1 + len(told)] == [f"  {check.name} {check.verdict.value}: {check.remedy}" for check in told]
    assert lines[1 + len(told)] == "Limits"
    assert [line.split()[0] for line in lines[lines.index("Limits") + 2 :][: len(found.checks)]] == [
        check.name for check in found.checks
    ]
    assert f"  speed of the part: {math.degrees(found.motion.speed):.4g} deg/s" in lines
    assert lines[-1] == ESTIMATE.lines[0]


def test_a_limit_that_allows_nothing_has_a_margin_of_none_and_no_infinity_is_printed() -> None:
    nothing = upper_limit("nothing", 0.1, 0.0, "N", formula="f", source="s", remedy="r")
    assert nothing.margin == -math.inf
    text = behind(limits_document(replace(report(), verdict=nothing.verdict, checks=(nothing,))))
    (row,) = (line.split() for line in text.splitlines() if line.startswith("nothing  "))
    assert row == ["nothing", "0.1", "N", "0", "N", "none", "fails"]


def test_what_is_not_known_and_stops_nothing_is_told_beside_the_verdict() -> None:
    document = limits_document(report(machine(support__largest_radial_load=DELETE)))
    lines = behind(document).splitlines()
    assert lines[:3] == [
        "Verdict: holds, on what is known",
        "  radial-load not known: Give support.largest_radial_load",
        "Not known, and stops nothing: radial-load",
    ]
    values = json_document(document)
    assert (values["verdict"], values["not_known"]) == ("holds", ["radial-load"])


def test_what_nobody_stated_is_a_row_with_its_range_and_source() -> None:
    document = limits_document(report(machine(gearing__0__efficiency=DELETE, gearing__0__kind="toothed-belt")))
    lines = behind(document).splitlines()
    title = lines.index("Not stated, so assumed at its unkind end: state what you know")
    assert lines[title + 2].split() == ["gearing.belt.efficiency", "0.95", "to", "0.98", "the", "worse", "end"]
    assert lines[title + 3] == "  gearing.belt.efficiency: toothed belts, handbook tables, from memory"
    (row,) = json_document(document)["assumptions"]
    assert row["key"] == "gearing.belt.efficiency"
    assert "Not stated" not in behind(limits_document(report()))


def test_the_gravest_stands_first_and_what_is_accepted_with_its_reason() -> None:
    light = machine(motor__rotor_inertia="5e-6 kg*m^2", driver__standstill_current=1e-4)
    found = report(light, job(accept={"inertia-ratio": "light rotor, tried"}))
    lines = behind(limits_document(found)).splitlines()
    assert lines[0] == "Verdict: fails"
    assert lines[1].startswith("  holding-torque fails: ")
    assert lines[2] == "  inertia-ratio accepted: light rotor, tried"


def test_limits_and_reliability_end_in_the_graver_verdict_and_say_which_it_was() -> None:
    setup, plan = shipped("heavy-shaft")
    found = reliability(setup, plan, draws=1000)
    failing = report(machine(driver__standstill_current=1e-4))
    assert found.verdict is not Verdict.FAILS
    lines = behind(limits_document(failing, found)).splitlines()
    assert lines[0] == "Verdict: fails"
    assert not any(line.startswith("Reliability") for line in lines)
    lost = replace(found, verdict=Verdict.FAILS)
    values = json_document(limits_document(plan.limits, lost))
    assert values["verdict"] == values["reliability"]["verdict"] == "fails"
    lines = behind(limits_document(plan.limits, lost)).splitlines()
    assert lines[0] == "Verdict: fails"
    assert lines[1].startswith("  reliability fails: no step is lost and nothing slips with probability ")


def test_each_kind_of_move_is_told_and_a_return_is_no_index() -> None:
    # The targets by hand: five indexes of one length (in microsteps, and so their mean), a take-up before the first
    # segment and its return, and the way back.
    found, plan = advised_report("shaft-scale"), shipped("shaft-scale")[1]
    rows = json_document(limits_document(found))["index"]["moves"]
    assert [(row["kind"], row["count"]) for row in rows] == [("index", 5), ("return", 1), ("take-up", 1), ("finish", 1)]
    durations = plan.program.durations
    assert [row["total_s"] for row in rows] == pytest.approx(
        [durations[2:7].sum(), durations[1], durations[0], durations[7]]
    )
    assert plan.limits.motion.timing.move_s == pytest.approx(durations[2:7].mean())
    assert rows[1]["settle_s"] > 0 == rows[2]["settle_s"] == rows[3]["settle_s"]


def test_the_index_is_told_with_its_bound_the_cautious_and_stronger_choices() -> None:
    found, plan = advised_report("shaft-scale"), shipped("shaft-scale")[1]
    assert found.advice is not None
    document = limits_document(found)
    index = section(document, "index")
    told = {key: (figure(index, key).value, figure(index, key).unit) for key in (
        "acceleration_deg_per_s2", "speed_deg_per_s", "move_s", "settle_s", "binding", "bound_move_s"
    )}  # fmt: skip
    assert told == {
        "acceleration_deg_per_s2": (math.degrees(plan.program.acceleration), "deg/s^2"),
        "speed_deg_per_s": (math.degrees(plan.program.speed), "deg/s"),
        "move_s": (plan.limits.motion.timing.move_s, "s"),
        "settle_s": (plan.limits.motion.timing.settle_s, "s"),
        "binding": (plan.limits.motion.binding, ""),
        "bound_move_s": (found.advice.bound_s, "s"),
    }
    values = json_document(document)["index"]
    assert list(values)[-2:] == ["cautious", "stronger"]
    assert values["cautious"]["times_quicker"] == found.advice.cautious.quicker if found.advice.cautious else False
    assert [each["what"] for each in values["stronger"]] == [choice.what for choice in found.advice.stronger]
    table = next(node for node in index.nodes or () if isinstance(node, Table) and node.key == "stronger")
    by_choice = dict(zip(texts_of(table, "other choice"), texts_of(table, "beside the chosen one"), strict=True))
    assert by_choice["the usual cautious one: half the torque, waiting for any ringing"] == "1.29 times slower"
    assert any(choice.startswith("driver.current 2.8 A") for choice in by_choice)
    assert "motor nema23-long" in by_choice
    assert set(" ".join(by_choice.values()).split()) & {"slower", "quicker"}
    text = behind(document)
    assert plan.limits.motion.binding == ("ringing",)
    assert "what stops it going faster: ringing" in text


def test_without_advice_the_motion_is_for_people_and_nothing_that_stops_it_is_said() -> None:
    found = report()
    still = replace(found, motion=replace(found.motion, binding=()))
    document = limits_document(still)
    assert list(json_document(document)) == ["verdict", "not_known", "checks", "assumptions"]
    assert "  what stops it going faster: nothing" in behind(document)


def test_jobs_are_compared_in_one_row_each_with_their_whole_reports_in_json() -> None:
    reports = {name: advised_report(name) for name in JOBS}
    document = comparison_document(reports)
    values = json_document(document)["jobs"]
    assert values == [{"job": name, **json_document(limits_document(found))} for name, found in reports.items()]
    (table,) = document.tables
    for name, times in zip(JOBS, texts_of(table, "times quicker"), strict=True):
        cautious = reports[name].advice
        assert cautious is not None
        assert cautious.cautious is not None
        assert float(times) == pytest.approx(1 / cautious.cautious.quicker, abs=0.006)
        assert float(times) >= 1.22
    bare = comparison_document({"bare": replace(advised_report("heavy-shaft"), advice=None)})
    assert set(json_document(bare)["jobs"][0]) == {"job", "verdict", "not_known", "checks", "assumptions"}
    assert texts_of(bare.tables[0], "times quicker") == ["-"]


@pytest.mark.parametrize("name", ["tumbler-wrap", "heavy-shaft"])
def test_every_motor_is_a_row_in_table_document_and_csv(name: str) -> None:
    library = {motor: MOTORS[motor] for motor in ("nema23-long", "nema23-short-sealed", "nema14-pancake")}
    candidates = compare_motors(shipped(name)[0], library)
    document = motors_document(candidates)
    rows = json_document(document)["motors"]
    assert [row["name"] for row in rows] == [each.name for each in candidates]
    lines = behind(document).splitlines()
    read = list(csv.DictReader(io.StringIO(csv_text(document.tables[0]))))
    for each, row, cells in zip(candidates, rows, read, strict=True):
        assert (row["verdict"], row["pareto"]) == (each.verdict.value, each.best)
        assert row["torque_margin"] == each.torque_margin
        shown = next(line for line in lines if line.split()[0] == each.name)
        assert shown.rstrip().endswith("*") == each.best
        assert each.verdict.value in shown
        assert cells["name"] == row["name"]
        assert cells["index_s"] == ("" if row["index_s"] is None else str(row["index_s"]))
        assert cells["reasons"] == ";".join(each.reasons)
        assert cells["costs"] == ";".join(f"{cost.name}={cost.index_s}" for cost in each.costs)
        if row["index_s"] is not None:
            assert row["index_s"] == pytest.approx(row["move_s"] + row["settle_s"])
            assert each.motion is not None
            assert row["speed_deg_per_s"] == math.degrees(each.motion.speed)
        for detail in each.details:
            assert f"  {each.name}: {detail}" in lines
    assert any("set to each motor's rated current, at most to driver.highest_current" in line for line in lines)
    assert lines[-1] == ESTIMATE.lines[0]


def test_a_motor_without_thermal_data_is_marked_on_what_is_known() -> None:
    whole = MOTORS["nema23-long"]
    bare = whole.model_copy(update={"thermal_resistance": None, "radial_load": None})
    document = motors_document(compare_motors(shipped("shaft-scale")[0], {"whole": whole, "bare": bare}))
    lines = {line.split()[0]: line for line in behind(document).splitlines() if line.split()[0] in ("whole", "bare")}
    assert ", on what is known" in lines["bare"]
    assert ", on what is known" not in lines["whole"]
    rows = {row["name"]: row for row in json_document(document)["motors"]}
    assert (rows["bare"]["not_known"], rows["whole"]["not_known"]) == (["motor-shaft-load"], [])
    assert (rows["bare"]["assumed"], rows["whole"]["assumed"]) == (["motor.thermal_resistance"], [])
    assert rows["bare"]["index_s"] == rows["whole"]["index_s"]


SWEEP = parse_sweep("index.acceleration=1 rad/s^2..900 rad/s^2:2")


def test_a_sweep_is_a_row_for_each_value_with_all_its_checks() -> None:
    points = sweep_limits(shipped("heavy-shaft")[0], SWEEP)
    values = json_document(sweep_document(SWEEP, points))["sweep"]
    assert values["key"] == "index.acceleration"
    first, last = values["points"]
    assert list(first) == [
        "value", "verdict", "reasons", "trouble", "index_s", "acceleration_deg_per_s2", "speed_deg_per_s", "binding",
        "segments", "checks",
    ]  # fmt: skip
    assert points[0].report is not None
    assert first["checks"] == json_document(limits_document(points[0].report))["checks"]
    assert first["acceleration_deg_per_s2"] == pytest.approx(math.degrees(1))
    assert (last["verdict"], last["index_s"], last["checks"]) == ("fails", None, [])
    assert last["trouble"].startswith("the plan exceeds its limits: torque-accelerating")
    lines = behind(sweep_document(SWEEP, points)).splitlines()
    assert lines[1].split()[0] == "index.acceleration"
    assert lines[2].split()[-3:] == ["mid-range", "2", "%"]
    assert f"  900 rad/s^2: {last['trouble']}" in lines
    (jump,) = values["jumps"]
    assert (jump["before"], jump["after"], jump["what"]) == ("1 rad/s^2", "900 rad/s^2", f"{first['verdict']} -> fails")
    assert lines[-1] == f"  1 rad/s^2 -> 900 rad/s^2: {jump['why']}"


def test_the_csv_of_a_sweep_has_the_margin_of_every_check() -> None:
    points = sweep_limits(shipped("heavy-shaft")[0], SWEEP)
    known, unknown = csv.DictReader(io.StringIO(csv_text(sweep_margins(SWEEP, points))))
    assert known["index.acceleration"] == "1 rad/s^2"
    assert list(known)[:7] == [
        "index.acceleration", "verdict", "reasons", "trouble", "index_s", "acceleration_deg_per_s2", "speed_deg_per_s"
    ]  # fmt: skip
    assert points[0].report is not None
    for check in points[0].report.checks:
        assert float(known[f"margin {check.name}"]) == check.margin
        assert unknown[f"margin {check.name}"] == ""
    assert unknown["trouble"]


def test_the_tightest_limit_is_one_of_those_that_make_the_verdict() -> None:
    found = advised_report("tumbler-wrap")  # exceeded: rough estimates stand far below zero
    points = sweep_limits(shipped("tumbler-wrap")[0], parse_sweep("drive.friction=0.05..0.5:2"))
    section_of = json_document(sweep_document(SWEEP, points))["sweep"]["points"]
    assert [point["verdict"] for point in section_of] == ["fails", "exceeded"]
    assert set(section_of[1]["reasons"]) == {
        check["name"] for check in section_of[1]["checks"] if check["verdict"] == "exceeded"
    }
    assert found.verdict is Verdict.EXCEEDED


def test_no_report_no_checks() -> None:
    assert checks_table(None).rows == ()
