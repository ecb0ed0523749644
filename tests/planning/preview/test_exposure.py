"""The raster of a mark, measured in its pixels beside closed-form geometry that shares nothing with it."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from firmware_host.errors import InputError
from firmware_host.model import Setup, load_job
from firmware_host.planning.layout.seams import TrueSizes
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.planning.preview.exposure import Exposure, exposure_of
from firmware_host.planning.preview.near import SEGMENTS, near_by, shows_at_closing_seam
from firmware_host.planning.preview.wrong import AS_PLANNED, WRONG_NUMBERS, Wrong, wrong_named, wrong_numbers


def with_window(setup: Setup, **window: bool) -> Setup:
    changed = setup.job.window.model_copy(update=window)
    return replace(setup, job=setup.job.model_copy(update={"window": changed}))


SHAFT, BOTTLE = load_job("shaft-scale"), load_job("bottle-band")
SLEEVE = with_window(load_job("sleeve-label"), telecentric=True)
PLANS: dict[str, JobPlan] = {each.job.name: plan_job(each) for each in (SHAFT, BOTTLE, SLEEVE)}


def marked(setup: Setup, wrong: Wrong, **how: float) -> Exposure:
    return exposure_of(setup, PLANS[setup.job.name], wrong, **how)  # type: ignore[arg-type]


def runs(row: NDArray[np.uint8], value: int) -> list[tuple[int, int]]:
    """Where in `row` there are unbroken runs of `value`: first point and length."""
    edges = np.flatnonzero(np.diff((row == value).astype(int), prepend=0, append=0))
    return [(int(first), int(end - first)) for first, end in zip(edges[::2], edges[1::2], strict=True)]


def middle(exposure: Exposure) -> NDArray[np.uint8]:
    return exposure.count[exposure.count.shape[0] // 2]


def seams_in_pixels(exposure: Exposure, seams: int) -> list[float]:
    """Gap (+) or overlap (-) at the first seams, m, counted in pixels between the strips' middles."""
    row, found = middle(exposure), []
    places = (exposure.centres / exposure.step).tolist()
    for left, right in list(pairwise(places))[:seams]:
        between = row[int(left) : int(right)]
        found.append(float((between == 0).sum() - (between > 1).sum()) * exposure.step)
    return found


@pytest.mark.parametrize("key", ["diameter-too-big", "diameter-too-small"])
@pytest.mark.parametrize("setup", [SHAFT, SLEEVE], ids=["shaft", "sleeve"])
def test_a_wrong_diameter_opens_or_closes_every_seam_of_a_chuck_by_what_is_predicted(setup: Setup, key: str) -> None:
    wrong = wrong_named(key)
    entered = setup.job.part.diameter.si
    exposure = marked(setup, wrong, points=3000, span=5 * float(PLANS[setup.job.name].segments.arcs().mean()))
    predicted = plan_job(setup, true=TrueSizes(part_diameter=entered * wrong.part)).seams
    arcs = PLANS[setup.job.name].segments.arcs()
    strictly = []
    for number, turned in enumerate(np.diff(PLANS[setup.job.name].route.segment_targets())[:4]):
        # By hand: centres turn by whole microsteps; half of a strip, drawn r sin(f) wide, covers R asin(r sin(f)/R).
        angle = turned * 2 * math.pi / float(PLANS[setup.job.name].route.per_part_turn)
        true, r = entered * wrong.part / 2, entered / 2
        halves = [true * math.asin(r * math.sin(arc / (2 * r)) / true) for arc in arcs[number : number + 2]]
        strictly.append(true * angle - sum(halves))
    found = seams_in_pixels(exposure, 4)
    assert found == pytest.approx(strictly, abs=1.01 * exposure.step)
    assert (np.sign(found) == (1 if wrong.part > 1 else -1)).all()
    # `segments` leaves out that a strip drawn flat burns narrower on a thicker part: x r (tan f - f) a half.
    half = arcs[0] / entered
    flat = entered * abs(wrong.part - 1) * (math.tan(half) - half)
    travelled = predicted.gap[:4] - sum(cause.certain[:4] for cause in predicted.causes)
    assert found == pytest.approx(travelled, abs=exposure.step + 1.2 * flat)


