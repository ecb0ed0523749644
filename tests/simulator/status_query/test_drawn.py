"""The simulated boards answer other values, and the groups of the recordings in another order, by the same rules.

Each group below is some sentences of the lists of facts beside the recordings, asked with values that are drawn; the
order of the groups is drawn, too. No table of recorded answers could pass.
"""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from random import Random
from types import MappingProxyType

import pytest

from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.status_query.recorded import RECORDED


@dataclass(frozen=True)
class Facts:
    """What the list of facts says of one board. `delay_s`: from a soft reset to its greeting with `$1` as delivered;
    `pause_s`: from an alarm to the line after it; `latches`: an error answers each line until an empty one.
    """

    axes: str
    letter: str
    greeting: str
    settings: int
    scale_decimals: int
    delay_s: float
    pause_s: float
    unknown_setting: int
    unknown_letter: int
    latches: bool
    keeps_position: bool
    limits: str
    sleeps: bool
    mist: bool
    speed_always: bool


FACTS: Mapping[str, Facts] = MappingProxyType(
    {
        "status-query-a": Facts(
            "XYZ", "X", "['$' for help]", 34, 3, 0.025, 0.5, 3, 20, False, False, "deaf", True, False, True
        ),
        "status-query-b": Facts(
            "XYZAB", "A", "['$' for help]", 42, 3, 0.254, 0.5, 3, 20, False, False, "status heard", True, True, True
        ),
        "status-query-c": Facts(
            "XYZA",
            "A",
            "['$' or '$HELP' for help]",
            91,
            5,
            0.0,
            0.1,
            53,
            36,
            True,
            True,
            "not before homing",
            False,
            True,
            False,
        ),
    }
)


def as_single(value: float) -> float:
    (rounded,) = struct.unpack("<f", struct.pack("<f", value))
    return float(rounded)


class Talk:
    """A board of one of the recordings, unlocked, with an axis that is quick enough to test."""

    def __init__(self, name: str, random: Random) -> None:
        self.facts, self.random = FACTS[name], random
        self.device = StatusQueryDevice(RECORDED[name])
        self.now_s = 0.0
        self.opened = self.wait(1.0)
        self.index = self.facts.axes.index(self.facts.letter)
        self.ask("$X")
        self.ask("$22=0")
        self.scale = random.choice([8.125, 26.667, 88.889, 100.5])
        self.setting(100, self.scale)
        self.setting(110, 6000)
        self.setting(120, random.choice([100, 200, 400]))
        self.at = 0  # steps

    def setting(self, base: int, value: float) -> list[str]:
        return self.ask(f"${base + self.index}={value}")

    def send(self, data: str) -> None:
        self.device.receive(data.encode("latin-1"), self.now_s)

    def wait(self, duration_s: float) -> list[str]:
        self.now_s += duration_s
        return self.device.transmit(self.now_s).decode("ascii").splitlines()

    def ask(self, line: str, duration_s: float = 0.4) -> list[str]:
        self.send(line + "\n")
        return self.wait(duration_s)

    def report(self) -> dict[str, str]:
        """The status by field: `state` (its word), `at` (the coordinates) and the others by their names."""
        self.send("?")
        (line,) = self.wait(0.05)
        word, *fields = line.strip("<>").split("|")
        found = {"state": word, **dict(field.split(":", 1) for field in fields)}
        found["at"] = found.get("MPos", found.get("WPos", ""))
        return found

    def position(self) -> float:
        return float(self.report()["at"].split(",")[self.index])

    def shown_offset(self) -> float:
        """The offset of the axis, told at once or, where something else had its turn, in the next report."""
        found = {**self.report(), **self.report()}
        return float(found["WCO"].split(",")[self.index])

    def target(self) -> float:
        return round(self.random.uniform(1.0, 40.0), 3) * self.random.choice([1, -1])

    def near(self, steps: int) -> Callable[[float], bool]:
        """Whether a position shown is that of these steps, as told with three decimals."""
        return lambda shown: abs(shown - steps / self.scale) < 0.00051 + abs(shown) * 1e-6

    def move(self, to: float, feed: int = 3000, *, machine: bool = True) -> list[str]:
        return self.ask(f"G21 G90 {'G53 ' if machine else ''}G1 {self.facts.letter}{to:.3f} F{feed}", 0.02 + 0.02)

    def settle(self) -> list[str]:
        said = self.wait(0.0)
        while self.device.moving_at(self.now_s):
            said += self.wait(0.05)
        return said + self.wait(0.5)

    def steps(self) -> int:
        return self.device.steps_at(self.facts.letter, self.now_s)

    def reset(self, *, in_motion: bool = False) -> list[str]:
        """A soft reset and all that is said within 2 s."""
        self.send("\x18")
        return self.wait(2.0)


