"""`ringing` on axes whose spring and damping are hidden: what it finds, and what the plan then reckons with."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.write_back import write_back
from firmware_host.errors import InputError
from firmware_host.folders import shipped_folder
from firmware_host.model import load_job
from firmware_host.model.files.loading import Setup, load_machine
from firmware_host.planning.by_hand import hand_on_job
from firmware_host.planning.load.case import LoadCase, load_variants
from tests.commissioning.hidden.hands import bench_of
from tests.commissioning.procedures.motion.swinging_bench import Filming, StillHand, film
from tests.support.station_bench import StationBench, changed_setup

SHAFT = hand_on_job(load_job("shaft-scale"))
NOW = datetime(2026, 5, 4, tzinfo=UTC)


def load_of(setup: Setup) -> LoadCase:
    return load_variants(setup.machine, setup.job).unkind.load


COMPUTED = load_of(SHAFT.setup).natural_frequency / (2 * math.pi)


def test_an_axis_that_swings_as_computed_is_told_so_and_known_better_than_before(tmp_path: Path) -> None:
    person = Filming(COMPUTED * 1.01, 0.08, random.Random(1))
    (frequency, damping), hand = film(tmp_path, SHAFT, person)
    assert frequency.verdict == "told"
    assert frequency.measured.lowest <= COMPUTED * 1.01 <= frequency.measured.highest
    assert frequency.measured.within < 0.05 * COMPUTED
    assert "It agrees with the 69.1 Hz" in frequency.sentence
    assert frequency.planned is not None
    assert frequency.planned[0] < 69.1 < frequency.planned[1], "what the plan had, beside it"
    assert damping.measured.lowest <= 0.08 <= damping.measured.highest
    assert any("frames of each swing" in line for line in person.told)
    assert hand.moved == sorted(hand.moved[:1]) + sorted(hand.moved[1:])  # back once, then all from one side
    assert max(hand.moved) < SHAFT.per_turn / 100


@pytest.mark.parametrize(("share", "stiffer"), [(0.8, 0.64), (1.25, 1.5625)])
def test_an_axis_that_swings_otherwise_says_by_how_much_spring_or_inertia_is_wrong(
    tmp_path: Path, share: float, stiffer: float
) -> None:
    person = Filming(COMPUTED * share, 0.05, random.Random(1), rate=960)
    (frequency, _), _ = film(tmp_path, SHAFT, person)
    assert frequency.verdict == "change"
    told = float(frequency.sentence.split("holds ")[1].split(" ")[0])
    assert told == pytest.approx(stiffer, rel=0.08)
    assert f"{1 / told:.1f}"[:3] in frequency.sentence.split("or what turns has ")[1]


def test_what_is_written_narrows_the_plans_band_for_this_part_and_scales_to_a_heavier_one(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes((shipped_folder() / "machines" / "belt-chuck.toml").read_bytes())
    for finding in film(tmp_path, SHAFT, Filming(57.0, 0.08, random.Random(1), rate=960))[0]:
        write_back(path, finding, NOW)
    machine, before = load_machine(str(path)), load_of(SHAFT.setup)
    same = load_of(replace(SHAFT.setup, machine=machine))
    assert same.natural_frequency / (2 * math.pi) == pytest.approx(57.0, rel=0.04)
    assert same.natural_band.lowest <= 2 * math.pi * 57 <= same.natural_band.highest
    assert width(same) < 0.5 * width(before)
    assert (same.damping.lowest, same.damping.highest) != (before.damping.lowest, before.damping.highest)
    heavy = changed_setup("shaft-scale", part={"kind": "solid", "diameter": "80 mm", "length": "150 mm",
                                               "density": "7850 kg/m^3"})  # fmt: skip
    other = load_of(replace(heavy, machine=machine))
    turning, of_heavy = (each.rotor_inertia + each.reflected_inertia for each in (same, other))
    assert of_heavy > 1.3 * turning
    assert other.natural_frequency == pytest.approx(same.natural_frequency * math.sqrt(turning / of_heavy), rel=1e-6)
    assert width(same) < width(other)


def width(load: LoadCase) -> float:
    return load.natural_band.highest / load.natural_band.lowest - 1


def test_a_frequency_that_the_file_has_is_as_stated_when_it_is_found_again(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes((shipped_folder() / "machines" / "belt-chuck.toml").read_bytes())
    (first, _), _ = film(tmp_path, SHAFT, Filming(57.0, 0.08, random.Random(1), rate=960))
    write_back(path, first, NOW)
    plan = hand_on_job(replace(SHAFT.setup, machine=load_machine(str(path))))
    (again, _), _ = film(tmp_path, plan, Filming(57.0, 0.08, random.Random(2), rate=960), 2)
    assert (again.verdict, again.change) == ("as stated", None)
    assert "It is not the 69.1 Hz" in again.sentence
    assert again.planned is not None
    assert again.planned[0] < 57.0 < again.planned[1] < 69.1, "the plan has what was measured before"


def test_miscounted_swings_are_not_written(tmp_path: Path) -> None:
    (frequency, *_), _ = film(tmp_path, SHAFT, Filming(COMPUTED * 3, 0.05, random.Random(1), rate=960))
    assert "were the swings miscounted?" in frequency.sentence
    assert frequency.change is None


def test_a_slow_camera_is_told_of_and_what_it_shows_worse_than_computed_is_not_written(tmp_path: Path) -> None:
    person = Filming(COMPUTED, 0.1, random.Random(1), rate=100, swings=1)
    (frequency, *_), _ = film(tmp_path, SHAFT, person, repeats=2)
    assert any("few, and easily miscounted" in line for line in person.told)
    assert "not known better than what is computed" in frequency.sentence
    assert frequency.change is None


def test_without_sizes_the_frequency_alone_is_found(tmp_path: Path) -> None:
    found, _ = film(tmp_path, SHAFT, Filming(COMPUTED, 0.1, random.Random(1), sizes=False))
    assert [each.key for each in found] == ["natural-frequency"]


def test_a_push_that_shows_no_swing_is_left_out_and_one_alone_tells_nothing(tmp_path: Path) -> None:
    found, _ = film(tmp_path, SHAFT, Filming(COMPUTED, 0.1, random.Random(1), none_at=(2, 4)))
    assert found[0].measured.value == pytest.approx(COMPUTED, rel=0.05)
    with pytest.raises(InputError, match="1 of 5 showed a swing"):
        film(tmp_path, SHAFT, Filming(COMPUTED, 0.1, random.Random(1), none_at=(1, 2, 4, 5)), seed=1)


def test_marks_at_several_settle_times_tell_both_and_nothing_moves(tmp_path: Path) -> None:
    person = Filming(COMPUTED, 0.09, random.Random(1), how="marks")
    (frequency, damping), hand = film(tmp_path, SHAFT, person)
    assert hand.moved == []
    assert frequency.measured.lowest <= COMPUTED <= frequency.measured.highest
    assert damping.measured.lowest <= 0.09 <= damping.measured.highest
    assert "settle-5" in person.asked


def test_times_from_a_recording_are_taken_to_what_it_tells(tmp_path: Path) -> None:
    (frequency, _), _ = film(tmp_path, SHAFT, Filming(COMPUTED, 0.06, random.Random(1), rate=2000, how="timed"))
    assert frequency.measured.within < 0.01 * COMPUTED
    assert frequency.measured.lowest <= COMPUTED <= frequency.measured.highest


def test_a_machine_alone_does_not_say_what_turns_along() -> None:
    bench = bench_of(StillHand(SHAFT), "ringing")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="it is not known what turns along"):
        procedure_named("ringing").moves(replace(bench, setup=None))


def test_it_is_resumed_at_the_first_reading_that_is_missing_and_turns_no_more_for_it(tmp_path: Path) -> None:
    from firmware_host.commissioning.record import Record
    from firmware_host.commissioning.session import carry_out
    from tests.support.hand_bench import hand_on

    bench = StationBench(tmp_path, load_job("shaft-scale"))
    wanted = procedure_named("ringing")
    with hand_on(bench, SHAFT) as hand, Record(tmp_path / "kept.jsonl", "m", bench.clock) as record:
        first = Filming(COMPUTED, 0.08, random.Random(1), stops_after=7)
        with pytest.raises(KeyboardInterrupt):
            carry_out(wanted, bench_of(hand, "ringing"), hand, first, record)
        stood = hand.where.microsteps
        second = Filming(COMPUTED, 0.08, random.Random(2))
        frequency, _ = carry_out(wanted, bench_of(hand, "ringing"), hand, second, record)
        assert hand.where.microsteps == stood
    assert first.asked[-1] == "last-1"
    assert second.asked[0] == "swings-2"
    assert frequency.measured.lowest <= COMPUTED <= frequency.measured.highest


@pytest.mark.parametrize("cases", [pytest.param(40, id="40"), pytest.param(500, id="500", marks=pytest.mark.slow)])
def test_the_intervals_hold_in_nineteen_machines_of_twenty(tmp_path: Path, cases: int) -> None:
    rng = random.Random(17)
    held = held_damping = seen = 0
    for number in range(cases):
        natural, zeta = COMPUTED * rng.uniform(0.7, 1.3), rng.uniform(0.04, 0.15)
        person = Filming(natural, zeta, rng, rate=rng.choice((240, 480, 960)), swings=rng.choice((2, 3)))
        frequency, *others = film(tmp_path, SHAFT, person, number)[0]
        held += frequency.measured.lowest <= natural <= frequency.measured.highest
        seen += len(others)
        held_damping += sum(each.measured.lowest <= zeta <= each.measured.highest for each in others)
    assert held >= 0.9 * cases
    assert held_damping >= 0.9 * seen
    if cases >= 500:
        assert held <= 0.99 * cases
        assert held_damping <= 0.99 * seen
