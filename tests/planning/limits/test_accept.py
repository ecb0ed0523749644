"""What a user accepts by name: under [accept] in the job, or handed in; and what then still stops a plan."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from firmware_host.errors import InputError, LimitExceededError
from firmware_host.model.files.loading import Setup, job_from, load_job
from firmware_host.planning.limits.accept import accepting, read_accepted, require_may_move, stopping
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.plan import plan_job
from tests.planning.limits.report import named, report
from tests.planning.limits.workshop import DELETE, JOB, changed, job, machine, roller_machine

LIGHT_ROTOR = {"motor__rotor_inertia": "5e-6 kg*m^2"}
REASON = "light rotor, tried at 60 deg/s^2"
NEVER = {"step-rate-driver", "step-rate-controller", "falls-through"}


def with_accept(accept: dict[str, Any]) -> Any:
    return job(accept=accept)


def test_an_accepted_rule_of_thumb_is_accepted_with_its_reason() -> None:
    found = report(machine(**LIGHT_ROTOR), with_accept({"inertia-ratio": REASON}))
    check = named(found, "inertia-ratio")
    assert (check.verdict, check.reason, check.stops) == (Verdict.ACCEPTED, REASON, False)
    assert found.verdict is Verdict.ACCEPTED


def test_an_accepted_limit_that_fails_stops_nothing_and_the_others_still_do() -> None:
    slippery = roller_machine(friction=0.05)
    assert {check.name for check in stopping(report(slippery, acceleration=60.0).checks)} == {"grip", "grip-peak"}
    found = report(slippery, with_accept({"grip": "tape on the rollers"}), acceleration=60.0)
    assert named(found, "grip").verdict is Verdict.ACCEPTED
    assert named(found, "grip-peak").verdict is found.verdict is Verdict.FAILS
    with pytest.raises(LimitExceededError, match=r"^the plan exceeds its limits: grip-peak: ") as caught:
        require_may_move(found.checks)
    assert (caught.value.checks, caught.value.unknown) == (("grip-peak",), ())
    require_may_move(found.checks, {"grip-peak": "tape on the rollers"})


def test_what_is_not_known_and_could_drop_a_part_stops_until_it_is_stated_or_accepted() -> None:
    found = report(machine(support__largest_overhang_moment=DELETE))
    assert named(found, "overhang").verdict is found.verdict is Verdict.NOT_KNOWN
    with pytest.raises(LimitExceededError, match=r"overhang: .*Give support.largest_overhang_moment") as caught:
        require_may_move(found.checks)
    assert "overhang" in caught.value.unknown
    assert "in the job's [accept]" in str(caught.value)
    require_may_move(found.checks, dict.fromkeys(caught.value.unknown, "a light part"))


def test_a_bearing_s_rating_that_is_not_known_is_told_and_stops_nothing() -> None:
    found = report(machine(support__largest_radial_load=DELETE))
    assert named(found, "radial-load").verdict is Verdict.NOT_KNOWN
    assert stopping(found.checks) == ()
    require_may_move(found.checks)


def test_a_limit_that_holds_is_not_accepted_but_holds() -> None:
    found = report(machine(), with_accept({"inertia-ratio": REASON}))
    assert named(found, "inertia-ratio").verdict is Verdict.HOLDS


@pytest.mark.parametrize(
    ("accept", "message"),
    [
        pytest.param({"creap": "x"}, "accept: there is no limit 'creap'. Did you mean 'creep'?", id="name"),
        pytest.param({"falls-through": "x"}, "accept: falls-through cannot be accepted: the part", id="drops"),
        pytest.param({"keep-out": "x"}, "accept: keep-out cannot be accepted: the mark would run over", id="keep-out"),
        pytest.param({"travel": "x"}, "accept: travel cannot be accepted: the axis would run", id="travel"),
        pytest.param({"travel-limits": "x"}, "there is no limit 'travel-limits'. Did you mean", id="nearly travel"),
        pytest.param({"step-rate-controller": "x"}, "accept: step-rate-controller cannot be accepted", id="controller"),
        pytest.param({"step-rate-driver": "x"}, "accept: step-rate-driver cannot be accepted", id="driver"),
    ],
)  # fmt: skip
def test_a_job_that_accepts_what_it_may_not_is_refused_with_the_reason(accept: dict[str, str], message: str) -> None:
    with pytest.raises(InputError, match=re.escape(message)):
        report(machine(), with_accept(accept))


def test_exactly_these_limits_may_never_be_accepted_at_least() -> None:
    assert {limit.name for limit in all_limits() if limit.never_waived} >= NEVER
    assert not any(limit.advisory and limit.never_waived for limit in all_limits())


@pytest.mark.parametrize(
    ("value", "message"),
    [
        pytest.param("", "accept.creep: .*at least 1 character", id="no reason"),
        pytest.param("  ", "accept.creep: .*at least 1 character", id="blanks"),
        pytest.param(True, "accept.creep: must be a text", id="no text"),
    ],
)
def test_an_acceptance_needs_a_reason_in_words(value: object, message: str) -> None:
    with pytest.raises(InputError, match=message):
        job_from(changed(JOB, {"accept": {"creep": value}}), machine=machine())


def test_names_handed_in_are_read_with_and_without_a_reason() -> None:
    told = read_accepted(["creep=measured: 0.1 = good", " axial-walk ", "grip="], unsaid="no reason")
    assert told == {"creep": "measured: 0.1 = good", "axial-walk": "no reason", "grip": "no reason"}
    with pytest.raises(InputError, match=r"--accept-limit: there is no limit 'crep'\. Did you mean 'creep'\?"):
        read_accepted(["crep"], key="--accept-limit")


def test_names_handed_in_join_those_of_the_job_and_go_with_it() -> None:
    setup = load_job("tumbler-wrap")
    setup = replace(setup, job=setup.job.model_copy(update={"accept": {"creep": "measured"}}))
    both = accepting(setup, ["axial-walk=short mark"])
    assert both.job.accept == {"creep": "measured", "axial-walk": "short mark"}
    assert plan_job(both).limits.verdict is Verdict.ACCEPTED
    assert accepting(setup, []) is setup
    again = both.with_values({"index.safety_factor": 2.5})
    assert isinstance(again, Setup)
    assert again.job.accept == both.job.accept