@pytest.mark.parametrize("part", [1 / 1.03, 1 / 0.9], ids=["entered too big", "entered too small"])
def test_on_rollers_a_wrong_diameter_shows_at_the_closing_seam_alone(part: float) -> None:
    plan, entered = PLANS[BOTTLE.job.name], BOTTLE.job.part.diameter.si
    exposure = marked(BOTTLE, replace(AS_PLANNED, part=part), points=6000)
    arc, r, true = float(plan.segments.arcs()[0]), entered / 2, entered * part / 2
    covered = 2 * true * math.asin(r * math.sin(arc / (2 * r)) / true)
    travel = np.diff(plan.route.segment_targets()) * math.pi * entered / float(plan.route.per_part_turn)
    travel *= 1 - BOTTLE.machine.drive.cradle.slip  # type: ignore[union-attr]
    closing = math.pi * entered * part - travel.sum() - covered
    row, first, last = middle(exposure), *(exposure.centres[[0, -1]] / exposure.step)
    around = np.concatenate([row[int(last) :], row[: int(first)]])
    found = float((around == 0).sum() - (around > 1).sum()) * exposure.step
    assert found == pytest.approx(closing, abs=1.01 * exposure.step)
    if closing > 0:  # an overlap of so much reaches into the first seam
        inner = seams_in_pixels(exposure, plan.segments.count - 1)
        assert inner == pytest.approx(travel - covered, abs=1.01 * exposure.step)
        assert np.abs(inner).max() < 0.02 * closing


@pytest.mark.parametrize("key", ["diameter-too-big", "diameter-too-small"])
def test_near_by_a_wrong_diameter_on_rollers_is_looked_at_where_it_shows_the_closing_seam(key: str) -> None:
    wrong, plan, entered = wrong_named(key), PLANS[BOTTLE.job.name], BOTTLE.job.part.diameter.si
    near = near_by(BOTTLE, plan, wrong, 3000)
    arc, r, true = float(plan.segments.arcs()[0]), entered / 2, entered * wrong.part / 2
    # By hand: a strip covers R asin(r sin f/R) to each side; the rollers push the surface on by what was asked for.
    half = true * math.asin(r * math.sin(arc / (2 * r)) / true)
    travel = np.diff(plan.route.segment_targets()) * math.pi * entered / float(plan.route.per_part_turn)
    travel *= 1 - BOTTLE.machine.drive.cradle.slip  # type: ignore[union-attr]
    closing = 2 * math.pi * true - travel.sum() - 2 * half
    assert closing * (wrong.part - 1) > 0
    shown = middle(near)
    at = np.flatnonzero(shown > 1)
    if closing > 0:  # slip opens the seams between by a point
        begin, length = max(runs(shown, 0), key=lambda run: run[1])
        at = np.arange(begin, begin + length)
    assert at.size * near.step == pytest.approx(abs(closing), abs=2.01 * near.step)
    assert (at[0] + at[-1]) / 2 == pytest.approx(shown.size / 2, abs=2), "in the middle of the picture"
    begins = arc / 2 + travel.sum() + half if closing > 0 else arc / 2 - half
    off = (near.left + at[0] * near.step - begins) % (2 * math.pi * true)
    assert min(off, 2 * math.pi * true - off) <= 1.01 * near.step
    assert 0.2 * arc < at[0] * near.step, "a piece of both segments beside it"


