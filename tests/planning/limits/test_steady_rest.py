"""A steady rest (`[support.steady_rest]`): statics of a beam on two supports, by hand, and the friction it adds."""

from __future__ import annotations

from typing import Any

import pytest
from scipy import constants

from firmware_host.errors import InputError
from firmware_host.model import Machine
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.load.case import load_case, load_variants
from tests.planning.limits.report import named, names, report
from tests.planning.limits.test_supports import TAILSTOCK
from tests.planning.limits.workshop import ROLLERS, job, machine

G = constants.g


def rested(position: str = "80 mm", **keys: Any) -> Machine:
    rest = {"position": position, "friction_torque": "0.02 N*m", "largest_load": "20 N"}
    rest |= {key: value for key, value in keys.items() if key in rest}
    return machine(
        support__steady_rest={key: value for key, value in rest.items() if value is not None},
        **{key: value for key, value in keys.items() if key not in rest},
    )


def test_a_steady_rest_carries_its_share_and_leaves_the_chuck_the_other() -> None:
    # 2.2 kg, centre of mass 50 mm out, rest 80 mm out: it bears 5/8. Bearings 50 mm apart, the face 40 mm before them.
    found = report(rested())
    rest = named(found, "steady-rest-load")
    assert (rest.value, rest.limit) == (pytest.approx(2.2 * G * 5 / 8), 20.0)
    assert named(found, "overhang").value == pytest.approx(G * (2.2 * 3 / 8 + 1.0) * 0.04)
    assert named(found, "radial-load").value == pytest.approx(G * (2.2 * 3 / 8 + 1.0) * (1 + 40 / 50))


def test_of_rest_and_tailstock_nobody_knows_which_bears_so_each_share_is_the_largest() -> None:
    # 100 mm long: chuck and tailstock share evenly; chuck and rest 3/8 to 5/8.
    found = report(rested(**TAILSTOCK))
    assert named(found, "overhang").value == pytest.approx(G * (2.2 / 2 + 1.0) * 0.04)
    assert named(found, "tailstock-load").value == pytest.approx(2.2 * G / 2)
    assert named(found, "steady-rest-load").value == pytest.approx(2.2 * G * 5 / 8)


@pytest.mark.parametrize(
    ("keys", "length", "limit", "words"),
    [
        pytest.param({}, 700, 3, "out of the chuck", id="nothing"),
        pytest.param({"tailstock": True}, 700, 10, "between chuck and tailstock", id="a tailstock"),
        pytest.param({"rest": "500 mm"}, 200, 3, "out of the steady rest", id="a rest"),
        pytest.param({"rest": "650 mm"}, 650, 10, "between chuck and steady rest", id="a rest near the end"),
        pytest.param({"rest": "700 mm"}, 700, 10, "between chuck and steady rest", id="a rest at the end"),
        pytest.param(
            {"rest": "300 mm", "tailstock": True}, 400, 10, "between steady rest and tailstock", id="rest and tailstock"
        ),
    ],
)
def test_a_steady_rest_shortens_the_unsupported_length(
    keys: dict[str, Any], length: float, limit: float, words: str
) -> None:
    # Common practice on lathes: 3 diameters out of one support, 10 between two. The part is 40 mm thick.
    changes: dict[str, Any] = TAILSTOCK if keys.get("tailstock") else {}
    rig = rested(keys["rest"], **changes) if "rest" in keys else machine(**changes)
    long = job(part__diameter="40 mm", part__length="700 mm", part__mass="6.9 kg", part__overhang="350 mm")
    check = named(report(rig, long), "unsupported-length")
    assert (check.value, check.limit) == (pytest.approx(length / 40), limit)
    assert words in check.formula


def test_the_friction_of_a_steady_rest_loads_the_motor_and_a_missing_one_is_assumed() -> None:
    without, known = load_case(machine(), job()), load_case(rested(), job())
    assert known.friction_torque == pytest.approx(without.friction_torque + 0.02)
    unknown = load_case(rested(friction_torque=None), job())
    # Plain jaws, coefficient 0.15, under all that the part can press them with: 2.2 kg, 100 mm long, rest 80 mm out.
    assert unknown.friction_torque == pytest.approx(without.friction_torque + 0.15 * 2.2 * G / 0.8 * 0.03, rel=1e-3)
    assert [each.key for each in load_variants(rested(friction_torque=None), job()).assumptions] == [
        "support.steady_rest.friction_torque"
    ]


def test_a_rest_of_unknown_rating_is_not_known_and_stops_nothing() -> None:
    check = named(report(rested(largest_load=None)), "steady-rest-load")
    assert (check.missing, check.verdict, check.stops) == (
        ("support.steady_rest.largest_load",),
        Verdict.NOT_KNOWN,
        False,
    )
    assert "steady-rest-load" not in names(report())


def test_a_rest_beyond_the_part_and_one_on_rollers_are_refused() -> None:
    with pytest.raises(InputError, match=r"steady_rest\.position: the steady rest stands at 120 mm, beyond the part's"):
        report(rested("120 mm"))
    with pytest.raises(ValueError, match="a part on rollers lies on them all along"):
        rested(drive=ROLLERS, gearing=[])
