"""What a person is told about a job that isn't sure: which datum decides, what to measure, and what that gives."""

import pytest

from firmware_host.model.files.loading import Setup
from firmware_host.planning.plan import plan_job
from firmware_host.planning.reliability.estimate import Reliability, reliability
from firmware_host.planning.reliability.inputs import DEFAULT_TOLERANCES
from firmware_host.reporting.reliability import reliability_document, reliability_lines
from firmware_host.reporting.reliability_advice import WHERE_AND_HOW
from tests.planning.limits.workshop import job, machine, roller_machine


def told(found: Reliability) -> str:
    return "\n".join(reliability_lines(found))


@pytest.fixture(scope="module")
def unsure() -> Reliability:
    setup = Setup(job(), roller_machine(rolling_resistance="0.8 mm", friction=0.35))
    return reliability(setup, plan_job(setup), draws=20_000)


def test_every_datum_that_may_be_drawn_has_a_place_and_a_way_to_measure_it() -> None:
    assert set(WHERE_AND_HOW) == set(DEFAULT_TOLERANCES)


def test_the_text_names_what_decides_and_what_measuring_it_gives(unsure: Reliability) -> None:
    text = told(unsure)
    assert "Reliability: fails." in text
    assert "What decides is no-slip." in text
    assert "What matters most is rolling_resistance" in text
    assert "taken from -50 % to +50 % (common practice, no source)" in text
    assert "With rolling_resistance confirmed to within 5 % by measuring: " in text
    assert "With rolling_resistance and friction confirmed to within 5 % by measuring: holds" in text
    assert "Write it in drive.rolling_resistance, and tolerances.rolling_resistance = 0.05." in text
    assert "Write it in drive.friction, and tolerances.friction = 0.05." in text


def test_the_acceleration_told_is_the_one_found_rounded_down(unsure: Reliability) -> None:
    document = reliability_document(unsure)["better"]
    line = next(line for line in reliability_lines(unsure) if "Without measuring" in line)
    said = float(line.split("at most ")[1].split()[0])
    assert 0.9 * document["acceleration_deg_per_s2"] < said <= document["acceleration_deg_per_s2"]
    assert [step["inputs"] for step in document["measured"]] == [
        ["rolling_resistance"],
        ["rolling_resistance", "friction"],
    ]
    assert document["measured"][-1]["verdict"] == "holds"


def test_a_sure_job_is_told_what_matters_and_nothing_to_do() -> None:
    setup = Setup(job(), machine())
    found = reliability(setup, plan_job(setup), draws=20_000)
    text = told(found)
    assert "Reliability: holds." in text
    assert "What matters most is torque" in text
    assert "To measure" not in text
    assert "Without measuring" not in text
    assert reliability_document(found)["better"] is None


def test_where_no_gentler_ramp_holds_the_text_says_so() -> None:
    # A rolling friction that uses up the grip by itself, in some of the draws: 1.5 of it against 0.8 of the friction.
    setup = Setup(
        job(index={"speed": "1 rad/s", "acceleration": "1 rad/s^2"}),
        roller_machine(rolling_resistance="2.6 mm", friction=0.25),
    )
    found = reliability(setup, plan_job(setup), draws=20_000)
    assert found.better is not None
    assert found.better.acceleration is None
    assert "Without measuring no gentler index.acceleration holds" in told(found)