@pytest.mark.parametrize(
    ("setup", "key"),
    [(SHAFT, "diameter-too-big"), (BOTTLE, "skewed"), (BOTTLE, "as-planned")],
    ids=["chuck", "rollers skewed", "rollers as planned"],
)
def test_near_by_all_else_is_looked_at_from_where_the_mark_begins(setup: Setup, key: str) -> None:
    wrong, plan = wrong_named(key), PLANS[setup.job.name]
    near = near_by(setup, plan, wrong, 800)
    assert near.left == 0
    assert near.step * 800 == pytest.approx(SEGMENTS * float(plan.segments.arcs()[0]), rel=1e-3)
    assert not shows_at_closing_seam(setup, plan, wrong)


def test_a_band_that_does_not_close_has_no_closing_seam_to_look_at() -> None:
    setup = BOTTLE.with_values({"mark.angle": "180 deg"})
    assert not shows_at_closing_seam(setup, plan_job(setup), wrong_named("diameter-too-big"))


def test_from_wherever_one_looks_the_surface_is_the_same() -> None:
    whole = marked(BOTTLE, wrong_named("diameter-too-small"), points=2000)
    begun = marked(BOTTLE, wrong_named("diameter-too-small"), points=2000, left=-300.4 * whole.step)
    assert begun.left == pytest.approx(-300 * whole.step)
    assert (np.roll(whole.count, 300, axis=1) == begun.count).all()
    assert (np.roll(whole.darkness, 300, axis=1) == begun.darkness).all()


def test_a_segment_too_wide_fades_where_the_surface_leaves_the_window_and_no_sooner() -> None:
    wrong, plan = wrong_named("segments-too-wide"), PLANS[SHAFT.job.name]
    arc = float(plan.segments.total) * math.pi * SHAFT.job.part.diameter.si / round(plan.segments.count * wrong.count)
    exposure = marked(SHAFT, wrong, points=4000, span=2.2 * arc)
    dark = exposure.darkness[round(0.09 * exposure.darkness.shape[0])]  # in the lower solid band
    r, depth = SHAFT.job.part.diameter.si / 2, SHAFT.job.window.half_depth.si  # type: ignore[union-attr]
    # By hand: s = r (1 - cos f) passes the half-depth from f = acos(1 - d/r) on.
    faded = arc / 2 - r * math.acos(1 - depth / r)
    begin, end = (round(place / exposure.step) for place in (arc * 0.5, arc * 1.0))
    measured = (dark[begin:end] < 1 - 1e-6).sum() * exposure.step
    assert measured == pytest.approx(faded, rel=0.02)
    assert dark[begin] == pytest.approx(1.0)
    assert (np.diff(dark[begin : end - 4]) <= 1e-6).all(), "paler and paler"


@pytest.mark.parametrize("setup", [SHAFT, BOTTLE, SLEEVE], ids=["shaft", "bottle", "sleeve"])
def test_as_planned_nothing_fades_and_no_seam_is_off_by_more_than_a_microstep(setup: Setup) -> None:
    plan = PLANS[setup.job.name]
    exposure = marked(setup, AS_PLANNED, points=4000)
    step = math.pi * setup.job.part.diameter.si / float(plan.route.per_part_turn)
    found = np.array(seams_in_pixels(exposure, plan.segments.count - 1))
    slip = getattr(setup.machine.drive.cradle, "slip", 0.0) * plan.segments.arcs()[0]
    assert np.abs(found + slip).max() <= step + 1.01 * exposure.step
    assert exposure.darkness[exposure.darkness > 0].min() >= 0.99