def whole(to: float, scale: float) -> set[int]:
    """Steps of a place: the nearest, or both where 32 bits may take either (0.115 of a step, by the facts)."""
    exact = to * scale
    return {math.floor(exact + 0.5 + room) for room in (-0.115, 0.0, 0.115)}


def moved(talk: Talk) -> None:
    """A move ends on the nearest step, and the position is that of the step."""
    to = talk.target()
    to += 10.0 if abs(to - talk.position()) < 2.0 else 0.0
    before = talk.steps() - round(talk.position() * talk.scale)
    assert talk.move(to) == ["ok"]
    assert talk.report()["state"] == "Run"
    talk.settle()
    found = talk.report()
    assert found["state"] == "Idle"
    steps = talk.steps() - before
    assert steps in whole(to, talk.scale)
    assert talk.near(steps)(float(found["at"].split(",")[talk.index]))


def paused(talk: Talk) -> None:
    """A hold slows down, stands with its position kept, and is resumed to the very target."""
    to = talk.position() + 60 * talk.random.choice([1, -1])
    talk.move(to, 1200)
    talk.wait(talk.random.uniform(0.3, 1.0))
    talk.send("!")
    assert talk.report()["state"] in ("Hold:1", "Hold:0")
    talk.wait(1.0)
    first, second = talk.report(), talk.report()
    assert first["state"] == second["state"] == "Hold:0"
    assert first["at"] == second["at"]
    if "FS" in first:
        assert float(first["FS"].split(",")[0]) == pytest.approx(1200 if talk.facts.latches else 0, abs=2)
    talk.send("~")
    assert talk.wait(0.05) == ([] if talk.facts.speed_always else ["[MSG:]"])
    assert talk.report()["state"] == "Run"
    talk.settle()
    assert abs(talk.position() - to) <= 0.51 / talk.scale + 0.001


def reset_in_a_hold(talk: Talk) -> None:
    """A soft reset in a hold greets after the motor-off delay, keeps the position, and locks nothing."""
    off_ms = talk.random.randrange(10, 250)
    talk.ask(f"$1={off_ms}")
    to = talk.position() + 80
    talk.move(to, 1200)
    talk.wait(0.5)
    talk.send("!")
    talk.wait(1.0)
    stood = talk.report()
    talk.send("\x18")
    delay_s = off_ms / 1000 if talk.facts.delay_s else 0.0
    assert talk.wait(max(0.0, delay_s - 0.002)) == [] or not delay_s
    assert [line for line in talk.wait(0.03) if line][0:1] in ([], [f"Simulated 9.9 {talk.facts.greeting}"])
    found = talk.report()
    assert (found["state"], found["at"]) == ("Idle", stood["at"])
    assert not talk.device.moving_at(talk.now_s)
    talk.wait(3.0)
    assert talk.report()["at"] == stood["at"]
    assert talk.ask(f"G1 {talk.facts.letter}1") == ["error:22"]
    talk.ask("")


def reset_in_motion(talk: Talk) -> None:
    """A soft reset in motion says so, greets after a pause, locks, and shows what the counter says."""
    off_ms = talk.random.randrange(10, 250)
    talk.ask(f"$1={off_ms}")
    talk.move(talk.position() - 80, 1200)
    talk.wait(0.5)
    talk.send("\x18")
    delay_s = off_ms / 1000 if talk.facts.delay_s else 0.0
    said = talk.wait(delay_s + talk.facts.pause_s - 0.005)
    assert [line for line in said if line.startswith("Sim")] == [] or "ALARM:3" not in said
    said += talk.wait(2.0)
    greeting = ["", f"Simulated 9.9 {talk.facts.greeting}"]
    if talk.facts.letter == "A" and "ALARM:3" not in said:  # one board now and then only greets
        assert talk.facts.latches
        assert said == greeting
        assert talk.report()["state"] == "Idle"
        return
    assert said == ["ALARM:3", *greeting, "[MSG:'$H'|'$X' to unlock]"]
    assert talk.report()["state"] == "Alarm"
    assert talk.move(0.0) == ["error:9"]
    talk.ask("")
    stood = talk.report()["at"]
    assert talk.ask("$X") == ["[MSG:Caution: Unlocked]", "ok"]
    assert talk.ask("$X") == ["ok"]
    found = talk.report()
    assert (found["state"], found["at"]) == ("Idle", stood)


