"""What is tried on each simulated board that was recorded, as a table of pass and fail.

A board is a `Board`: its name for `simulated_device`, a shipped machine and the axis that turns the chuck. Each trial
is a function of a bench with that board as delivered; it returns what is to be told, and raises where it fails. Wrong
steps and pulses with the gate open are counted beside, from the motor's own record. `python -m tests.joint.board_table`
prints the table of docs/pages/your-board.md, with the names of boards each trial on them.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from random import Random
from types import MappingProxyType
from typing import Any

from firmware_host.controller.controller import Controller
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.finding import find
from firmware_host.controller.registry import load_dialect
from firmware_host.controller.reply import AxisState
from firmware_host.errors import FirmwareHostError
from firmware_host.model import Job, Setup, load_job, load_machine
from firmware_host.model.machine.machine import Axis
from firmware_host.planning.layout.segments import SegmentBlock
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.route.angles import SegmentAngles
from firmware_host.planning.route.moves import time_moves
from firmware_host.simulator.boards import simulated_device
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.runs.listing import read_record
from firmware_host.station.settings.compared import compare_settings
from firmware_host.station.settings.restore import restore_kept
from firmware_host.station.settings.write import write_for_plan
from firmware_host.station.zero import ZeroAt
from tests.support.crashes import Crash, dies_in
from tests.support.station_bench import Phase, StationBench

PASS_S = 0.05
INDEXES = 200
NOISE = 1e-3
"""Chance of each byte, either way, to come out as another one."""
NOISES = (1, 2, 3)
MOST_TRIES = 60
SEGMENTS = 18
REFUSED = "refused"
"""What a trial tells of which nothing came but refusals, each of which said why."""
LENGTHS = (1, 1, 2, 3, 5, 7, 12, 40, 150, 613, 1777)
"""Microsteps of the indexes, drawn from; the shortest comes up most."""


@dataclass(frozen=True)
class Board:
    """A recorded board, and the shipped machine that it drives by the axis `letter`."""

    name: str
    machine: str
    letter: str

    @property
    def setup(self) -> Setup:
        """Some segments of two passes on the machine, its axis the board's."""
        shipped = load_job("sleeve-label")
        machine = load_machine(self.machine)
        axis = Axis.model_validate(machine.axis.model_dump(mode="json") | {"letter": self.letter})
        document = shipped.job.model_dump(mode="json", exclude_none=True)
        document |= {
            "mark": {"arc": "72 mm", "width": "10 mm", "passes": 2},
            "segments": {"count": SEGMENTS},
            "index": {"finish": "unwind", "settle": "0.1 s"},
        }
        return replace(shipped, job=Job.model_validate(document), machine=machine.model_copy(update={"axis": axis}))


BOARDS: Mapping[str, Board] = MappingProxyType(
    {
        board.name: board
        for board in (
            Board("status-query-a", "fourth-axis-chuck", "X"),
            Board("status-query-b", "fourth-axis-chuck", "A"),
            Board("status-query-c", "fourth-axis-chuck", "A"),
            Board("numbered-line-a", "printer-board-chuck", "X"),
            Board("numbered-line-b", "printer-board-chuck", "X"),
        )
    }
)


class BoardBench(StationBench):
    """A station whose board is a recorded one as delivered. Its port is opened as a person's would be: many a board is
    reset by that. What the motor does while the gate is open is counted.
    """

    def __init__(self, folder: Path, board: Board) -> None:
        self.board = board
        self.writes = 0
        super().__init__(folder, board.setup, away=0, known=False, gate=lambda context: TimedGate(context, PASS_S))
        self.greeting_s = 3.0
        self.clock.sleep(5.0)
        self.device.transmit(self.clock.monotonic())

    def make_device(self, stored: Mapping[str, float], variant: Mapping[str, Any]) -> Any:
        return simulated_device(self.machine, delivered=True, start_s=0.0, board=self.board.name)

    def make_dialect(self) -> Dialect:
        return load_dialect(self.machine.link.dialect)

    def open(self, **options: Any) -> Controller:
        self.device.client_opened(self.clock.monotonic())
        return super().open(**options)

    @contextmanager
    def controller(self) -> Iterator[Controller]:
        """The controller for as long as it is needed, unlocked."""
        controller = self.open()
        try:
            if controller.status().state is AxisState.LOCKED:
                controller.unlock()
            yield controller
        finally:
            controller.close()

    def write(self, folder: Path) -> None:
        """Write the settings that the plan asks for."""
        with self.controller() as controller:
            backup = folder / f"backup{self.writes}.json"
            self.writes += 1
            write_for_plan(self.machine, self.plan, controller, self.scales, backup)

    @property
    def wrong_steps(self) -> int:
        """Rests at which the motor stood on another microstep than planned; whole turns of the part apart is the same
        place (where a board keeps to a travel, they are taken back).
        """
        per_turn = self.plan.route.per_part_turn
        return sum((true - planned) % per_turn != 0 for _, planned, _, true in self.progress.rests)

    @property
    def open_pulses(self) -> int:
        """Steps that the motor made while the gate was open."""
        now_s = self.clock.monotonic()
        spans = [(opened_s, now_s if closed_s is None else closed_s) for opened_s, closed_s, _ in self.gate.opened]
        return sum(
            abs(travel.to_steps - travel.from_steps)
            for travel in self.device.motion_log
            for opened_s, closed_s in spans
            if travel.start_s < closed_s and travel.end_s > opened_s
        )

    def settled(self) -> None:
        """A while goes by in which nobody listens; the gate of a run that is gone closed with it."""
        self.gate.close()
        self.port.lost = False
        self.clock.sleep(30.0)
        self.device.transmit(self.clock.monotonic())


