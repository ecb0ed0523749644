"""What a plan costs, counted and not timed; and that it can be stopped on the way."""

from collections import Counter
from collections.abc import Callable

import numpy as np
import pytest

from firmware_host.model.files.loading import load_job
from firmware_host.planning.index import peaks, ringing, swings
from firmware_host.planning.index.allowed import Allowed
from firmware_host.planning.index.descent import descent
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import load_variants
from firmware_host.planning.plan import plan_job, plan_layout

JOBS = ("shaft-scale", "bottle-band", "heavy-shaft", "sleeve-label", "tumbler-wrap")

SWINGS, RINGINGS = 40_000, 600_000
"""Numbers computed in the two dearest formulas for one plan: of a swing in a move, of what is left after a pulse."""


class StoppedHereError(Exception):
    """What the check of these tests raises."""


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    counts = Counter[str]()

    def count(module: object, name: str, size: Callable[[object], int]) -> None:
        whole = getattr(module, name)

        def counting(*args: object, **keys: object) -> object:
            found = whole(*args, **keys)
            counts[name] += size(found)
            return found

        monkeypatch.setattr(module, name, counting)

    count(swings, "largest_peaks", lambda _: 1)
    count(swings, "index_timing", lambda _: 1)
    count(peaks, "swing_peaks", lambda found: found.pushing.size)  # type: ignore[attr-defined]
    count(ringing, "pulse_square", lambda found: found.size)  # type: ignore[attr-defined]
    count(descent, "peak_bounds", lambda found: found.pushing.size)  # type: ignore[attr-defined]
    return counts


@pytest.mark.parametrize("job", JOBS)
def test_a_plan_looks_at_no_more_oscillators_than_it_has_to(job: str, counted: Counter[str]) -> None:
    plan_job(load_job(job))
    assert counted["largest_peaks"] <= 2  # of the motion found; one more where a first one gave way
    assert counted["index_timing"] <= 2
    assert 0 < counted["swing_peaks"] <= SWINGS
    assert 0 < counted["pulse_square"] <= RINGINGS


@pytest.mark.parametrize("plan", [plan_job, plan_layout], ids=["plan", "layout"])
@pytest.mark.parametrize("nth", [1, 10, 25])
def test_a_plan_stops_when_its_check_raises(plan: Callable[..., object], nth: int) -> None:
    calls = 0

    def check() -> None:
        nonlocal calls
        calls += 1
        if calls == nth:
            raise StoppedHereError("by the test")

    with pytest.raises(StoppedHereError, match="by the test"):
        plan(load_job("tumbler-wrap"), check=check)
    assert calls == nth


def test_a_check_that_does_nothing_changes_nothing() -> None:
    setup = load_job("bottle-band")
    assert plan_job(setup, check=lambda: None) == plan_job(setup)


@pytest.mark.parametrize("job", JOBS)
def test_the_swing_that_the_search_allows_is_where_the_limits_are_used_up(job: str) -> None:
    setup = load_job(job)
    load = load_variants(setup.machine, setup.job).unkind.load
    allowed = Allowed.of(all_limits(), [load], 0.2)
    speeds = np.linspace(0.05, 0.6, 7) * allowed.top_speed
    pull_out = load.pull_out(speeds)
    up, down = allowed.swung(speeds, pull_out)
    usable = (up > 0) & (down > 0)
    assert usable.sum() >= 3
    nothing = np.zeros_like(up)
    for swing in ((up, nothing), (nothing, down)):
        shares = np.max(list(allowed.peak_shares(*swing, speeds, pull_out).values()), axis=0)[usable]
        assert shares == pytest.approx(1.0, rel=2e-3)