def asked_during_a_reset(talk: Talk) -> None:
    """A status that is asked for while the board resets is answered after the greeting; lines are lost."""
    talk.ask("$1=200")
    talk.send("\x18?G21\n")
    said = talk.wait(1.0)
    if talk.facts.delay_s:
        assert [line[:1] for line in said] == ["", "S", "<"]
    else:
        assert said[-1] == "ok"


def soft_limit(talk: Talk) -> None:
    """Soft limits need homing; beyond them comes an alarm that only a reset ends, or nothing before homing."""
    assert talk.ask("$20=1") == ["error:10"]
    talk.ask("")
    assert talk.ask("$22=1") == ["ok"]
    assert talk.ask("$20=1") == ["ok"]
    stood = talk.report()["at"]
    talk.send(f"G53 G1 {talk.facts.letter}{talk.random.randrange(1000, 9000)} F600\n")
    said = talk.wait(0.2)
    if talk.facts.limits == "not before homing":
        assert said == ["ok"]
        assert talk.report()["state"] == "Run"
        talk.send("!")
        talk.wait(1.0)
        talk.reset()
    else:
        assert said == ["ALARM:2"]
        assert talk.wait(0.5) == ["[MSG:Reset to continue]"]
        talk.send("?")
        heard = [line.split("|")[0] for line in talk.wait(0.1)]
        assert heard == (["<Alarm"] if talk.facts.limits == "status heard" else [])
        assert talk.ask("$X") == []
        assert [line for line in talk.reset() if line][:1] == ["ok"]
        found = talk.report()
        assert (found["state"], found["at"]) == ("Alarm", stood)
        talk.ask("$X")
    talk.ask("$22=0")
    assert "$20=0" in talk.ask("$$")


def other_scale(talk: Talk) -> None:
    """Other steps per unit away from zero change the position shown, or the count, by their ratio; the next move goes
    to the very place.
    """
    talk.move(talk.random.uniform(3.0, 30.0))
    talk.settle()
    shown = talk.position()
    steps = round(shown * talk.scale)
    scale = talk.random.choice([50.25, 77.777, 33.5])
    assert talk.setting(100, scale) == ["ok"]
    old, talk.scale = talk.scale, scale
    after = talk.position()
    assert abs(after - (shown if talk.facts.keeps_position else shown * old / scale)) <= 0.51 / scale + 0.001
    before = talk.steps() - (round(shown * scale) if talk.facts.keeps_position else steps)
    to = talk.target()
    talk.move(to)
    talk.settle()
    assert talk.steps() - before in {n + near for n in whole(to, scale) for near in (-1, 0, 1)}
    assert abs(talk.position() - to) <= 0.51 / scale + 0.001


def decimals_kept(talk: Talk) -> None:
    """A value is kept as a 32-bit float and printed with the setting's decimals; what cannot be is told by number."""
    name = f"${120 + talk.index}"
    value = talk.random.uniform(1.0, 900.0)
    assert talk.ask(f"{name}={value:.7f}") == ["ok"]
    listing = talk.ask("$$")
    assert len(listing) == talk.facts.settings + 1
    assert f"{name}={as_single(value):.3f}" in listing
    (scale,) = [line for line in listing if line.startswith(f"${100 + talk.index}=")]
    assert re.fullmatch(rf"\$\d+=\d+\.\d{{{talk.facts.scale_decimals}}}", scale)
    assert talk.ask(f"{name}=-{value:.3f}") == ["error:4"]
    assert talk.ask(f"${talk.random.randrange(900, 999)}=1") == [f"error:{talk.facts.unknown_setting}"]
    digit = talk.random.randrange(2, 9)
    assert talk.ask(f"{name}={digit}e2") == (["ok"] if talk.facts.latches else ["error:3"])
    talk.ask("")
    if talk.facts.latches:
        assert f"{name}={digit}.000" in talk.ask("$$")
    talk.setting(120, 200)