def needs(holds: bool, what: str) -> None:
    """Raise AssertionError, which says `what` is not so, unless it holds."""
    if not holds:
        raise AssertionError(what)


# --- what is tried --------------------------------------------------------------------------------------------------


def finds(bench: BoardBench, folder: Path) -> str:
    """The dialect is found, and the board tells of itself."""

    def opened(url: str) -> Any:
        bench.port.closed = False
        bench.device.client_opened(bench.clock.monotonic())
        return bench.port

    (found,) = find([bench.port.url], bench.clock, open_url=opened, confirm=lambda url: True)
    needs(found.dialect == bench.machine.link.dialect, f"found as {found.dialect}: {found.detail}")
    needs(found.description is not None, found.detail)
    return ""


def shows(bench: BoardBench, folder: Path) -> str:
    """All that a plan and a run need to know of the board is known."""
    with bench.controller() as controller:
        learned = controller.learned
        unknown = [name for name in vars(learned) if not getattr(learned, name).known]
        needs(unknown == [], f"not known: {', '.join(unknown)}")
        needs(bench.axis in learned.axes.value, f"axes {learned.axes.value}")
    return ""


def differing(bench: BoardBench, controller: Controller) -> list[str]:
    """The names of the settings that do not fit."""
    found = compare_settings(bench.machine, bench.plan, controller, bench.scales)
    return [each.name for each in (*found.needed, *found.further)]


def compares(bench: BoardBench, folder: Path) -> str:
    """What does not fit is found on the board as delivered, and nothing after it was written."""
    with bench.controller() as controller:
        before = differing(bench, controller)
        needs(len(before) >= 2, f"differences found: {len(before)}")
    bench.write(folder)
    with bench.controller() as controller:
        after = differing(bench, controller)
        needs(not after, f"still differ: {', '.join(after)}")
    return ""


def writes(bench: BoardBench, folder: Path) -> str:
    """What is in force afterwards is what the plan asks for, and stays so over an off and on."""
    bench.write(folder)
    bench.device.hardware_reset(bench.clock.monotonic())
    bench.settled()
    with bench.controller() as controller:
        scale = controller.settings.steps_per_unit.value
        exact = bench.machine.steps_per_axis_unit
        needs(abs(scale - exact) < Fraction(1, 100), f"steps per unit {scale}, asked for {exact}")
        found = differing(bench, controller)
        needs(not found, f"differ: {', '.join(found)}")
    return ""


def restores(bench: BoardBench, folder: Path) -> str:
    """Everything is as it was before it was written."""
    with bench.controller() as controller:
        before = dict(controller.read_settings().raw)
    bench.write(folder)
    with bench.controller() as controller:
        needs(dict(controller.read_settings().raw) != before, "nothing was written")
        restore_kept(controller, folder / "backup0.json", bench.scales)
    with bench.controller() as controller:
        after = dict(controller.read_settings().raw)
    needs(after == before, f"differ: {sorted(key for key in before if before[key] != after.get(key))}")
    return ""


def runs(bench: BoardBench, folder: Path) -> str:
    """A run of indexes of mixed length, from one microstep up."""
    bench.plan = mixed(bench.plan, INDEXES, Random(13))
    bench.write(folder)
    record = bench.run()
    needs(record.outcome == "done", record.outcome)
    needs(len(bench.progress.rests) >= INDEXES, f"{len(bench.progress.rests)} rests")
    return f"{len(bench.progress.rests)} rests"


