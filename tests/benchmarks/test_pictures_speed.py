"""What a picture and a report take. Run: python -m pytest tests/benchmarks/test_pictures_speed.py --benchmark-enable.

The figures are for the reader, and those of the whole commands are

    hyperfine --warmup 1 'circumstep picture heavy-shaft torque --output t.svg'
    hyperfine --warmup 1 'circumstep report sixty.toml --output r.html'

What is asserted is counted, not timed: how often a picture is drawn, and how large a file is.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from matplotlib.figure import Figure
from pytest_benchmark.fixture import BenchmarkFixture

from firmware_host.model import Job, Setup, load_job, load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.reporting.pictures.drawn import drawn
from firmware_host.reporting.pictures.picture import Subject
from firmware_host.reporting.pictures.registry import PICTURES
from firmware_host.reporting.report.of_job import job_report
from firmware_host.reporting.report.page import report_page
from tests.reporting.shown import shipped

MADE = datetime(2026, 3, 5, 14, 30, tzinfo=UTC)
SEGMENTS = 60
LARGEST_PICTURE, LARGEST_PAGE = 1_000_000, 4_000_000
"""Bytes: what a mail takes, many times over."""


def sixty_segments() -> Setup:
    setup = load_job("heavy-shaft")
    document = setup.job.model_dump(mode="json", exclude_none=True) | {"segments": {"count": SEGMENTS}}
    return replace(setup, job=Job.model_validate(document))


@pytest.mark.parametrize("picture", PICTURES, ids=lambda each: each.key)
def test_a_picture_is_drawn_once(benchmark: BenchmarkFixture, picture, monkeypatch: pytest.MonkeyPatch) -> None:  # type: ignore[no-untyped-def]
    of = Subject.of(*shipped("bottle-band"))
    times = 0
    draw = Figure.draw

    def counted(figure: Figure, renderer: object) -> None:
        nonlocal times
        times += 1
        draw(figure, renderer)  # type: ignore[arg-type]

    with monkeypatch.context() as patched:
        patched.setattr(Figure, "draw", counted)
        made = drawn(picture, of)
    assert times == 1, "making room for the words draws nothing"
    assert len(made.content) < LARGEST_PICTURE
    benchmark(drawn, picture, of)


def test_the_report_of_sixty_segments(benchmark: BenchmarkFixture) -> None:
    setup = sixty_segments()
    motors = {each.name: load_motor(str(each.path)) for each in list_profiles("motors") if each.shipped}
    page = benchmark(lambda: report_page(job_report(setup, MADE, motors)))
    assert f"{SEGMENTS} segments" in page
    assert len(page.encode()) < LARGEST_PAGE