def no_scale(talk: Talk) -> None:
    """0 steps per unit is taken; the position is then the largest number there is."""
    assert talk.setting(100, 0) == ["ok"]
    assert talk.position() == 2147483.648
    assert talk.ask(f"G21 G90 G1 {talk.facts.letter}5 F600") == ["ok"]
    assert not talk.device.moving_at(talk.now_s)
    talk.setting(100, talk.scale)
    talk.reset()


def offset(talk: Talk) -> None:
    """G92 shows as an offset at once and moves nothing; machine moves do not know it."""
    stood, value = talk.position(), talk.target()
    talk.ask(f"G92 {talk.facts.letter}{value}")
    shown = talk.shown_offset()
    assert abs(shown - (stood - value)) <= 0.51 / talk.scale + 0.002  # from the place asked for, not from its step
    assert talk.position() == stood
    to = talk.target()
    talk.move(to)
    talk.settle()
    assert abs(talk.position() - to) <= 0.51 / talk.scale + 0.001
    talk.ask("G92.1")
    assert talk.shown_offset() == 0.0


def dwell(talk: Talk) -> None:
    """A dwell is answered once all motion before it has ended, and takes some time itself."""
    talk.move(talk.position() + talk.random.uniform(20, 60), 2400)
    talk.send("G4 P0.01\n")
    while not (said := talk.wait(0.005)):
        continue
    assert said == ["ok"]
    assert not talk.device.moving_at(talk.now_s)
    assert 0.04 < talk.now_s - talk.device.motion_log[-1].end_s < 0.45
    talk.wait(0.5)
    least_s = 0.15 if talk.facts.latches else 0.05
    talk.send("G4 P0.01\n")
    assert talk.wait(least_s) == []
    assert talk.wait(0.05) == ["ok"]


def jogged(talk: Talk) -> None:
    """A jog has its own state, is ended by one byte, and needs its own feed."""
    assert talk.ask(f"$J=G91 {talk.facts.letter}{talk.random.randrange(60, 90)} F1200") == ["ok"]
    assert talk.report()["state"] == "Jog"
    talk.send("\x85")
    talk.wait(1.0)
    stood = talk.report()
    assert stood["state"] == "Idle"
    talk.wait(2.0)
    assert talk.report()["at"] == stood["at"]
    assert talk.ask(f"$J=G90 {talk.facts.letter}0") == ["error:22"]
    talk.ask("")
    assert talk.ask(f"$J=G90 G1 {talk.facts.letter}1 F500") == ["error:16"]
    talk.ask("")


def outputs(talk: Talk) -> None:
    """The outputs show in the report, the speed within its limits; a reset switches them off."""
    speed = talk.random.randrange(1, 2000)
    low, high = (550, 12000) if talk.facts.settings == 42 else (0, 1000)
    assert talk.ask(f"M3 S{speed}") == ["ok"]
    first, second = talk.report(), talk.report()
    assert "S" in (first.get("A", "") + second.get("A", ""))
    assert first["FS"] == f"0,{max(low, min(high, speed))}"
    assert talk.ask("M7") == (["ok"] if talk.facts.mist else ["error:20"])
    assert talk.ask("M8") == ["ok"]
    first, second = talk.report(), talk.report()
    assert (first.get("A", "") + second.get("A", ""))[:3] == ("SFM" if talk.facts.mist else "SF")
    talk.reset()
    assert talk.report()["FS"] == "0,0"


def mask(talk: Talk) -> None:
    """`$10` says which position is reported and whether the buffers are; inches have four decimals, but for an axis
    that is marked as rotary.
    """
    before = talk.ask("$$")
    (was,) = [line for line in before if line.startswith("$10=")]
    bits = talk.random.randrange(4)
    talk.ask(f"$10={bits}")
    found = talk.report()
    assert ("MPos" in found) == bool(bits & 1)
    assert ("Bf" in found) == bool(bits & 2)
    assert ("FS" in found) == talk.facts.speed_always
    talk.ask("$13=1")
    shown = talk.report()["at"].split(",")
    assert len(shown) == len(talk.facts.axes)
    decimals = [len(text.partition(".")[2]) for text in shown]
    assert decimals == [4, 4, 4, *([3] if talk.facts.latches else [4, 4])][: len(shown)]
    talk.ask("$13=0")
    talk.ask(was)


