"""How long a job takes, as a document."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from firmware_host.planning.job_time import JobTime
from firmware_host.reporting.document import Document, Figure, Notes
from firmware_host.reporting.render.duration import duration_text
from firmware_host.station.runs.pass_times import PassTime, PassTimeFrom

_AS = {
    PassTimeFrom.GIVEN: "as given",
    PassTimeFrom.GATE: "as long as the job's gate is open for each",
    PassTimeFrom.UNKNOWN: "not known: no earlier run of this job marked a pass",
}


def time_document(time: JobTime, of_pass: PassTime, now: datetime, *, homes: bool = False) -> Document:
    """Turning, settling and marking time of a job, the whole, and when it is done if it begins `now` (with its zone).

    `homes`: it seeks a home switch first, which takes a time that nobody knows.
    """
    pass_s = of_pass.pass_s
    whole_s = time.whole_s(pass_s) if pass_s is not None else None
    marking_s = time.passes * pass_s if pass_s is not None else None
    return Document(
        (
            Notes((time_line(time, of_pass, now),)),
            _seconds("turning_s", f"Turning, {_number(time.moves, 'move')}", time.turning_s),
            _seconds("settling_s", f"Settling, {_number(time.settles, 'time')}", time.settling_s),
            _seconds("marking_s", f"Marking, {_number(time.passes, 'pass')}", marking_s),
            Figure("passes", "Passes", time.passes),
            Figure("moves", "Moves", time.moves),
            Figure("pass_s", "Each pass", pass_s, "s", ".4g", brief=pass_s is not None),
            Figure("pass_time_from", "The time of a pass is", of_pass.source.value),
            Figure("runs", "Earlier runs that it is learned from", of_pass.runs),
            Figure("passes_learned_from", "Passes in them", of_pass.passes),
            Figure("pass_low_s", "A quarter of them took less than", of_pass.low_s, "s", ".4g"),
            Figure("pass_high_s", "A quarter of them took more than", of_pass.high_s, "s", ".4g"),
            Figure("whole_s", "All of it", whole_s, "s", ".1f"),
            Figure("done_at", "Done, if it begins now", _done_at(now, whole_s)),
            Notes(tuple(_remarks(time, of_pass, homes=homes)), "remarks"),
        )
    )


def time_line(time: JobTime, of_pass: PassTime, now: datetime) -> str:
    """How long a job takes in one line of at most 80 characters, for the top of the answer."""
    turning_s = time.turning_s + time.settling_s
    if of_pass.pass_s is None:
        return f"Time: {_short(turning_s)} to turn and settle; the marking time is not known."
    whole_s = time.whole_s(of_pass.pass_s)
    done = _clock_time(now, whole_s)
    marking = f"{_short(time.passes * of_pass.pass_s)} marking"
    return f"Time: {_short(whole_s)} ({marking}); done at {done} if begun now."


def _seconds(key: str, label: str, value_s: float | None) -> Figure:
    """A duration: seconds for programs, minutes and hours for people."""
    text = "not known" if value_s is None else _short(value_s)
    return Figure(key, label, value_s, text=text, brief=True)


def _short(value_s: float) -> str:
    return f"{value_s:.1f} s" if value_s < 9.95 else duration_text(value_s)


def _number(count: int, word: str) -> str:
    plural = "es" if word.endswith("s") else "s"
    return f"{count} {word}{plural if count != 1 else ''}"


def _clock_time(now: datetime, whole_s: float) -> str:
    """The time of day, and the day where it is another one."""
    done = now + timedelta(seconds=whole_s)
    day = f" on {done:%d %b}" if done.date() != now.date() else ""
    return f"{done:%H:%M}{day}"


def _done_at(now: datetime, whole_s: float | None) -> str | None:
    return None if whole_s is None else (now + timedelta(seconds=whole_s)).isoformat(timespec="seconds")


def _remarks(time: JobTime, of_pass: PassTime, *, homes: bool) -> Iterator[str]:
    if of_pass.source is PassTimeFrom.RUNS:
        runs, passes = _number(of_pass.runs, "earlier run"), _number(of_pass.passes, "pass")
        yield f"The time of a pass is the median of {passes} in {runs} of this job."
        yield f"Half of them took {of_pass.low_s:.4g} s to {of_pass.high_s:.4g} s."
    else:
        yield f"The time of a pass is {_AS[of_pass.source]}."
    least, known = of_pass.at_least_s, of_pass.pass_s
    if least is not None and known is None:
        yield f"The job says at least {least:.4g} s a pass: then {_short(time.whole_s(least))} in all, or more."
    elif least is not None and known is not None and known < least:
        yield f"The job says at least {least:.4g} s (mark.pass_time): the motor may then get warmer than planned."
    if homes:
        yield "Seeking the home switch comes on top: how long that takes is not known."