def mixed(plan: JobPlan, count: int, random: Random) -> JobPlan:
    """The plan with as many segments, as far apart as drawn from `LENGTHS`, forward."""
    per_turn = plan.route.per_part_turn
    block, at, blocks = plan.segments.blocks[0], 0, []
    for _ in range(count):
        blocks.append(SegmentBlock(Fraction(at) / per_turn, block.pitch, Fraction(1, 2) / per_turn, 1))
        at += random.choice(LENGTHS)
    angles = SegmentAngles(tuple(blocks))
    targets = angles.targets(per_turn)
    route = replace(
        plan.route,
        targets=targets,
        segment=plan.route.segment[:1].repeat(count) * 0 + range(1, count + 1),
        purpose=plan.route.purpose[:1].repeat(count),
        angles=angles,
    )
    layout = replace(plan.layout, route=route, segments=replace(plan.segments, blocks=tuple(blocks)))
    program = time_moves(route, plan.program.speed, plan.program.acceleration)
    return replace(plan, layout=layout, program=program)


def dies_and_is_resumed(phase: Phase) -> Callable[[BoardBench, Path], str]:
    """The program is killed in this phase of a run, and the run resumed."""

    def killed(bench: BoardBench, folder: Path) -> str:
        bench.write(folder)
        dies_in(bench, phase, rests=3)
        try:
            bench.run()
        except Crash:
            bench.settled()
        else:
            raise AssertionError("the program was not killed")
        resumed(bench)
        return ""

    return killed


def resumed(bench: BoardBench) -> None:
    """Resume to the end; where the zero is not proved any more, somebody sets it by hand and says so."""
    needs(finished(bench, "last") or finished(bench, "here"), "could not be resumed")
    everything_marked(bench)


def finished(bench: BoardBench, zero: ZeroAt) -> bool:
    """Whether the run was resumed to its end; refused before anything moved, or stopped again, it was not."""
    origin = bench.progress.origin
    if zero == "here":  # somebody turns the part to the job's zero by hand: wherever the motor is
        bench.progress.origin = None
    unknown = [(entry.segment, entry.number) for entry in read_record(bench.folder).unknown]
    marked = bool(unknown) and unknown[0] in bench.passes_marked()
    try:
        return bench.resume(done=marked, zero=None if zero == "last" else zero).outcome == "done"
    except FirmwareHostError:
        bench.settled()
        return False
    finally:
        if bench.progress.origin is None:  # the run didn't come so far
            bench.progress.origin = origin


def everything_marked(bench: BoardBench) -> None:
    """Each pass was marked, and each at its place."""
    job = bench.setup.job
    asked = {(segment, number) for segment in range(1, SEGMENTS + 1) for number in range(1, job.mark.passes + 1)}
    needs(set(bench.passes_marked()) == asked, f"marked: {sorted(set(bench.passes_marked()))}")
    needs(read_record(bench.folder).outcome == "done", "not done")


def is_reset(phase: Phase) -> Callable[[BoardBench, Path], str]:
    """Somebody presses the board's reset button in this phase of a run."""

    def pressed(bench: BoardBench, folder: Path) -> str:
        bench.write(folder)
        bench.at(phase, lambda: bench.device.hardware_reset(bench.clock.monotonic()), rests=3)
        try:
            bench.run()
        except FirmwareHostError:
            bench.settled()
        else:
            raise AssertionError("the run did not notice it")
        needs(not bench.moving, "it moves")
        resumed(bench)
        return ""

    return pressed


def make_noisy(bench: BoardBench, seed: int) -> Callable[[], None]:
    """Let bytes come out wrong either way; returns what ends that."""
    random, look, receive = Random(seed), bench.port.spoil, bench.device.receive

    def noisy(data: bytes) -> bytes:
        return bytes(random.randrange(256) if random.random() < NOISE else byte for byte in data)

    def heard(data: bytes, now_s: float) -> None:
        receive(noisy(data), now_s)

    def quiet() -> None:
        bench.port.spoil, bench.device.receive = look, receive

    bench.port.spoil = lambda data: look(noisy(data))
    bench.device.receive = heard
    return quiet


def with_noise(seed: int) -> Callable[[BoardBench, Path], str]:
    """One byte in a thousand comes out as another, either way: a run stops when it must, and is resumed to its end."""

    def noisy(bench: BoardBench, folder: Path) -> str:
        bench.write(folder)
        make_noisy(bench, seed)
        stops, done = 0, begun(bench)
        while not done:
            stops += 1
            needs(stops < MOST_TRIES, "never came to its end")
            if bench.folder.journal.exists():
                done = finished(bench, "last") or finished(bench, "here")
            else:
                done = begun(bench)
        everything_marked(bench)
        return f"stopped {stops} times" if stops else ""

    return noisy


def begun(bench: BoardBench) -> bool:
    """Whether a run came to its end at once."""
    try:
        return bench.run().outcome == "done"
    except FirmwareHostError:
        bench.settled()
        return False


