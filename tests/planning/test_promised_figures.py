"""The figures promised for the first release, each worked out by hand in exact fractions."""

import json
from fractions import Fraction

import pytest

from firmware_host.model import load_machine
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.layout.segments import plan_segments
from firmware_host.planning.route.moves import plan_route, segment_targets, time_moves
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.reporting.render.json import json_document
from firmware_host.units import PI, parse_quantity
from tests.planning.workshop import chuck_machine, job, job_on, roller_machine


@pytest.fixture
def belt_chuck() -> Machine:
    return chuck_machine(gearing=[{"driving_teeth": 20, "driven_teeth": 60}])


@pytest.mark.parametrize(("focus", "count", "widest_deg"), [("crown", 6, 22.96), ("balanced", 5, 32.52)])
def test_sixty_millimetres_on_a_50_mm_part(focus: str, count: int, widest_deg: float) -> None:
    # 60 mm of 157.0796 mm is 137.51 deg. 137.51/22.96 = 5.99 -> 6 segments; 137.51/32.52 = 4.23 -> 5 segments.
    plan = plan_segments(job(window={"focus": focus}))
    assert plan.count == count
    assert plan.window.widest_deg == pytest.approx(widest_deg, abs=0.005)
    assert plan.total == Fraction(60, 50) / PI
    assert plan.arcs().tolist() == pytest.approx([60e-3 / count] * count)


def test_six_segments_of_10_mm_on_a_belt_reduced_chuck_land_on_whole_microsteps(belt_chuck: Machine) -> None:
    # 200 full steps * 16 microsteps * 60/20 = 9600 microsteps per turn. A 10 mm segment on 50 mm turns 10/(50 pi) of a
    # turn = 9600*0.2/pi = 1920/pi = 611.1549815 microsteps; times 0..5 (pi = 3.14159265358979):
    #   0, 611.15, 1222.31, 1833.46, 2444.62, 3055.77 -> 0, 611, 1222, 1833, 2445, 3056.
    # (Steps of a rounded pitch, 611 each, would end at 3055: one microstep short.)
    described = job(segments={"count": 6})
    assert belt_chuck.microsteps_per_part_turn(described.part.contact) == 9600
    route = plan_route(belt_chuck, described, plan_segments(described))
    assert route.targets.tolist() == [0, 611, 1222, 1833, 2445, 3056]
    assert route.deltas.tolist() == [0, 611, 611, 611, 612, 611]


def test_the_shipped_belt_machine_makes_the_same_steps() -> None:
    shipped = load_machine("belt-chuck")
    described = job(segments={"count": 6})
    targets = segment_targets(plan_segments(described), shipped.microsteps_per_part_turn(described.part.contact))
    assert targets.tolist() == [0, 611, 1222, 1833, 2445, 3056]


def test_an_80_mm_part_on_one_inch_rollers_has_no_whole_number_of_microsteps() -> None:
    # 200*32 = 6400 microsteps per turn of the roller; the part turns 25.4/80 of a turn meanwhile:
    # 6400*80/25.4 = 512000/25.4 = 5120000/254 = 2560000/127 = 20157.4803...
    rollers = roller_machine()
    per_turn = rollers.microsteps_per_part_turn(parse_quantity("80 mm", "length"))
    assert per_turn == Fraction(2_560_000, 127)
    assert f"{float(per_turn):.2f}" == "20157.48"
    assert load_machine("two-rollers").microsteps_per_part_turn(parse_quantity("80 mm", "length")) == per_turn
    # One inch written as such is the same roller, exactly.
    assert roller_machine(roller="1 in").microsteps_per_part_turn(parse_quantity("80 mm", "length")) == per_turn


def test_the_document_of_moves_holds_the_exact_fraction_and_the_promised_keys() -> None:
    described = job_on("80 mm", {"angle": "360 deg"}, segments={"count": 8}, window={"half_depth": "4 mm"})
    route = plan_route(roller_machine(), described, plan_segments(described))
    document = json.loads(json.dumps(json_document(moves_document(time_moves(route, speed=1.0, acceleration=5.0)))))
    assert document["microsteps_per_part_revolution"] == "2560000/127"
    assert [
        set(row) >= {"segment", "target_microstep", "delta_microsteps", "angle_deg", "duration_s"}
        for row in document["moves"]
    ] == [True] * 8
    # k/8 of 2560000/127 = 2519.685 k: 0, 2519.69, 5039.37, 7559.06, 10078.74, 12598.43, 15118.11, 17637.80.
    assert [row["target_microstep"] for row in document["moves"]] == [0, 2520, 5039, 7559, 10079, 12598, 15118, 17638]
    assert [row["segment"] for row in document["moves"]] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert sum(row["delta_microsteps"] for row in document["moves"]) == 17638


def test_a_worm_of_sixty_and_a_belt_multiply() -> None:
    both = chuck_machine(gearing=[{"driving_teeth": 17, "driven_teeth": 43}, {"ratio": "60/1"}])
    assert both.reduction == Fraction(43 * 60, 17)
    assert both.microsteps_per_shaft_turn == Fraction(3200 * 43 * 60, 17)


def test_on_rollers_the_surface_travel_of_a_microstep_does_not_depend_on_the_part() -> None:
    # pi*D_part/S = pi*D_part*D_roller/(6400*D_part) = pi*25.4/6400 mm.
    for diameter in ("12 mm", "80 mm", "301.7 mm"):
        quantity = parse_quantity(diameter, "length")
        travel = quantity.exact / roller_machine().microsteps_per_part_turn(quantity)
        assert travel == Fraction("0.0254") / 6400
