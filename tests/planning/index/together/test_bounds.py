"""What the limits allow of many parts at once, against each part's own bounds."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_host.planning.index.allowed import Allowed
from firmware_host.planning.limits.check import NARROW_MARGIN
from firmware_host.planning.limits.limit import left_over
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import LoadCase
from firmware_host.planning.many.lot.stack import stacked
from tests.planning.index.together.test_motions import LOTS

RESERVES = [pytest.param(NARROW_MARGIN, id="narrow"), pytest.param(0.3, id="wide")]
SHARES = [pytest.param(share, id=f"{share:g} of the steady one") for share in (0.2, 0.7, 1.0)]


def own_shares(load: LoadCase, a: float, v: float, reserve: float) -> dict[str, float]:
    allowed, pull_out = Allowed.of(all_limits(), [load], reserve), np.array([load.lowest_pull_out(v)])
    accelerations, speeds = np.array([a]), np.array([v])
    ramps = allowed.steady_shares(accelerations, speeds, pull_out)
    ramps |= allowed.peak_shares(1.8 * accelerations, 2.4 * accelerations, speeds, pull_out)
    return allowed.speed_shares(v) | {name: float(share[0]) for name, share in ramps.items()}


@pytest.mark.parametrize("reserve", RESERVES)
@pytest.mark.parametrize("hard", SHARES)
@pytest.mark.parametrize("name", LOTS)
def test_many_parts_use_up_as_much_of_each_limit_as_each_alone(name: str, hard: float, reserve: float) -> None:
    parts = LOTS[name]
    load = stacked([each.load for each in parts])
    allowed = Allowed.at_motions(all_limits(), load, reserve)
    a, v = np.array([(hard * each.own.acceleration, hard * each.own.speed) for each in parts]).T
    pull_out = load.lowest_pull_out(v)
    shares = allowed.speed_shares(v) | allowed.steady_shares(a, v, pull_out)
    shares |= allowed.peak_shares(1.8 * a, 2.4 * a, v, pull_out)
    for place, part in enumerate(parts):
        own = own_shares(part.load, float(a[place]), float(v[place]), reserve)
        assert shares.keys() == own.keys()
        for limit, share in own.items():
            found = float(np.broadcast_to(shares[limit], a.shape)[place])
            if limit.startswith(("grip", "seating")):  # of the friction or the force there, of the acceleration here
                assert (found <= 1) == (share <= 1)
            else:
                assert found == pytest.approx(share, rel=1e-9)


@pytest.mark.parametrize("reserve", RESERVES)
def test_an_acceleration_at_the_limit_of_the_rollers_uses_up_all_of_it(reserve: float) -> None:
    parts = LOTS["bottle-band"]
    rolling = [limit for limit in all_limits() if limit.name in ("grip", "seating", "grip-peak", "seating-peak")]
    load, v = stacked([each.load for each in parts]), np.array([each.own.speed for each in parts])
    together = Allowed.at_motions(rolling, load, reserve)
    for limit in rolling:
        own = [Allowed.of([limit], [each.load], reserve) for each in parts]
        if limit.name.endswith("-peak"):
            most = [each.swung(v[k : k + 1], v) for k, each in enumerate(own)]
            up, down = np.array([(float(up[0]), float(down[0])) for up, down in most]).T
            halves = (up, 0.5 * down), (0.5 * up, down)
            found = np.maximum(*(together.peak_shares(*each, v, v)[limit.name] for each in halves))
        else:
            a = np.array([float(each.steady(v[k : k + 1], v)[limit.name][0]) for k, each in enumerate(own)])
            found = together.steady_shares(a, v, v)[limit.name]
        assert found == pytest.approx(1.0, abs=2e-3)
        assert (found <= 1 + 1e-9).all()


def test_of_parts_that_have_nothing_left_over_only_those_are_unbounded() -> None:
    assert left_over(1.0, 1.0, 0.1) is None
    assert left_over(None, 0.0, 0.1) is None
    assert left_over(1.0, 0.5, 0.1) == pytest.approx(0.4)
    many = left_over(1.0, np.array([0.5, 1.5, 0.95]), 0.1)  # type: ignore[arg-type]
    assert many == pytest.approx(np.array([0.4, np.inf, 0.005]))
    assert left_over(1.0, np.array([1.0, 2.0]), 0.1) is None  # type: ignore[arg-type]