def written_with_noise(seed: int) -> Callable[[BoardBench, Path], str]:
    """Settings are written over a bad line until it is said that they fit: then they do, and no other is changed
    unless that was told."""

    def noisy(bench: BoardBench, folder: Path) -> str:
        with bench.controller() as controller:
            before = dict(controller.read_settings().raw)
        quiet, stops = make_noisy(bench, seed), 0
        failures = ""
        while stops < MOST_TRIES and (said := failing(bench, folder)):
            stops, failures = stops + 1, failures + said
            bench.settled()
        quiet()
        if stops == MOST_TRIES:  # and nothing was said that is not so: over a good line all can be written
            bench.write(folder)
        with bench.controller() as controller:
            found = differing(bench, controller)
            needs(not found, f"said to fit, but differ: {', '.join(found)}")
            after = dict(controller.read_settings().raw)
        quiet_bench = BoardBench(folder / "quiet", bench.board)
        quiet_bench.write(folder / "quiet")
        with quiet_bench.controller() as controller:
            wanted = dict(controller.read_settings().raw)
        others = sorted(key for key in before if after.get(key) != wanted.get(key) and f"{key}: " not in failures)
        needs(not others, f"changed besides, untold: {', '.join(others)}")
        return REFUSED if stops == MOST_TRIES else f"failed {stops} times before" if stops else ""

    return noisy


def failing(bench: BoardBench, folder: Path) -> str:
    """Write the settings; all that is told if that fails, empty if it is said that they fit."""
    try:
        bench.write(folder)
    except FirmwareHostError as error:
        return " ".join([str(error), *getattr(error, "__notes__", ())])
    return ""


TRIALS: Mapping[str, Callable[[BoardBench, Path], str]] = MappingProxyType(
    {
        "`controller find`": finds,
        "`controller show`": shows,
        "`settings compare`": compares,
        "`settings write`": writes,
        "`settings restore`": restores,
        f"run of {INDEXES} indexes": runs,
        "killed in motion, resumed": dies_and_is_resumed("moving"),
        "killed while it settles, resumed": dies_and_is_resumed("settling"),
        "killed with the gate open, resumed": dies_and_is_resumed("gate-open"),
        "reset in motion": is_reset("moving"),
        "reset with the gate open": is_reset("gate-open"),
        **{f"run, a byte in a thousand wrong: draw {seed}": with_noise(seed) for seed in NOISES},
        **{f"`settings write`, a byte in a thousand wrong: draw {seed}": written_with_noise(seed) for seed in NOISES},
    }
)


@dataclass(frozen=True)
class Result:
    """One cell: `failed` says why, empty if it passed."""

    failed: str
    told: str
    rests: int
    wrong_steps: int
    open_pulses: int

    @property
    def cell(self) -> str:
        if self.failed or self.wrong_steps or self.open_pulses:
            return "fail"
        return REFUSED if self.told == REFUSED else "pass"


def tried(board: Board, trial: str, folder: Path) -> Result:
    """Try one thing on a board fresh from its maker."""
    bench = BoardBench(folder, board)
    failed, told = "", ""
    try:
        told = TRIALS[trial](bench, folder)
    except (AssertionError, FirmwareHostError) as error:
        failed = str(error) or repr(error)
    return Result(failed, told, len(bench.progress.rests), bench.wrong_steps, bench.open_pulses)


class Table:
    """All trials on all boards, each tried when it is asked for."""

    @cached_property
    def results(self) -> Mapping[tuple[str, str], Result]:
        found = {}
        for trial in TRIALS:
            for name, board in BOARDS.items():
                with tempfile.TemporaryDirectory() as folder:
                    found[trial, name] = tried(board, trial, Path(folder))
        return found

    def lines(self) -> list[str]:
        """The table as it stands in the docs."""
        rows = [["", *BOARDS], ["---"] * (len(BOARDS) + 1)]
        rows += [[trial, *[self.results[trial, name].cell for name in BOARDS]] for trial in TRIALS]
        for title, field in (("rests", "rests"), ("wrong steps", "wrong_steps"), ("pulses, gate open", "open_pulses")):
            counts = [sum(getattr(self.results[trial, name], field) for trial in TRIALS) for name in BOARDS]
            rows.append([title, *map(str, counts)])
        return [f"| {' | '.join(row)} |" for row in rows]


def told_of(names: list[str]) -> Iterator[str]:
    """Each trial on the boards of these names; the whole table if there are none."""
    if not names:
        yield from Table().lines()
    for name in names:
        for trial in TRIALS:
            with tempfile.TemporaryDirectory() as folder:
                yield f"{name:16} {trial:36} {tried(BOARDS[name], trial, Path(folder))}"


if __name__ == "__main__":
    for line in told_of(sys.argv[1:]):
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()
