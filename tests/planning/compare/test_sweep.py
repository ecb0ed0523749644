"""Sweeps: the values asked for, the same answers as files that say so, and keys that aren't there."""

from __future__ import annotations

import re

import pytest

from firmware_host.errors import InputError, QuantityError, UnknownKeyError
from firmware_host.model import Setup, load_job
from firmware_host.planning.compare.sweep import Sweep, SweepPoint, parse_sweep, sweep_limits
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.plan import plan_job
from tests.planning.limits.workshop import DELETE, job, machine, roller_machine


def swept(text: str, setup: Setup | None = None) -> tuple[SweepPoint, ...]:
    return sweep_limits(setup or Setup(job(), machine()), parse_sweep(text))


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("part.diameter=40 mm..60 mm:9", Sweep("part.diameter", "40 mm", "60 mm", 9)),
        ("drive.friction=0.2..0.5", Sweep("drive.friction", "0.2", "0.5", 9)),
        (" index.safety_factor = 1..3:3", Sweep("index.safety_factor", "1", "3", 3)),
        ("part.mass=1e-1 kg..1/2 kg:2", Sweep("part.mass", "1e-1 kg", "1/2 kg", 2)),
    ],
    ids=["lengths", "nine by default", "spaces", "other numbers"],
)
def test_a_range_is_read(text: str, wanted: Sweep) -> None:
    assert parse_sweep(text) == wanted


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("part.diameter", "does not give a key and a range. Write KEY=a..b"),
        ("part.diameter=40 mm", "does not give a key and a range"),
        ("=1..2", "does not give a key and a range"),
        ("a=1..", "does not give a key and a range"),
        ("a=1..2:1", "asks for 1 points. Give from 2 to 200"),
        ("a=1..2:201", "asks for 201 points"),
        ("a=1..2:x", "asks for x points"),
        ("a=1..2:999999999", "asks for 999999999 points"),
    ],
    ids=["no values", "one value", "no key", "no end", "one point", "too many", "no number", "far too many"],
)
def test_what_is_no_range_is_refused(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        parse_sweep(text)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("part.mass=1 kg..3 kg:5", ["1 kg", "1.5 kg", "2 kg", "2.5 kg", "3 kg"]),
        ("part.mass=2000 g..3 kg:3", ["2000 g", "2500 g", "3 kg"]),
        ("part.mass_offset=0.4 mm..0 mm:3", ["0.4 mm", "0.2 mm", "0 mm"]),
        ("motor.rotor_inertia=1e-5 kg*m^2..3e-5 kg*m^2:3", ["1e-5 kg*m^2", "2e-05 kg*m^2", "3e-5 kg*m^2"]),
        ("index.safety_factor=1..2:3", ["1", "1.5", "2"]),
        ("driver.microsteps=8..12:9", ["8", "9", "10", "11", "12"]),
        ("gearing.belt.efficiency=0.5..0.9:3", ["0.5", "0.7", "0.9"]),
        ("gearing.0.efficiency=0.5..0.9:2", ["0.5", "0.9"]),
        ("motor.torque_curve.points.1.torque=0.4 N*m..0.6 N*m:2", ["0.4 N*m", "0.6 N*m"]),
        ("motor.ambient=20 degC..40 degC:3", ["20 degC", "30 degC", "40 degC"]),
    ],
    ids=["quantities", "two units", "downward", "exponents", "numbers", "whole numbers", "by name", "by number", "deep",
         "temperatures"],
)  # fmt: skip
def test_the_values_are_evenly_spaced_and_the_ends_as_written(text: str, values: list[str]) -> None:
    assert [point.value for point in swept(text)] == values


def test_each_point_is_what_a_file_with_that_value_says() -> None:
    for point in swept("part.mass=1 kg..3 kg:3", Setup(job(part__density=DELETE), machine())):
        alone = plan_job(Setup(job(part__mass=point.value, part__density=DELETE), machine())).limits
        assert point.report == alone
        assert point.verdict is alone.verdict
    for point in swept("driver.supply_voltage=12 V..24 V:3"):
        assert point.report == plan_job(Setup(job(), machine(driver__supply_voltage=point.value))).limits


def test_the_setup_itself_stays_as_it_was() -> None:
    setup = load_job("heavy-shaft")
    before = plan_job(setup).limits
    sweep_limits(setup, parse_sweep("part.mass_offset=0 mm..5 mm:3"))
    assert plan_job(setup).limits == before


