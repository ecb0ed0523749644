"""Jobs under faults, power cycles and other people's moves in any order that Hypothesis thinks of, with the promises
checked after every step.
"""

from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from tests.faults.line.fault_plan import FaultKind, draw_fault
from tests.faults.observer import PASS_S
from tests.faults.play import Player, extent_of
from tests.faults.setups import CASES, task_for
from tests.faults.striking import Striker
from tests.faults.world import World

_MOST_FAULTS = 3


class FaultyStation(RuleBasedStateMachine):
    """One board, one job, and whatever may happen before, between and inside the processes that run it."""

    @initialize(board=st.sampled_from(tuple(CASES)), seed=st.integers(0, 2**32))
    def begin(self, board: str, seed: int) -> None:
        self.home = TemporaryDirectory(prefix="machine-")
        self.random = Random(seed)
        self.extent = extent_of(board, PASS_S)
        self.world = World(Path(self.home.name), task_for(board), self.random)
        self.striker = Striker(self.world, ())
        self.player = Player(self.world, self.striker, seed, board)
        self.faults = 0

    def unfinished(self) -> bool:
        return not self.player.ended

    @precondition(lambda self: self.unfinished() and self.faults < _MOST_FAULTS)
    @rule(kind=st.sampled_from(FaultKind))
    def a_fault_is_coming(self, kind: FaultKind) -> None:
        self.faults += 1
        self.striker.add(draw_fault(self.random, self.extent, kind))

    @precondition(unfinished)
    @rule()
    def a_process_runs_or_goes_on(self) -> None:
        self.player.go()

    @rule()
    def the_board_is_switched_off_and_on(self) -> None:
        self.world.switch_off_and_on()

    @precondition(lambda self: self.unfinished() and not self.world.task.homes)
    @rule(steps=st.sampled_from((-5000, -611, -1, 1, 40, 611, 5000)))
    def another_program_turns_the_axis(self, steps: int) -> None:
        self.player.disturb(steps)

    @invariant()
    def every_promise_is_kept(self) -> None:
        assert self.world.broken_promises(ended=self.player.ended) == [], self.player.goes

    def teardown(self) -> None:
        try:
            if hasattr(self, "player"):
                played = self.player.play()
                assert played.broken == (), played.goes
        finally:
            if hasattr(self, "home"):
                self.home.cleanup()


FaultyStation.TestCase.settings = settings(
    max_examples=15, stateful_step_count=8, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
TestFaultyStation = FaultyStation.TestCase
