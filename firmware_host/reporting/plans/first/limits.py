"""The limits of a job at first sight: whether it may turn, what is tightest, how quick it is, and what would help."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from firmware_host.planning.index.safe_motion import SafeMotion
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import LimitCheck, Verdict, told_unknown
from firmware_host.planning.reliability.estimate import Reliability
from firmware_host.reporting.document import Column, Node, Notes, Section, Table
from firmware_host.reporting.measures import Units, counted, listed, percent, seconds
from firmware_host.reporting.plans.first.faster import faster_nodes
from firmware_host.reporting.plans.first.words import ROOM_TO_SPARE, caution

_COLUMNS = (
    Column("", "check, the tightest first"),
    Column("", "value"),
    Column("", "limit"),
    Column("", "margin"),
    Column("", "verdict"),
)
_MOST_NAMES, _MOST_REMEDIES = 3, 4


def first_of_limits(
    report: LimitReport, found: Reliability | None, verdict: Verdict, units: Units, stopping_s: float | None = None
) -> tuple[Node, ...]:
    """The answer, what would help, the checks that come near their limits, and whether it can go faster.

    `stopping_s`: how long a stop takes at the most (s), where that is known.
    """
    checks = by_margin(report.checks)
    answer = (
        *verdict_of_all(report, verdict, found),
        *_tightest(checks, units),
        time_of(report.motion),
        *((f"A stop stands still within {seconds(stopping_s)}.",) if stopping_s is not None else ()),
        caution(len(report.assumptions)),
    )
    helps = tuple(_remedies(report, found))
    rest = tuple(check for check in checks if _has_room(check))
    near = tuple(check for check in checks if not _has_room(check))
    shown = (*((_table(near, units),) if near else ()), *((Notes((_rest(rest, more=bool(near)),)),) if rest else ()))
    return (Notes(answer), *((Notes(helps),) if helps else ()), Section("", "", shown), *faster_nodes(report))


def by_margin(checks: Iterable[LimitCheck]) -> tuple[LimitCheck, ...]:
    """What stops first, then by what is left: the smallest margin first, what is not known before all others."""
    return tuple(sorted(checks, key=lambda each: (not each.stops, each.margin is not None, each.margin or 0.0)))


def near_limits(report: LimitReport) -> tuple[LimitCheck, ...]:
    """The checks that don't hold with room to spare, the tightest first; the tightest of all where every one does."""
    checks = by_margin(report.checks)
    return tuple(check for check in checks if not _has_room(check)) or checks[:1]


def value_and_limit(check: LimitCheck, units: Units) -> tuple[str, str]:
    """The two as a reader wants them; "not known" for what is missing."""
    unknown = "not known"
    if check.value is None:
        return unknown, unknown if check.limit is None else units.alone(check.limit, check.unit)
    if check.limit is None:
        return units.alone(check.value, check.unit), unknown
    return units.pair(check.value, check.limit, check.unit)


def margin_of(check: LimitCheck) -> str:
    """The margin in whole percents."""
    return "not known" if check.margin is None else percent(check.margin)


def _has_room(check: LimitCheck) -> bool:
    return check.verdict is Verdict.HOLDS and check.margin is not None and check.margin >= ROOM_TO_SPARE


def verdict_of_all(report: LimitReport, verdict: Verdict, found: Reliability | None = None) -> tuple[str, ...]:
    """The verdict and what it means: whether it may turn, which checks it comes from, and which are not known."""
    unknown = told_unknown(report.checks)
    known = ", on what is known" if unknown else ""
    line = f"Verdict: {verdict.value}{known}. {_meaning(report, verdict, found)}"
    return (line, f"Not known, and stops nothing: {listed(unknown)}.") if unknown else (line,)


def _meaning(report: LimitReport, verdict: Verdict, found: Reliability | None) -> str:
    names = [check.name for check in report.checks if check.verdict is verdict and check.stops == verdict.stops]
    if found is not None and found.verdict is verdict:
        names.append("reliability")
    told = _names(names)
    return {
        Verdict.HOLDS: f"{_all(report)} a fifth of the limit or more left.",
        Verdict.NARROW: f"It may turn. Less than a fifth is left: {told}.",
        Verdict.ACCEPTED: f"It may turn. Not kept, but accepted: {told}.",
        Verdict.EXCEEDED: f"It may turn. More than is advised: {told}.",
        Verdict.NOT_KNOWN: f"Nothing may turn until this is known: {told}.",
        Verdict.FAILS: f"Nothing may turn: {told}.",
    }[verdict]


def _all(report: LimitReport) -> str:
    known = len(report.checks) - len(told_unknown(report.checks))
    return f"All {known} checks have" if known == len(report.checks) else f"The {known} checks that are known have"


def _names(names: Sequence[str]) -> str:
    if len(names) > _MOST_NAMES + 1:
        return f"{', '.join(names[:_MOST_NAMES])} and {len(names) - _MOST_NAMES} more"
    return listed(tuple(names)) if names else "none"


def _tightest(checks: Sequence[LimitCheck], units: Units) -> Iterator[str]:
    known = next((check for check in checks if check.margin is not None), None)
    if known is not None:
        value, limit = value_and_limit(known, units)
        yield f"Tightest: {known.name}, {value} where {limit} is the limit, margin {margin_of(known)}."


def time_of(motion: SafeMotion) -> str:
    """What an index and all moves take."""
    timing = motion.timing
    one = f"An index takes {seconds(timing.move_s)} turning and {seconds(timing.settle_s)} settling"
    whole = sum(kind.total_s + (kind.count * timing.settle_s if kind.settle_s > 0 else 0) for kind in timing.kinds)
    moves = sum(kind.count for kind in timing.kinds)
    return f"{one}; {_moves(moves)} {seconds(whole)}." if moves else f"{one}."


def _moves(count: int) -> str:
    return "that is the only move," if count == 1 else f"all {count} moves take"


def _remedies(report: LimitReport, found: Reliability | None) -> Iterator[str]:
    """What doesn't hold, or only narrowly, with what would help; what stops and what is graver first."""
    if found is not None and found.verdict is not Verdict.HOLDS:
        chance = f"{found.chance.probability:.5g}"
        yield f"reliability {found.verdict.value}: no step is lost and nothing slips with probability {chance}"
    told = [check for check in report.checks if check.verdict not in (Verdict.HOLDS, Verdict.NARROW)]
    told.sort(key=lambda check: (not check.stops, -check.verdict.gravity))
    for check in told[:_MOST_REMEDIES]:
        words = check.reason if check.verdict is Verdict.ACCEPTED else check.remedy
        yield f"{check.name} {check.verdict.value}: {words}"


def _table(checks: Sequence[LimitCheck], units: Units) -> Table:
    rows = tuple((check.name, *value_and_limit(check, units), margin_of(check), check.verdict) for check in checks)
    return Table("", "", _COLUMNS, rows)


def _rest(checks: Sequence[LimitCheck], *, more: bool) -> str:
    least = min(check.margin for check in checks if check.margin is not None)
    holds = "holds" if len(checks) == 1 else "hold"
    return f"{counted(len(checks), 'more check' if more else 'check')} {holds}, the tightest {percent(least)}."
