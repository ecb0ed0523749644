"""`focus`: the marking window by ladders, on parts whose true window is hidden; no pulse while the gate is open."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.marks.ladder import FOCUS_RUNG, rungs, usual_step
from firmware_host.commissioning.procedures.focus import Focus
from firmware_host.commissioning.record import Record, read_record
from firmware_host.commissioning.script import Answer, Ask
from firmware_host.commissioning.session import Person, carry_out
from firmware_host.errors import GateError, InputError, LinkError
from firmware_host.model import load_job
from firmware_host.planning.by_hand import HandPlan, hand_on_job
from firmware_host.station.hand.hand import Hand, Where
from tests.commissioning.hidden.hands import bench_of
from tests.commissioning.procedures.controller.marking_bench import MODEM, gated
from tests.support.station_bench import quick_disk

RADIUS = 25e-3
BLUR, BESIDE = 0.05, 0.05e-3


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture(scope="module")
def plan() -> HandPlan:
    return hand_on_job(load_job("shaft-scale"))


@dataclass
class Magnifier(Person):
    """Sees which rungs are good: those whose true depth lies in the hidden window.

    `top` and `bottom`: its ends below the crown (m), which the eye sees to `blur` (m, standard deviation); `beside`:
    the crown stands so far to the right of the field's middle (m).
    """

    top: float
    bottom: float
    step: float
    beside: float = 0.0
    safe: str = "ready"
    whole: str = "yes"
    stops_at: str = "-"
    blur: float = 0.0
    rng: random.Random = field(default_factory=lambda: random.Random(1))
    asked: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def answer(self, ask: Ask) -> Answer:
        if ask.key.startswith(self.stops_at):
            raise KeyboardInterrupt("went home")
        self.asked.append(ask.key)
        if not ask.key:
            return self.safe
        if ask.key.startswith("whole"):
            return self.whole
        which, side, _ = ask.key.split("-")
        sign = 1 if side == "right" else -1
        top, bottom = (end + self.rng.gauss(0, self.blur) for end in (self.top, self.bottom))
        good = [
            rung.number
            for rung in rungs(RADIUS, self.step)
            if top <= self._depth(sign * RADIUS * math.sin(rung.angle)) <= bottom
        ]
        return str(good[0] if which == "first" else good[-1])

    def _depth(self, x: float) -> float:
        return RADIUS - math.sqrt(RADIUS**2 - (x - self.beside) ** 2)


class Marks:
    """A hand whose marking side marks at once."""

    zero_place = ""
    now_s = 0.0

    def __init__(self, plan: HandPlan) -> None:
        self.plan, self.marked = plan, 0
        self.turned: list[Fraction] = []
        self.at_machine_zero = False

    @property
    def where(self) -> Where:
        at = round(self.turned[-1] * self.plan.per_turn) if self.turned else 0
        return Where(at, 0.0, 0.0, "deg", "set", still=True, energised=True)

    @property
    def marking(self) -> Marks:
        return self

    def passed(self, request: Any) -> float:
        self.marked += 1
        return 1.0

    def set_zero(self, at: str, *, place: str = "") -> None:
        self.zero_place = place

    def turn_to(self, to: Fraction, *, straight: bool = False, pace: object = None) -> None:
        self.turned.append(to)


def measured(folder: Path, hand: Any, person: Person, name: str = "kept", **wish: Any) -> dict[str, Finding]:
    with Record(folder / f"{name}.jsonl", "m", VirtualClock()) as record:
        bench = bench_of(cast("Hand", hand), "focus", **wish)
        return {each.key: each for each in carry_out(Focus(), bench, cast("Hand", hand), person, record)}


def step_of(plan: HandPlan) -> float:
    return usual_step(plan.setup.job.window, RADIUS)


def test_the_window_and_where_the_focus_lies_are_found_and_the_safe_end_is_written(
    tmp_path: Path, plan: HandPlan
) -> None:
    """The job has 0.5 mm; the true window is 0.37 mm to each side of 1.12 mm, where 1 mm was meant to be."""
    found = measured(tmp_path, Marks(plan), Magnifier(0.75e-3, 1.49e-3, step_of(plan)))
    half, focus = found["half-depth"], found["focus-depth"]
    assert half.measured.lowest <= 0.37 <= half.measured.highest
    assert half.measured.within < 0.06
    assert half.verdict == "change"
    assert half.change is not None
    assert (half.change.key, half.change.file) == ("window.half_depth", "job")
    written = float(str(half.change.value).removesuffix(" mm"))
    assert half.measured.lowest - 0.001 <= written <= half.measured.lowest
    assert focus.measured.lowest <= 1.12 <= focus.measured.highest
    assert "deeper than it was set" in focus.sentence
    assert found["focus-sideways"].sentence == "The window lies alike to both sides."


def test_a_window_as_stated_changes_nothing(tmp_path: Path, plan: HandPlan) -> None:
    found = measured(tmp_path, Marks(plan), Magnifier(0.55e-3, 1.55e-3, step_of(plan)))
    assert found["half-depth"].verdict == "as stated"
    assert found["half-depth"].change is None


def test_a_focus_that_lies_where_it_was_set_is_as_stated(tmp_path: Path, plan: HandPlan) -> None:
    found = measured(tmp_path, Marks(plan), Magnifier(0.45e-3, 1.55e-3, step_of(plan)))
    assert found["focus-depth"].verdict == "as stated"


def test_a_crown_beside_the_middle_of_the_field_spoils_nothing_and_is_told(tmp_path: Path, plan: HandPlan) -> None:
    found = measured(tmp_path, Marks(plan), Magnifier(0.6e-3, 1.4e-3, step_of(plan), beside=0.8e-3))
    assert found["half-depth"].measured.lowest <= 0.4 <= found["half-depth"].measured.highest
    sideways = found["focus-sideways"]
    assert sideways.measured.lowest <= 0.8 <= sideways.measured.highest
    assert sideways.verdict == "told"


@pytest.mark.parametrize(
    ("top", "bottom", "told"),
    [
        pytest.param(-1.0, 1.4e-3, "The crown itself is good: set the focus deeper", id="too high"),
        pytest.param(0.6e-3, 1.0, "The deepest rung is good: set the focus higher", id="too deep"),
        pytest.param(-1.0, 1.0, "Every rung is good", id="too short a ladder"),
    ],
)
def test_an_end_that_the_ladder_does_not_show_is_told_and_nothing_is_written(
    tmp_path: Path, plan: HandPlan, top: float, bottom: float, told: str
) -> None:
    (found,) = measured(tmp_path, Marks(plan), Magnifier(top, bottom, step_of(plan))).values()
    assert told in found.sentence
    assert found.change is None


def test_each_ladder_is_marked_at_a_standstill_and_no_pulse_falls_into_an_open_gate(tmp_path: Path) -> None:
    made = gated(tmp_path, MODEM)
    with made.hand() as hand:
        person = Magnifier(0.6e-3, 1.4e-3, step_of(hand.plan))
        found = measured(tmp_path, hand, person, repeats=3)
    assert list(found) == ["half-depth", "focus-depth", "focus-sideways"]
    opened = [at for at, on in made.lines.switched if on]
    closed = [next(off for off, on in made.lines.switched if not on and off > at) for at in opened]
    assert len(opened) == 3
    travels = made.bench.device.motion_log[made.bench.motion_before :]
    assert travels
    for begin, end in zip(opened, closed, strict=True):
        assert all(travel.end_s <= begin or travel.start_s >= end for travel in travels)
    stood = [max(travel.end_s for travel in travels if travel.end_s <= at) for at in opened[1:]]
    settle_s = made.bench.plan.settle_s
    assert all(at - end >= settle_s for at, end in zip(opened[1:], stood, strict=True))


def test_nothing_is_marked_before_it_is_safe(tmp_path: Path, plan: HandPlan) -> None:
    hand = Marks(plan)
    with pytest.raises(InputError, match="it is not ready: the gate stays closed"):
        measured(tmp_path, hand, Magnifier(0.0, 1.0, step_of(plan), safe="not ready"))
    assert (hand.marked, hand.turned) == (0, [])


@pytest.mark.parametrize("whole", ["yes", "no"])
def test_a_ladder_that_was_being_marked_when_it_broke_off_is_asked_about_and_never_marked_twice_silently(
    tmp_path: Path, whole: str
) -> None:
    made = gated(tmp_path, MODEM)
    pulled = made.bench.port.line

    def goes(line: Any) -> bool:
        if made.lines.is_open and len(made.lines.delays) == 2:
            raise LinkError("memory://device", "the marking side's line is gone")
        return bool(pulled(line))

    with made.hand() as hand:
        person = Magnifier(0.6e-3, 1.4e-3, step_of(hand.plan), whole=whole)
        made.bench.port.line = goes  # type: ignore[method-assign]
        with pytest.raises(GateError, match="CTS cannot be read"):
            made.measure(hand, "focus", person)
        assert not made.lines.is_open
        made.bench.port.line = pulled  # type: ignore[method-assign]
        again = Magnifier(0.6e-3, 1.4e-3, step_of(hand.plan), whole=whole)
        made.measure(hand, "focus", again)
    assert [key for key in again.asked if key.startswith("whole")] == ["whole-2"]
    assert len(made.lines.delays) == (3 if whole == "yes" else 4)
    assert again.asked[0] == ""  # whether it is safe is asked anew
    assert [event.kind for event in read_record(tmp_path / "kept.jsonl")].count("started") == 1


def test_what_was_marked_whole_is_not_marked_again(tmp_path: Path, plan: HandPlan) -> None:
    hand = Marks(plan)
    with pytest.raises(KeyboardInterrupt, match="went home"):
        measured(tmp_path, hand, Magnifier(0.6e-3, 1.4e-3, step_of(plan), stops_at="first-left-1"))
    assert hand.marked == 3
    again = Magnifier(0.6e-3, 1.4e-3, step_of(plan))
    found = measured(tmp_path, hand, again)
    assert hand.marked == 3
    assert again.asked[:2] == ["", "first-left-1"] or again.asked[0] == "first-left-1"
    assert "half-depth" in found


@pytest.mark.parametrize("cases", [pytest.param(60, id="60"), pytest.param(500, id="500", marks=pytest.mark.slow)])
def test_the_intervals_hold_the_hidden_window_in_nineteen_parts_of_twenty(
    tmp_path: Path, plan: HandPlan, cases: int
) -> None:
    step = step_of(plan)
    holds = {"half-depth": 0, "focus-depth": 0}
    for seed in range(cases):
        rng = random.Random(seed)
        half = rng.uniform(0.25e-3, 0.8e-3)
        middle = FOCUS_RUNG * step + rng.uniform(-0.1e-3, 0.1e-3)
        blur, beside = rng.uniform(0, BLUR) * step, rng.gauss(0, BESIDE)
        person = Magnifier(middle - half, middle + half, step, beside=beside, blur=blur, rng=rng)
        found = measured(tmp_path, Marks(plan), person, str(seed))
        for key, true in (("half-depth", half), ("focus-depth", middle)):
            holds[key] += found[key].measured.lowest <= true * 1e3 <= found[key].measured.highest
    low, high = (0.90, 0.99) if cases == 500 else (0.85, 1.0)
    assert all(low <= held / cases <= high for held in holds.values()), holds
