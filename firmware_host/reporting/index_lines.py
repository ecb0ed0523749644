"""How fast an index goes, what stops it, and what else there is, in words."""

from __future__ import annotations

import math

from firmware_host.planning.index.report import IndexAdvice, OtherChoice
from firmware_host.planning.index.ringing import IndexTiming


def index_lines(advice: IndexAdvice) -> list[str]:
    """The highest safe motion, what stops it going further, the bound, and what other choices would give."""
    motion, timing = advice.motion, advice.motion.timing
    lines = [
        f"Index: {_times(timing)} on average; what stops it going faster: {', '.join(motion.binding) or 'nothing'}.",
    ]
    if advice.bound_s is not None and math.isfinite(advice.bound_s):
        most = timing.move_s / advice.bound_s - 1
        lines.append(
            f"  An acceleration that followed the torque at every speed would move in {advice.bound_s:.4g} s: "
            f"this move takes {100 * most:.0f} % more, ringing looked at."
        )
    if advice.cautious is not None:
        lines.append(
            f"  The usual cautious setting ({advice.cautious.what}) takes {_times(advice.cautious.timing)}: "
            f"the choice is {1 / advice.cautious.quicker:.2f} times quicker."
        )
    lines += [f"  {_stronger(choice)}" for choice in advice.stronger]
    return lines


def _stronger(choice: OtherChoice) -> str:
    change = f"{choice.quicker:.2f} times quicker" if choice.quicker >= 1.005 else "no quicker"
    if choice.quicker < 0.995:
        change = f"{1 / choice.quicker:.2f} times slower"
    return f"With {choice.what}: {_times(choice.timing)}, at {_motion(choice.acceleration, choice.speed)}: {change}."


def _times(timing: IndexTiming) -> str:
    return f"{timing.move_s:.4g} s and {timing.settle_s:.4g} s to settle"


def _motion(acceleration: float, speed: float) -> str:
    return f"{math.degrees(acceleration):.4g} deg/s^2 and {math.degrees(speed):.4g} deg/s"
