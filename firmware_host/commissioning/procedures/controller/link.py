"""`link`: the controller is found, its settings fit, its line answers in time, and the motor holds while it is idle."""

from __future__ import annotations

from firmware_host.acts import Act, Jog, WriteSettings
from firmware_host.commissioning.estimates.measured import Measured, mean_of
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure, number
from firmware_host.commissioning.script import Ask, Look, Say, Script
from firmware_host.station.hand.line import ControllerLine

QUESTIONS = 100
"""Of each lot."""
_SLOW_S = 0.03
"""A median above that makes every index noticeably longer: common practice, no source."""
_FITS = "fits"
_BY_HAND = ("holds", "turns", "not tried")


class Link(Procedure):
    """Ask the controller what it is and how it is set, time its answers, and try the shaft by hand."""

    key = "link"
    title = "the controller and its line"
    purpose = "Shows that the controller answers, in time, set as the files say, and that its motor holds when idle."
    needs = ("nothing but a hand for the shaft",)
    repeats, fewest = 5, 2
    resumed, stands_still, asks_only = "anywhere", True, True

    def moves(self, bench: Bench) -> str:
        return "Nothing turns, and no setting is written."

    def script(self, bench: Bench) -> Script:
        line = bench.line
        if line is None:
            raise TypeError("it is carried out at an open line")
        found = str((yield Look("found", "Asking what it is", lambda _: line.described())))
        wrong = str((yield Look("settings", "Comparing its settings with the files", lambda _: _wrong(line))))
        writable = str((yield Look("writable", "", lambda _: "yes" if line.fit().writable else "no")))
        medians, late = [], []
        for lot in range(1, bench.repeats + 1):
            words = f"Asking {QUESTIONS} times, {lot} of {bench.repeats}"
            medians.append(number((yield Look(f"median-{lot}", words, lambda _: line.ask(QUESTIONS)))))
            late.append(number((yield Look(f"late-{lot}", "", lambda _: line.late(QUESTIONS)))))
        setting = str((yield Look("release", "", lambda _: _release(line))))
        yield Say(
            "CAUTION: nothing is told to move now, but keep clothes and hands clear of rollers and jaws. A heavy or "
            "overhung part stays supported."
        )
        tried = str(
            (yield Ask("shaft", "Try to turn the shaft by hand, gently: does the motor hold it?", "choice", _BY_HAND))
        )
        return (
            _found(found),
            _settings(bench, line, wrong, writable),
            _latency(medians, late),
            _energised(setting, tried),
        )


def _wrong(line: ControllerLine) -> str:
    fit = line.fit()
    return "; ".join((*fit.wrong, *((fit.refusal,) if fit.refusal else ())))[:900] or _FITS


def _release(line: ControllerLine) -> str:
    delay_ms = line.release_delay_ms()
    return "stays on" if delay_ms is None else f"is released {delay_ms} ms after a move"


def _found(told: str) -> Finding:
    return _told("link-found", "the controller answers", 1.0, f"Found: {told}.")


def _settings(bench: Bench, line: ControllerLine, wrong: str, writable: str) -> Finding:
    if wrong == _FITS:
        return _told("link-settings", "its settings fit", 1.0, "Its settings are those that the files need.")
    acts: tuple[Act, ...] = ()
    if writable == "yes":
        acts = (
            (WriteSettings(port=line.url),) if bench.setup is not None else (Jog(port=line.url, write_settings=True),)
        )
    otherwise = "" if acts else " Change them with the controller's own tools, or what the machine's file states."
    return _told("link-settings", "its settings fit", 0.0, f"They do not fit: {wrong}.{otherwise}", acts)


def _latency(medians: list[float], late: list[float]) -> Finding:
    median, worst = mean_of(medians, 0.0), max(late)
    slow = median.value > _SLOW_S
    what = (
        " That is slow: look at the adapter's latency timer, at hubs and cable, and at the baud."
        if slow
        else " That is quick enough."
    )
    questions = QUESTIONS * len(medians)
    return Finding(
        key="link-latency",
        name="the line answers after",
        measured=median.scaled(1e3),
        unit="ms",
        formula="mean of the lots' medians (JCGM 100:2008, 4.2)",
        verdict="change" if slow else "told",
        sentence=f"99 % of {questions} answers came within {worst * 1e3:.3g} ms.{what}",
    )


def _energised(setting: str, tried: str) -> Finding:
    by_setting = f"By its settings the motor {setting}"
    if tried == "turns":
        why = "" if setting != "stays on" else " Look at the enable wire, the driver's idle current, the coupling."
        return _told("link-energised", "the motor holds while idle", 0.0, f"{by_setting}, and the shaft turns.{why}")
    if setting != "stays on":
        return _told("link-energised", "the motor holds while idle", 0.0, f"{by_setting}: the part can then turn.")
    tried = "by hand it was not tried" if tried == "not tried" else "and the shaft holds"
    return _told("link-energised", "the motor holds while idle", 1.0, f"{by_setting}, {tried}.")


def _told(key: str, name: str, right: float, sentence: str, acts: tuple[Act, ...] = ()) -> Finding:
    return Finding(
        key=key,
        name=name,
        measured=Measured(right, 0.0),
        unit="",
        formula="as told and seen",
        verdict="as stated" if right else "change",
        sentence=sentence,
        seen="yes" if right else "no",
        acts=acts,
    )
