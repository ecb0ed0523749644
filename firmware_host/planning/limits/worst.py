"""Each limit at its worst over everything that what is not stated may be, and which of that it depends on."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

from firmware_host.planning.assume.assumption import Assumption
from firmware_host.planning.limits.case import IndexExtremes, LimitCase
from firmware_host.planning.limits.check import LimitCheck
from firmware_host.planning.limits.limit import Limit
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import LoadCase, LoadVariant, LoadVariants


def worst_checks(
    loads: LoadVariants, extremes: Callable[[LoadCase], IndexExtremes], reasons: Mapping[str, str]
) -> tuple[LimitCheck, ...]:
    """The check of each limit that concerns the case, in the order of the registry.

    `extremes`: of a load's indexes. `reasons`: why the user accepts a limit whatever it says, by its name.
    """
    index = extremes(loads.unkind.load)
    cases = [_case(variant, index) for variant in loads.variants]
    alone = [(each, _case(found, extremes(found.load))) for each, found in loads.one_by_one()]
    judged = (_worst(limit, reasons.get(limit.name, ""), cases, alone) for limit in all_limits())
    return tuple(found for found in judged if found is not None)


def _case(variant: LoadVariant, index: IndexExtremes) -> LimitCase:
    return LimitCase(variant.machine, variant.job, variant.load, index)


def _worst(
    limit: Limit, reason: str, cases: list[LimitCase], alone: list[tuple[Assumption | None, LimitCase]]
) -> LimitCheck | None:
    """The gravest check of `cases`; `alone`: the unkind case, and that with one assumption each at its other end."""
    found = [(check, case) for case in cases if (check := limit.judged(case, reason)) is not None]
    if not found:
        return None
    unkind = next((limit.check(case) for each, case in alone if each is None), None)
    assumed = tuple(each.key for each, case in alone if each is not None and _differs(limit.check(case), unkind))
    gravest, of_case = min(found, key=lambda each: _order(each[0]))
    helped = limit.helped(gravest, of_case)
    return replace(helped, assumed=assumed) if assumed else helped


def _order(check: LimitCheck) -> tuple[int, float]:
    return -check.verdict.gravity, check.margin if check.margin is not None else -math.inf


def _differs(first: LimitCheck | None, second: LimitCheck | None) -> bool:
    if first is None or second is None:
        return first is not second
    return (first.value, first.limit, first.verdict) != (second.value, second.limit, second.verdict)