@pytest.mark.parametrize(
    ("job", "window"),
    [
        pytest.param("heavy-shaft", {}, id="rays of a 160 mm lens lean outwards"),
        pytest.param("shaft-scale", {"flat_field_corrected": False}, id="drawn flat"),
    ],
)
def test_what_lens_and_artwork_do_to_the_seams_is_what_segments_predicts(job: str, window: dict[str, bool]) -> None:
    setup = with_window(load_job(job), **window)
    plan = plan_job(setup)
    exposure = exposure_of(setup, plan, points=4000, span=3 * float(plan.segments.arcs()[0]))
    certain = {cause.key: float(cause.certain[0]) for cause in plan.seams.causes}
    predicted = certain["flat-field"] + (certain["lens-slant"] if setup.job.window.telecentric is False else 0.0)
    step = math.pi * setup.job.part.diameter.si / float(plan.route.per_part_turn)
    assert np.mean(seams_in_pixels(exposure, 2)) == pytest.approx(predicted, abs=1.01 * exposure.step + step)
    assert predicted < -3 * exposure.step, "so that a pixel can tell it"


def test_a_skewed_field_steps_its_lines_sideways_by_the_pitch_times_the_skew() -> None:
    wrong, plan = wrong_named("skewed"), PLANS[SHAFT.job.name]
    exposure = marked(SHAFT, wrong, points=3000, span=2.2 * float(plan.segments.arcs()[0]))
    seam = float(plan.segments.arcs()[0]) / exposure.step
    tops = [np.flatnonzero(exposure.count[:, round(seam + aside)]).max() for aside in (-60, 60)]
    # By hand: an edge drawn at y0 lies at (y0 + x sin)/cos, and x goes from +r sin(f) to -r sin(f) across the seam.
    r = SHAFT.job.part.diameter.si / 2
    half = float(plan.segments.arcs()[0]) / (2 * r)
    x = r * math.sin(half - 60 * exposure.step / r)
    assert abs(tops[0] - tops[1]) * exposure.step == pytest.approx(2 * x * math.tan(wrong.skew), abs=2 * exposure.step)


def test_run_out_opens_and_closes_the_seams_around_the_part_and_fades_where_it_lies_deep() -> None:
    wrong, plan = wrong_named("run-out"), PLANS[SHAFT.job.name]
    exposure = marked(SHAFT, wrong, points=5000)
    r, half_depth = SHAFT.job.part.diameter.si / 2, SHAFT.job.window.half_depth.si  # type: ignore[union-attr]
    e, half = wrong.run_out * half_depth, float(plan.segments.arcs()[0]) / (2 * r)
    turned = exposure.centres / r
    edges = [  # by hand: x = r sin(a) - e sin(t) is +-r sin(half) at the edges
        (
            t + math.asin((-r * math.sin(half) + e * math.sin(t)) / r),
            t + math.asin((r * math.sin(half) + e * math.sin(t)) / r),
        )
        for t in turned
    ]
    expected = [r * (after[0] - before[1]) for before, after in pairwise(edges)]
    assert seams_in_pixels(exposure, len(expected)) == pytest.approx(expected, abs=1.01 * exposure.step)
    assert float(exposure.darkness[exposure.darkness > 0].min()) < 0.6


def test_narrow_segments_do_not_fade_but_have_more_seams() -> None:
    few, many = (marked(SHAFT, each, points=3000) for each in (AS_PLANNED, wrong_named("segments-too-narrow")))
    assert many.centres.size == 3 * few.centres.size
    assert many.darkness[many.darkness > 0].min() >= 0.99
    band = round(0.09 * few.darkness.shape[0])
    doubled = [int((np.diff((each.darkness[band] > 1.5).astype(int)) > 0).sum()) for each in (few, many)]
    assert doubled[1] > 2 * doubled[0], "a spot's width twice at each seam"


def test_a_part_on_rollers_has_no_run_out_of_its_own() -> None:
    assert wrong_numbers(SHAFT) == WRONG_NUMBERS
    assert "run-out" not in {each.key for each in wrong_numbers(BOTTLE)}


def test_too_few_points_and_an_unknown_fault_are_refused() -> None:
    with pytest.raises(InputError, match="15 points are no picture"):
        marked(SHAFT, AS_PLANNED, points=15)
    with pytest.raises(InputError, match="nothing that may be wrong is called 'skew'"):
        wrong_named("skew")