def test_heavier_is_slower_and_slipperier_is_slower_until_nothing_is_safe() -> None:
    heavier = swept("part.mass=1 kg..6 kg:4", Setup(job(part__density=DELETE), machine()))
    times = [point.report.motion.timing.move_s for point in heavier if point.report is not None]
    assert len(times) == 4
    assert times == sorted(times)
    slippery = swept("drive.friction=0.5..0.001:4", Setup(job(), roller_machine()))
    held = [point.report for point in slippery if point.report is not None]
    assert len(held) >= 2
    assert [report.motion.timing.move_s for report in held] == sorted(report.motion.timing.move_s for report in held)
    last = slippery[-1]
    assert last.verdict is Verdict.FAILS
    assert last.report is None
    assert "grip" in last.trouble


def test_slipperier_rollers_lose_their_peak_s_margin_before_their_steady_one() -> None:
    work = job(index={"speed": "4 rad/s", "acceleration": "20 rad/s^2"})
    points = swept("drive.friction=0.4..0.1:7", Setup(work, roller_machine()))
    margins = [
        [check.margin or 0.0 for check in point.report.checks if check.name == name]
        for name in ("grip", "grip-peak")
        for point in points
        if point.report is not None
    ]
    steady, peak = margins[:7], margins[7:]
    assert steady == sorted(steady, reverse=True)
    assert peak == sorted(peak, reverse=True)
    assert all(low < high for low, high in zip(peak, steady, strict=True))
    assert peak[-1][0] < 0 < steady[-1][0]


def test_a_weaker_supply_is_slower_and_keeps_its_own_limit() -> None:
    points = swept("driver.supply_current=2 A..0.2 A:5", Setup(job(), machine()))
    reports = [point.report for point in points if point.report is not None]
    assert len(reports) == 5
    times = [report.motion.timing.index_s for report in reports]
    assert times == sorted(times)
    assert times[-1] > 1.2 * times[0]
    for report in reports:
        check = next(check for check in report.checks if check.name == "supply-current")
        assert check.verdict is not Verdict.FAILS


def test_a_part_that_falls_through_is_a_point_that_fails_with_its_reason() -> None:
    points = swept("part.diameter=18 mm..60 mm:2", Setup(job(part__density=DELETE), roller_machine()))
    assert points[0].verdict is Verdict.FAILS
    assert points[0].report is None
    assert "falls through" in points[0].trouble
    assert points[1].report is not None


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("prat.mass", "neither a job nor a machine has a key 'prat'. Did you mean 'part'?"),
        ("part.mas", "part.mas: unknown key 'mas'. Did you mean 'mass'?"),
        ("drive.frction", "Did you mean 'friction_torque'?"),
        ("gearing.bell.efficiency", "the list has no item 'bell'. Did you mean 'belt'?"),
        ("gearing.7.efficiency", "the list has no item '7'. Known here: belt"),
        ("part.mass.value", "part.mass is '2.2 kg', so nothing lies below it"),
        ("part.density.value", "part.density is '7860 kg/m"),
        ("segments.count.x", "segments.count is not given, so nothing lies below it"),
        ("zzz", "neither a job nor a machine has a key 'zzz'. Known here: accept, axis, "),
    ],
    ids=["table", "key", "machine's key", "name", "number", "below a value", "below another", "below nothing",
         "nonsense"],
)  # fmt: skip
def test_an_unknown_key_names_the_nearest(key: str, words: str) -> None:
    with pytest.raises(UnknownKeyError, match=re.escape(words)):
        swept(f"{key}=1..2")


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("part.mass=1..2", QuantityError, "bare number 1: the unit is missing"),
        ("part.mass=1 kg..2 mm", QuantityError, "'mm' is not a unit of mass"),
        ("part.mass=0 kg..2 kg", QuantityError, "must be greater than zero"),
        ("driver.microsteps=0..16", InputError, "microsteps"),
        ("driver.microsteps=1.5..16", InputError, "microsteps"),
        ("name=a..b", InputError, "'a' is neither a number nor a quantity. Vary a key that holds one"),
        ("support.tailstock=1..2", InputError, "support.tailstock: must be true or false"),
        ("driver.current=1 A..3 A", InputError, "above the motor's rated_current"),
    ],
    ids=["bare", "other unit", "zero", "no microsteps", "half a microstep", "text", "truth", "contradiction"],
)
def test_a_value_that_no_file_may_hold_is_refused(text: str, kind: type[InputError], words: str) -> None:
    with pytest.raises(kind, match=re.escape(words)):
        swept(text)
