"""Every board that no word stops without losing its position: a long move is stopped, and the position stays known."""

from __future__ import annotations

import pytest

from firmware_host.controller.pieces import Piece
from firmware_host.controller.reply import StatusReport
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.planning.route.pieces import cut_move, prove_pieces, ramp_in_steps
from tests.contract.rig import FEED, rig
from tests.contract.spoken import MIXED, PLAIN, SINGLES, STEPS_PER_UNIT, Case

WAY = 40_000
TOO_SLOW = "numbered-line/too fast loses time"
"""It makes 2000 steps/s where 5000 are asked for, which no run does: pieces wait in it as long as it has room."""
CASES = [case for case in (*PLAIN, *MIXED, *SINGLES) if case.syncs and str(case) != TOO_SLOW]


@pytest.mark.parametrize("case", CASES, ids=str)
def test_a_stop_of_a_move_in_pieces_stands_within_a_second_and_keeps_the_position(case: Case) -> None:
    r = rig(case)
    controller = r.ready()
    assert controller.in_pieces
    ramp = ramp_in_steps(float(FEED), float(controller.settings.acceleration_units_per_s2.value), STEPS_PER_UNIT)
    pieces = cut_move(WAY, ramp, controller.learned.shortest_move_steps.value)
    sent = prove_pieces(r.origin, r.origin + WAY, pieces, StoredScale.exactly(STEPS_PER_UNIT))
    start, due_s = r.steps, r.now_s + 2.0

    def stop(report: StatusReport) -> None:
        if r.now_s > due_s:
            raise KeyboardInterrupt("Ctrl-C")

    with pytest.raises(KeyboardInterrupt, match="Ctrl-C"):
        controller.move_in_pieces([Piece(*each) for each in sent], FEED, stop)
    asked_s = r.now_s
    assert r.moving
    report = controller.stop()
    assert report.stands_still, report.detail
    assert not r.moving
    assert r.device.motion_log[-1].end_s - asked_s < 1.0
    assert 0 < abs(r.steps - start) < WAY
    assert not controller.position_lost
    controller.prepare()
    assert controller.position_steps(controller.status()) - r.origin == r.steps - start
