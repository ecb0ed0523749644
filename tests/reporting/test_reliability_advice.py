"""What a person is told about a job's reliability: the probability, which datum decides, what measuring it gives."""

from __future__ import annotations

import math
from typing import Any

import pytest

from firmware_host.model.files.loading import Setup
from firmware_host.planning.plan import plan_job
from firmware_host.planning.reliability.estimate import Reliability, reliability
from firmware_host.planning.reliability.inputs import DEFAULT_TOLERANCES
from firmware_host.reporting.document import Document
from firmware_host.reporting.plans.reliability import reliability_section
from firmware_host.reporting.plans.reliability_advice import WHERE_AND_HOW
from firmware_host.reporting.render.json import json_document
from tests.planning.limits.workshop import job, machine, roller_machine
from tests.reporting.shown import printed, shipped


def told(found: Reliability) -> str:
    return printed(Document((reliability_section(found),)))


def document_of(found: Reliability) -> dict[str, Any]:
    values: dict[str, Any] = json_document(Document((reliability_section(found),)))["reliability"]
    return values


@pytest.fixture(scope="module")
def unsure() -> Reliability:
    setup = Setup(job(), roller_machine(rolling_resistance="0.8 mm", friction=0.35))
    return reliability(setup, plan_job(setup), draws=20_000)


def test_every_datum_that_may_be_drawn_has_a_place_and_a_way_to_measure_it() -> None:
    assert set(WHERE_AND_HOW) == set(DEFAULT_TOLERANCES)


def test_the_document_has_every_figure_of_the_estimate(unsure: Reliability) -> None:
    values = document_of(unsure)
    assert list(values) == [
        "verdict", "probability", "interval", "confidence", "interval_method", "parts", "margins", "inputs", "better",
        "draws", "seed",
    ]  # fmt: skip
    assert unsure.chance is not None
    assert (values["probability"], values["interval"]) == (unsure.chance.probability, list(unsure.chance.interval))
    assert [part["name"] for part in values["parts"]] == ["no-step-lost", "no-slip"]
    assert values["margins"] == dict(zip(("p5", "p50", "p95"), unsure.margins or (), strict=True))
    shares = [each["share_of_variance"] for each in values["inputs"]]
    assert shares == [each.share for each in unsure.influences] == sorted(shares, reverse=True)
    assert (values["draws"], values["seed"]) == (20_000, 1)


def test_the_text_names_what_decides_and_what_measuring_it_gives(unsure: Reliability) -> None:
    text = told(unsure)
    lines = [line.split() for line in text.splitlines()]
    assert unsure.chance is not None
    low, high = unsure.chance.interval
    assert f"No step is lost and nothing slips with probability: {unsure.chance.probability:.5g}\n" in text
    assert f"Interval of that probability: {low:.5f} to {high:.5f}\n" in text
    assert "What decides is no-slip." in text
    assert "What matters most is rolling_resistance" in text
    assert ["rolling_resistance", "-50", "%", "+50", "%", "common", "practice,", "no", "source"] in [
        line[:9] for line in lines
    ]
    assert "Confirmed to within 5 % by measuring\n" in text
    assert ["rolling_resistance,", "friction", "holds"] in [line[:3] for line in lines]
    assert "Write it in drive.rolling_resistance, and tolerances.rolling_resistance = 0.05." in text
    assert "Write it in drive.friction, and tolerances.friction = 0.05." in text
    assert "20000 draws, seed 1; each datum anywhere in its range alike" in text


def test_the_acceleration_told_is_the_one_found_rounded_down(unsure: Reliability) -> None:
    better = document_of(unsure)["better"]
    line = next(line for line in told(unsure).splitlines() if line.startswith("Without measuring"))
    said, unit = line.split(": ")[1].split()
    assert unit == "deg/s^2"
    assert 0.9 * better["acceleration_deg_per_s2"] < float(said) <= better["acceleration_deg_per_s2"]
    assert better["acceleration_deg_per_s2"] == math.degrees(unsure.better.acceleration or 0) if unsure.better else None
    assert better["measured_within"] == 0.05
    assert [step["inputs"] for step in better["measured"]] == [
        ["rolling_resistance"],
        ["rolling_resistance", "friction"],
    ]
    assert better["measured"][-1]["verdict"] == "holds"


def test_a_sure_job_is_told_what_matters_and_nothing_to_do() -> None:
    setup = Setup(job(), machine())
    found = reliability(setup, plan_job(setup), draws=20_000)
    text = told(found)
    assert "No step is lost and nothing slips with probability: 1\n" in text
    assert "What matters most is torque" in text
    assert "To measure" not in text
    assert "Without measuring" not in text
    assert document_of(found)["better"] is None


def test_where_no_gentler_ramp_holds_the_text_says_so() -> None:
    # A rolling friction that uses up the grip by itself, in some of the draws: 1.5 of it against 0.8 of the friction.
    setup = Setup(
        job(index={"speed": "1 rad/s", "acceleration": "1 rad/s^2"}),
        roller_machine(rolling_resistance="2.6 mm", friction=0.25),
    )
    found = reliability(setup, plan_job(setup), draws=20_000)
    assert found.better is not None
    assert found.better.acceleration is None
    assert document_of(found)["better"]["acceleration_deg_per_s2"] is None
    assert "up to: none, not even a fiftieth of the planned one\n" in told(found)


def test_what_nobody_stated_is_drawn_and_its_source_told() -> None:
    setup, plan = shipped("heavy-shaft")
    bare = Setup(
        setup.job.model_copy(update={"part": setup.job.part.model_copy(update={"mass_offset": None})}), setup.machine
    )
    rows = {
        row["input"] if "input" in row else row["name"]: row
        for row in document_of(reliability(bare, plan, draws=1000))["inputs"]
    }
    assert "not stated: up to 2 % of the diameter" in rows["mass_offset"]["source"]
