"""Limits that the user accepts by name, each with a reason; and which checks keep a plan from moving.

What a user may accept is known here, where the limits are: their names, and which of them nobody may waive.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from firmware_host.errors import InputError, LimitExceededError
from firmware_host.model.files.loading import Setup
from firmware_host.model.files.problems import nearest_of
from firmware_host.planning.limits.check import LimitCheck, Verdict
from firmware_host.planning.limits.registry import all_limits

NO_REASON = "accepted without a reason"

_KEPT_BY_EVERY_PLAN = {
    "keep-out": "the mark would run over what must not be marked",
    "travel": "the axis would run into its end, or tear its cable",
}
"""What somebody may ask to waive that is no limit of the index: no plan is made without it, and why."""


def acceptable(reasons: Mapping[str, str], *, key: str = "accept") -> Mapping[str, str]:
    """The `reasons` by limit as they are, if each names a limit that may be accepted.

    `InputError` for a name that no limit has, with the nearest, and for a limit that nobody may waive, with the reason
    why; `key`: where the names were given.
    """
    never = {limit.name: limit.never_waived for limit in all_limits()} | _KEPT_BY_EVERY_PLAN
    for name in reasons:
        if name not in never:
            raise InputError(f"there is no limit {name!r}", nearest_of(name, sorted(never)), key=key)
        if never[name]:
            problem = f"{name} cannot be accepted: {never[name]}"
            raise InputError(problem, "Take it out, and change what makes it fail", key=key)
    return reasons


def read_accepted(named: Iterable[str], *, key: str = "accept_limits", unsaid: str = NO_REASON) -> dict[str, str]:
    """The reasons by limit of texts "NAME" and "NAME=reason"; `unsaid` stands for a reason that is not there.

    Raises as `acceptable`.
    """
    pairs = (text.partition("=") for text in named)
    reasons = {name.strip(): reason.strip() or unsaid for name, _, reason in pairs}
    acceptable(reasons, key=key)
    return reasons


def accepting(setup: Setup, named: Iterable[str], *, key: str = "accept_limits", unsaid: str = NO_REASON) -> Setup:
    """The setup with more limits accepted, as if its job said so; texts as `read_accepted` takes them."""
    reasons = read_accepted(named, key=key, unsaid=unsaid)
    accept = {**setup.job.accept, **reasons}
    return replace(setup, job=setup.job.model_copy(update={"accept": accept})) if reasons else setup


def stopping(checks: Iterable[LimitCheck], reasons: Mapping[str, str] | None = None) -> tuple[LimitCheck, ...]:
    """The checks because of which nothing may move; `reasons`: limits accepted besides those that the job accepts."""
    accepted = {} if reasons is None else reasons
    judged = (replace(check, reason=accepted.get(check.name) or check.reason) for check in checks)
    return tuple(check for check in judged if check.stops)


def require_may_move(checks: Iterable[LimitCheck], reasons: Mapping[str, str] | None = None) -> None:
    """Raise `LimitExceededError` if one of the `checks` stops the plan; see `stopping`. Nothing may move before."""
    found = stopping(checks, reasons)
    if found:
        unknown = tuple(check.name for check in found if check.verdict is Verdict.NOT_KNOWN)
        raise LimitExceededError(tuple(check.name for check in found), tuple(map(_detail, found)), unknown)


def _detail(check: LimitCheck) -> str:
    if check.value is None or check.limit is None:
        return f"{check.name}: {check.verdict.value}. {check.remedy}"
    value, limit = (f"{each:.4g} {check.unit}".rstrip() for each in (check.value, check.limit))
    return f"{check.name}: {value} where {limit} is the limit. {check.remedy}"
