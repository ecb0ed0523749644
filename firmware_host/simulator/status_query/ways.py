"""How a board of the dialect behaves where boards differ: resets, soft limits, holds, sleep, scales, and reports."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Ways:
    """What one board does, beside the figures of its variant.

    reset_waits: a soft reset takes the motor-off delay (`$1` ms); meanwhile nothing is heard, a status asked for is
    answered after it. idle_waits: the state word says idle only when the motor-off delay
    and a quarter of it is over (as in the recording with 254 ms), unless the motors are never released (from memory).
    alarm_pause_s: so long after an alarm of a reset in motion comes the greeting; also from a soft limit's alarm to its
    message. missed_alarm_every: each so many-th soft reset in motion says no alarm and does not
    lock (0: never).
    limit_alarm: a move beyond a soft limit `locks`, or the board hears no line until a soft reset (`deaf to lines`),
    nor a question for its status (`deaf`). limits_need_homing: only an axis that was homed is kept within its travel.
    scale_change: other steps per unit leave the step counts, so that the position shown becomes another one
    (`steps stay`), or the position, the counts being made anew (`position stays`). zero_scale: 0 steps/unit is taken.
    lines_wait_in_hold: a line that comes during a hold is read only after it.
    hold_shows_feed: the report of a held motion shows the speed that it had.
    sleep: lines are refused, or not heard until a reset that locks (`deaf`); with a setting `$62` of 0 it is refused.
    latch_until_empty: an error answers each further line until an empty one comes, an error of a `$` line too.
    comments_count: a line's comments and blanks count for its longest length. longest_line: characters without its end.
    percent_taken: a line `%` is answered ok. unknown_words: words of the family that it doesn't know.
    prints_in_single: coordinates are made into text in 32 bits, see `printed`.
    metric_letters: axes that inches don't turn (words, and with a setting `$376` the report of those it marks).
    sync_after_idle: a wait for standstill is not over before the state word says idle.
    least_dwell_s: no dwell is shorter. usable_bytes_shown: the report counts one byte less than the buffer has.
    extras: when the report carries more than state, position and speed: `now and then`, or as recorded: `offsets first`
    (each tenth report or so, twentieth or thirtieth in motion), or `others first`.
    optional_speed: speed and extras are each asked for by a bit of `$10` (8, 32 and 64; from memory).
    full_report: 0x80 and 0x87 ask for a report, the second for one with all there is.
    """

    reset_waits: bool = False
    idle_waits: bool = False
    alarm_pause_s: float = 0.0
    missed_alarm_every: int = 0
    limit_alarm: Literal["locks", "deaf to lines", "deaf"] = "locks"
    limits_need_homing: bool = False
    scale_change: Literal["steps stay", "position stays"] = "steps stay"
    zero_scale: bool = False
    lines_wait_in_hold: bool = False
    hold_shows_feed: bool = False
    sleep: Literal["refuses lines", "deaf"] = "refuses lines"
    latch_until_empty: bool = False
    comments_count: bool = True
    longest_line: int = 79
    percent_taken: bool = False
    unknown_words: frozenset[str] = frozenset()
    prints_in_single: bool = False
    metric_letters: str = ""
    sync_after_idle: bool = False
    least_dwell_s: float = 0.0
    usable_bytes_shown: bool = False
    extras: Literal["now and then", "offsets first", "others first"] = "now and then"
    optional_speed: bool = False
    full_report: bool = False