def inch_words(talk: Talk) -> None:
    """Inches turn the words of linear axes only: a rotary one keeps its degrees."""
    stood, far = talk.position(), round(talk.random.uniform(1.0, 3.0), 3)
    talk.ask(f"G20 G91 G1 {talk.facts.letter}{far:.3f} F200", 0.1)
    talk.settle()
    wanted = far if talk.facts.letter == "A" else far * 25.4
    assert abs(talk.position() - stood - wanted) <= 1.1 / talk.scale + 0.002
    talk.ask("G21 G90")


def checked(talk: Talk) -> None:
    """In check mode lines are read and nothing moves; leaving it resets."""
    assert talk.ask("$C") == ["[MSG:Enabled]", "ok"]
    stood = talk.steps()
    assert talk.ask(f"G1 {talk.facts.letter}{talk.target()} F600") == ["ok"]
    assert talk.report()["state"] == "Check"
    assert talk.steps() == stood
    assert talk.ask("$C", 1.0) == ["[MSG:Disabled]", "ok", "", f"Simulated 9.9 {talk.facts.greeting}"]
    assert talk.report()["state"] == "Idle"


def asleep(talk: Talk) -> None:
    """Asleep no line is heard until a reset, which locks; one board refuses to sleep."""
    if not talk.facts.sleeps:
        assert talk.ask("$SLP") == ["error:3"]
        talk.ask("")
        return
    assert talk.ask("$SLP") == ["ok", "[MSG:Sleeping]"]
    assert talk.report()["state"] == "Sleep"
    assert talk.device.released_at(talk.now_s)
    assert talk.ask("G21") == []
    assert talk.reset()[-1] == "[MSG:'$H'|'$X' to unlock]"
    assert talk.report()["state"] == "Alarm"
    talk.ask("$X")


def refused(talk: Talk) -> None:
    """An error has its number; what follows is carried out, or answered with the same until an empty line."""
    wrong, number = talk.random.choice(
        [("G1 Q7", talk.facts.unknown_letter), ("G999", 20), ("$H", 5), ("$FOO", 3 if talk.facts.latches else 2)]
    )
    assert talk.ask(wrong) == [f"error:{number}"]
    for _ in range(talk.random.randrange(1, 4)):
        assert talk.ask("G21") == ([f"error:{number}"] if talk.facts.latches else ["ok"])
    assert talk.ask("$G")[-1] == "ok"
    assert talk.ask("G21") == ([f"error:{number}"] if talk.facts.latches else ["ok"])
    assert talk.ask("") == ["ok"]
    assert talk.ask("G21") == ["ok"]


def comments(talk: Talk) -> None:
    """Comments are dropped as they come however long; on one board they count for the length of a line."""
    length = talk.random.choice([20, 100, 300])
    fits = length < 200 or not talk.facts.latches
    assert talk.ask(f"g21 (n{'o' * length}) N7 g90") == (["ok"] if fits else ["error:11"])
    talk.ask("")


def hold_standing(talk: Talk) -> None:
    """A hold at standstill holds back the next line until it is ended."""
    talk.send("!")
    talk.wait(0.5)
    assert talk.report()["state"] == "Hold:0"
    stood = talk.steps()
    assert talk.ask(f"G91 G1 {talk.facts.letter}{talk.random.randrange(2, 9)} F600", 1.0) == []
    assert talk.steps() == stood
    talk.send("~")
    assert talk.wait(0.1)[-1:] == ["ok"]
    talk.settle()
    assert talk.steps() != stood
    talk.ask("G90")


def turns(talk: Talk) -> None:
    """After a reset the first two reports carry the offsets and the overrides, then no more until the tenth."""
    talk.reset()
    count = talk.random.randrange(8, 10)
    found = [talk.report() for _ in range(count)]
    first, second = ("Ov", "WCO") if talk.facts.latches else ("WCO", "Ov")
    assert first in found[0]
    assert second in found[1]
    assert [name for later in found[2:] for name in ("WCO", "Ov") if name in later] == []


GROUPS: tuple[Callable[[Talk], None], ...] = (
    moved,
    paused,
    reset_in_a_hold,
    reset_in_motion,
    asked_during_a_reset,
    soft_limit,
    other_scale,
    decimals_kept,
    no_scale,
    offset,
    dwell,
    jogged,
    outputs,
    mask,
    inch_words,
    checked,
    asleep,
    refused,
    comments,
    hold_standing,
    turns,
)


