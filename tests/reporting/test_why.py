"""Why a check says what it says: what its formula needs, with each value where the files have it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from firmware_host.errors import InputError
from firmware_host.model import Setup, load_job
from firmware_host.model.files.origins import origins_of
from firmware_host.planning.compare.inputs import CheckInput, explain_checks
from firmware_host.planning.plan import plan_job
from firmware_host.reporting.measures import Units
from firmware_host.reporting.plans.why import why_document
from firmware_host.reporting.render.json import json_document
from firmware_host.units import parse_quantity
from tests.reporting.shown import JOBS, printed, shipped

STEP_RATE = {
    "highest speed of an index",
    "motor.full_steps_per_revolution",
    "driver.microsteps",
    "driver.highest_step_rate",
    "gearing.toothed belt.driving_teeth",
    "gearing.toothed belt.driven_teeth",
}
#: By hand, from the formula of each check on its page of physics.
BY_HAND = {
    "step-rate-driver": STEP_RATE,
    "heat-holding": {
        "motor.resistance",
        "motor.thermal_resistance",
        "motor.highest_temperature",
        "motor.ambient",
        "driver.current",
        "driver.standstill_current",
    },
    "mass": {"part.density", "part.mass", "part.diameter", "part.length"},
    "grip-range": {"part.diameter", "drive.largest_grip"},
    "unsupported-length": {"part.diameter", "part.length", "support.tailstock"},
}


def inputs_of(setup: Setup, name: str) -> dict[str, CheckInput]:
    (found,) = explain_checks(setup, plan_job(setup), [name])
    assert found.check.name == name
    return {each.key: each for each in found.inputs}


@pytest.mark.parametrize("name", BY_HAND)
def test_a_check_takes_in_what_its_formula_needs_and_nothing_else(name: str) -> None:
    assert set(inputs_of(load_job("shaft-scale"), name)) == BY_HAND[name]


@pytest.mark.some(2)
@pytest.mark.parametrize("job", JOBS)
def test_every_check_of_a_shipped_job_takes_in_something_and_each_stated_value_stands_on_its_line(job: str) -> None:
    setup, plan = shipped(job)
    origins = origins_of(setup)
    explained = explain_checks(setup, plan)
    assert [each.check.name for each in explained] == [check.name for check in plan.limits.checks]
    for each in explained:
        assert each.inputs, each.check.name
        for given in (given for given in each.inputs if given.stated and given.path):
            file, line = origins.of(given.path)
            assert line is not None
            words = Path(file).read_text("utf-8").splitlines()[line - 1]
            (key,) = [step for step in given.path if isinstance(step, str)][-1:]
            assert key in words or "points" in given.text, (given.key, words)


LABEL_ONLY = {"inductance": None, "torque_curve": None, "thermal_resistance": None, "rotor_inertia": None}


def label_only() -> Setup:
    setup = load_job("shaft-scale")
    bare = setup.machine.motor.model_copy(update=LABEL_ONLY)
    rate = parse_quantity("28 kHz", "rate", "positive")  # a controller that was measured: steps are not what limits it
    link = setup.machine.link.model_copy(update={"highest_step_rate": rate})
    return replace(setup, machine=setup.machine.model_copy(update={"motor": bare, "link": link}))


def test_what_a_check_assumes_is_among_its_inputs_and_no_other_is_called_assumed() -> None:
    setup = label_only()
    explained = explain_checks(setup, plan_job(setup))
    named = {each.check.name: {given.key for given in each.inputs if given.assumed is not None} for each in explained}
    assert named == {each.check.name: set(each.check.assumed) for each in explained}  # as the plan itself found them
    assert named["mid-range"] == {"motor.inductance"}


def test_a_value_that_nobody_stated_is_called_assumed_with_its_range_or_what_is_taken_without() -> None:
    setup = label_only()
    found = inputs_of(setup, "torque-accelerating")
    inertia = found["motor.rotor_inertia"]
    assert not inertia.stated
    assert inertia.assumed is not None
    assert found["index.safety_factor"].assumed is None
    assert not found["index.safety_factor"].stated
    text = printed(why_document(explain_checks(setup, plan_job(setup), ["torque-accelerating"]), origins_of(setup)))
    rows = {" ".join(line.split()) for line in text.splitlines()}
    assert f"motor.rotor_inertia {inertia.text} assumed, {inertia.assumed.words}" in rows
    assert "index.safety_factor 2 not stated, so this" in rows
    assert f"Range of motor.rotor_inertia: {inertia.assumed.source}" in rows


def test_formula_inputs_and_source_are_told_to_people_and_in_json() -> None:
    setup, plan = shipped("tumbler-wrap")
    explained = explain_checks(setup, plan, ["creep"])
    document = why_document(explained, origins_of(setup))
    check = explained[0].check
    text = printed(document)
    assert text.startswith("creep exceeded: 0.5149 mm where 0.0300 mm is the limit, margin -1616 %.\n")
    assert f"Formula: {check.formula}\nSource: {check.source}\nWhat would help: {check.remedy}\n" in text
    assert "drive.friction" in text
    assert ", two-rollers.toml:" in text
    assert f"two-rollers.toml: {setup.machine_source}" in text
    (row,) = json_document(document)["checks"]
    assert (row["value"], row["formula"], row["source"]) == (check.value, check.formula, check.source)
    friction = next(each for each in row["inputs"] if each["key"] == "drive.friction")
    assert (friction["value"], friction["from"], friction["file"]) == ("0.35", "stated", setup.machine_source)
    inch = printed(why_document(explained, origins_of(setup), Units.INCH))
    assert inch.startswith("creep exceeded: 0.02027 in where 0.00118 in is the limit, margin -1616 %.\n")


def test_a_check_that_is_not_there_is_an_error_that_names_the_nearest() -> None:
    setup, plan = shipped("tumbler-wrap")
    with pytest.raises(InputError, match=r"no check 'crep'. Did you mean 'creep'\?"):
        explain_checks(setup, plan, ["crep"])
    with pytest.raises(InputError, match=r"no check 'zzzz'\. Name one of torque-accelerating, "):
        explain_checks(setup, plan, ["zzzz"])


def test_a_setup_that_came_from_no_file_tells_no_place() -> None:
    setup = replace(load_job("shaft-scale"), job_source="", machine_source="")
    assert origins_of(setup).of(("part", "diameter")) == ("", None)
    document = why_document(explain_checks(setup, plan_job(setup), ["mass"]), origins_of(setup))
    (row,) = json_document(document)["checks"]
    assert {(each["file"], each["line"]) for each in row["inputs"]} == {("", None)}
