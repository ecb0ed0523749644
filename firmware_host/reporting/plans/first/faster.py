"""Can it go faster? Yes or no, by how much, what to change first, and what that costs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from firmware_host.planning.index.report import IndexAdvice, OtherChoice
from firmware_host.planning.limit_report import LimitReport
from firmware_host.reporting.document import Node, Notes
from firmware_host.reporting.measures import listed, percent
from firmware_host.reporting.plans.first.words import ROOM_TO_SPARE

WORTH_IT = 1.005
"""From how many times quicker on a change counts as one."""

_MOST = 2
"""Changes, and margins of each, that are told at first sight."""


def faster_nodes(report: LimitReport) -> tuple[Node, ...]:
    """The answer, what to change first and what else would help; nothing where nobody asked for advice."""
    return () if report.advice is None else (Notes(tuple(_lines(report.advice))),)


def _lines(advice: IndexAdvice) -> Iterator[str]:
    worth = sorted((each for each in advice.stronger if _helps(each)), key=lambda each: -each.quicker)
    stated = [each for each in worth if each.what.endswith("left out")]
    now = _stopping(advice.motion.binding)
    if not worth:
        yield f"Can it go faster? No, not by any one change looked at{now}"
        return
    yield f"Can it go faster? Yes, up to {_times(worth[0])}{now}"
    ordered = list(dict.fromkeys((*stated, *worth)))[:_MOST]
    for place, each in enumerate(ordered):
        yield f"  {'First' if place == 0 else 'Or'}: {each.what}: {_times(each)}{_then(each)}. {_cost(each)}"


def _stopping(binding: Sequence[str]) -> str:
    """What is in the way now, up to the full stop."""
    if binding == ("as-stated",):
        return "; it goes as fast as the job states."
    if not binding:
        return "."
    return f"; {listed(tuple(binding))} {'stops' if len(binding) == 1 else 'stop'} it now."


def _times(choice: OtherChoice) -> str:
    return f"{choice.quicker:.{1 if choice.quicker >= 2 else 2}f} times"


def _helps(choice: OtherChoice) -> bool:
    return choice.quicker >= WORTH_IT and not (choice.verdict is not None and choice.verdict.stops)


def _then(choice: OtherChoice) -> str:
    return "" if choice.verdict is None else f", verdict then: {choice.verdict.value}"


def _cost(choice: OtherChoice) -> str:
    """What is left of the margins that it takes from, where that comes near a limit."""
    near = [loss for loss in choice.losses if loss.after < ROOM_TO_SPARE][:_MOST]
    told = [f"{loss.name} {percent(loss.before)} -> {percent(loss.after)}" for loss in near]
    return f"It costs margin: {listed(told)}." if told else "It costs no margin that matters."