@pytest.mark.parametrize("name", FACTS)
@pytest.mark.parametrize("seed", [*range(4), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(4, 100))])
def test_the_groups_in_any_order_and_with_any_values_follow_the_facts(name: str, seed: int) -> None:
    random = Random(seed)
    talk = Talk(name, random)
    for group in random.sample([*GROUPS, moved, paused, reset_in_motion], k=len(GROUPS) + 3):
        group(talk)


@pytest.mark.parametrize("name", FACTS)
def test_opened_as_delivered_each_board_says_what_its_facts_say(name: str) -> None:
    talk = Talk(name, Random(1))
    greeting = ["", f"Simulated 9.9 {talk.facts.greeting}"]
    locked = ["[MSG:'$H'|'$X' to unlock]"] if name == "status-query-b" else []
    assert talk.opened == ([] if talk.facts.latches else [*greeting, *locked])
    delivered = StatusQueryDevice(RECORDED[name])
    delivered.transmit(1.0)
    delivered.receive(b"?", 1.0)
    assert delivered.transmit(1.1).startswith(b"<Alarm|" if locked else b"<Idle|")
    assert delivered.client_opened(2.0) is not talk.facts.latches


def test_one_board_now_and_then_only_greets_after_a_reset_in_motion() -> None:
    talk, silent = Talk("status-query-c", Random(6)), 0
    for _ in range(10):
        talk.move(talk.position() + 200, 1200)
        talk.wait(0.5)
        silent += "ALARM:3" not in talk.reset()
        talk.ask("$X")
    assert silent == 2


@pytest.mark.parametrize(("name", "rate"), [("status-query-a", 50_000), ("status-query-b", 24_000)])
def test_beyond_its_highest_step_rate_a_board_stops_dead_and_hears_nothing_until_it_is_reset(
    name: str, rate: int
) -> None:
    talk = Talk(name, Random(2))
    talk.setting(110, rate / talk.scale * 60)
    talk.setting(120, 5000)
    talk.ask(f"G21 G90 G1 {talk.facts.letter}{60_000 / talk.scale:.3f} F{rate / talk.scale * 60 * 0.99:.0f}")
    talk.wait(5.0)
    assert abs(talk.steps()) < 50_000
    talk.send("?\x18")
    assert talk.ask("") == []
    talk.device.client_opened(talk.now_s)
    talk.wait(1.0)
    assert talk.report()["at"].split(",")[talk.index] == "0.000"


@pytest.mark.parametrize(
    ("name", "rate"), [("status-query-a", 39_000), ("status-query-b", 21_500), ("status-query-c", 107_000)]
)
def test_up_to_its_highest_step_rate_a_board_is_exact(name: str, rate: int) -> None:
    talk = Talk(name, Random(3))
    talk.setting(110, rate / talk.scale * 60)
    talk.setting(120, 50_000)
    talk.ask(f"G21 G90 G1 {talk.facts.letter}{60_000 / talk.scale:.3f} F{rate / talk.scale * 60:.0f}")
    talk.settle()
    assert talk.steps() in whole(60_000 / talk.scale, talk.scale)


def off_by_one(name: str, count: int) -> list[float]:
    """The targets, out of `count` drawn ones up to a million steps, that come out on another step than the nearest."""
    random, scale = Random(4), 26.667
    talk = Talk(name, random)
    for base, value in ((100, scale), (110, 45_000), (120, 9999)):
        talk.setting(base, value)
    before, found = talk.steps() - round(talk.position() * scale), []
    for _ in range(count):
        to = round(random.uniform(-37_000, 37_000), 3)
        talk.ask(f"G21G90G53G0{talk.facts.letter}{to:.3f}", 110.0)
        steps = talk.steps() - before
        assert steps in whole(to, scale), to
        assert abs(talk.position() - steps / scale) < 0.5 / scale
        if steps != math.floor(to * scale + 0.5):
            found.append(to)
    return found


def test_targets_far_out_come_out_a_step_off_only_near_a_half_step_and_on_all_boards_alike() -> None:
    found = {name: off_by_one(name, 400) for name in FACTS}
    assert 2 <= len(found["status-query-a"]) <= 20
    assert found["status-query-a"] == found["status-query-b"] == found["status-query-c"]
