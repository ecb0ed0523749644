"""Every thing shown, as a document: all that JSON says stands on a page made of the same tree, and no key is lost."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest

from firmware_host.acts import Measure
from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.registry import PROCEDURES
from firmware_host.commissioning.record import Answered, CommissionBegin, CommissionEvent, Found, Started, Written
from firmware_host.commissioning.seam.diagnosis import diagnose
from firmware_host.commissioning.seam.marked import marked_part
from firmware_host.commissioning.seam.readings import SeamReading
from firmware_host.model import load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.compare.advice import advised
from firmware_host.planning.compare.motors import compare_motors
from firmware_host.planning.compare.sweep import parse_sweep, sweep_limits
from firmware_host.planning.job_time import job_time
from firmware_host.planning.many.cards import cards_for_many
from firmware_host.planning.many.motors import motors_for_many
from firmware_host.planning.many.parts import lay_out_many, plan_many
from firmware_host.planning.reliability.estimate import reliability
from firmware_host.reporting.document import Document
from firmware_host.reporting.machines.controllers import found_document
from firmware_host.reporting.machines.hand import hand_document
from firmware_host.reporting.machines.profiles import profiles_document
from firmware_host.reporting.measuring.commissioning import findings_document, led_document, procedures_document
from firmware_host.reporting.measuring.record import record_document
from firmware_host.reporting.measuring.seam import seam_document
from firmware_host.reporting.pictures.registry import PICTURES
from firmware_host.reporting.pictures.told import pictures_document
from firmware_host.reporting.plans.card import card_document
from firmware_host.reporting.plans.limits import comparison_document, limits_document
from firmware_host.reporting.plans.motors import motors_document
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.reporting.plans.part_cards import part_cards_document
from firmware_host.reporting.plans.parts import limits_of_parts, motors_of_parts, segments_of_parts
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.plans.sweep import sweep_document
from firmware_host.reporting.plans.time import time_document
from firmware_host.reporting.runs.run import run_document
from firmware_host.reporting.runs.runs import runs_document
from firmware_host.station.hand.hand import Where
from tests.reporting.pictures.subjects import subject
from tests.reporting.shown import JOBS, page, printed, shipped, values_in_json, values_on_page
from tests.reporting.test_stations import FOUND, LISTED, RECORD, STATUS
from tests.reporting.test_time import AT, LEARNED

MOTORS = {p.name: load_motor(str(p.path)) for p in list_profiles("motors") if p.shipped}
TURNED = Where(1000, 37.5, 52.25, "deg", "set", still=True, energised=True)
FEW = {name: MOTORS[name] for name in ("nema34-short", "nema14-pancake", "nema23-short-sealed")}
PARTS = [{"serial": "A1", "part.diameter": "68 mm"}, {"part.diameter": "1 mm"}]


def limits_and_reliability(job: str) -> Document:
    setup, plan = shipped(job)
    return limits_document(advised(setup, plan, MOTORS), reliability(setup, plan, draws=2000))


def sweep(job: str) -> Document:
    wanted = parse_sweep("index.acceleration=1 rad/s^2..900 rad/s^2:2")
    return sweep_document(wanted, sweep_limits(shipped(job)[0], wanted))


def seam(job: str) -> Document:
    setup, plan = shipped(job)
    readings = [SeamReading(5e-5, 2e-4, number) for number in (1, 2)]
    return seam_document(diagnose(setup, marked_part(setup, plan.layout), readings), {"lines": "two lines"})


FINDING = Finding(
    "lost-motion",
    "lost motion at the part",
    Measured(0.303, 0.02, 4),
    "deg",
    "a mean",
    "change",
    "The file has 0.02 deg.",
)
WRITTEN = Written(
    file="m.toml", key="gearing.0.lost_motion", before="0.02 deg", after="0.303 deg", backup="m.before.toml"
)
COMMISSIONED: list[CommissionEvent] = [
    CommissionBegin(machine="belt-chuck"),
    Started(procedure="lost-motion", turns=1, repeats=5, within_length=1e-4, within_angle=0.01),
    Answered(question="below-1", answer=0.125),
    Found(procedure="lost-motion", quantity="lost-motion", name="lost motion at the part", value=0.303, deviation=0.02,
          freedom=4.0, unit="deg", formula="a mean", verdict="change", sentence="The file has 0.02 deg."),
    Found(procedure="ringing", quantity="natural-frequency", name="the axis swings at", value=57.25, deviation=0.5,
          freedom=9.0, unit="Hz", formula="a count", verdict="change", sentence="It is not.", planned=(61.5, 77.25)),
    WRITTEN,
]  # fmt: skip


def comparison(job: str) -> Document:
    setup, plan = shipped(job)
    report = advised(setup, plan, MOTORS)
    return comparison_document({job: report, "without advice": replace(report, advice=None)})


KINDS: dict[str, Callable[[str], Document]] = {
    "segments": lambda job: segments_document(shipped(job)[1].layout),
    "card": lambda job: card_document(shipped(job)[0], shipped(job)[1].layout),
    "part cards": lambda job: part_cards_document(shipped(job)[0], cards_for_many(shipped(job)[0], PARTS)),
    "time": lambda job: time_document(job_time(*shipped(job)), LEARNED, AT, homes=True),
    "moves": lambda job: moves_document(shipped(job)[1].program),
    "limits": limits_and_reliability,
    "motors": lambda job: motors_document(compare_motors(shipped(job)[0], FEW)),
    "sweep": sweep,
    "limits of parts": lambda job: limits_of_parts(plan_many(shipped(job)[0], PARTS)),
    "segments of parts": lambda job: segments_of_parts(lay_out_many(shipped(job)[0], PARTS)),
    "motors of parts": lambda job: motors_of_parts(motors_for_many(shipped(job)[0], PARTS[:1], FEW)),
    "comparison": comparison,
    "run": lambda job: run_document(RECORD, {1: 2}, STATUS),
    "runs": lambda job: runs_document(LISTED),
    "hand": lambda job: hand_document(TURNED, part="the job's part", place="the start mark"),
    "seam": seam,
    "procedures": lambda job: procedures_document(PROCEDURES),
    "findings": lambda job: findings_document(PROCEDURES[0], [FINDING], [WRITTEN]),
    "led": lambda job: led_document(
        [("gate", "measured"), *((each, "there is none") for each in ("home", "grip", "drag", "link"))],
        ["ratio", "focus"],
        Measure(of="shaft-scale"),
    ),
    "commissioning": lambda job: record_document(COMMISSIONED),
    "pictures": lambda job: pictures_document(PICTURES, subject(job)),
    "controllers": lambda job: found_document(FOUND),
    "profiles": lambda job: profiles_document(list_profiles("motors")),
}


@cache
def made(kind: str, job: str) -> Document:
    return KINDS[kind](job)


CASES = [(kind, job) for kind in KINDS for job in (JOBS if kind in ("segments", "moves", "limits") else JOBS[1:2])]


@pytest.mark.parametrize(("kind", "job"), CASES, ids=[f"{kind}-{job}" for kind, job in CASES])
def test_every_figure_of_the_json_stands_on_a_page_of_thirty_lines_of_code(kind: str, job: str) -> None:
    document = made(kind, job)
    promised = values_in_json(document)
    assert len(promised) > 5
    assert promised - values_on_page(document) == set()


@pytest.mark.parametrize("kind", KINDS)
def test_what_a_terminal_shows_stands_on_the_page_too(kind: str) -> None:
    document = made(kind, "heavy-shaft")
    text = " ".join(page((*document.first, *document.nodes)).replace("<", " <").replace(">", "> ").split())
    lines = (*printed(document).splitlines(), *printed(document, details=True).splitlines())
    shown = {word for line in lines for word in line.split()}
    assert shown
    missing = {word for word in shown if word.strip("[]:,") not in text and not set(word) & set("<>&'\"")}
    assert {word for word in missing if not re.fullmatch(r"\d+\.0+", word) or str(float(word)) not in text} == set()


def test_documents_of_equal_plans_are_equal_and_cannot_be_changed() -> None:
    setup, plan = shipped("shaft-scale")
    assert segments_document(plan.layout) == segments_document(plan.layout)
    document = limits_document(plan.limits)
    assert hash(document) == hash(limits_document(plan.limits))
    with pytest.raises(AttributeError, match="cannot assign to field 'nodes'"):
        document.nodes = ()  # type: ignore[misc]
    assert setup.job.name
