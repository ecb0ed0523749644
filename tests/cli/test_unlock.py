"""A controller that is locked or holds a motion: what the refusal names is the way out, and nothing moves by it."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from firmware_host.clock import ScaledClock
from firmware_host.controller.port.serial_port import open_port
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.status_query.boards import set_board
from firmware_host.simulator.status_query.device import StatusQueryDevice
from tests.cli.command import CLOCK_FACTOR, Ended, call
from tests.support.board_faults import trip_limit_switch
from tests.support.three_segments import JOB


@pytest.fixture
def job(tmp_path: Path) -> str:
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    return str(path)


def board(now_s: float) -> StatusQueryDevice:
    variant = set_board("A", steps_per_unit=26.667, rate=60, acceleration=200, highest_step_rate=28_000)
    return StatusQueryDevice(variant, now_s)


def dry(job: str, url: str) -> Ended:
    return call("run", job, "--port", url, "--without-marking", "--write-settings")


def test_a_lock_after_an_alarm_is_ended_by_the_command_that_the_refusal_names(job: str) -> None:
    clock = ScaledClock(10.0)
    device = board(clock.monotonic())
    device.settings["$21"] = 1
    trip_limit_switch(device, clock.monotonic())
    with serve(device, clock, kind="socket") as server:
        refused = dry(job, server.url)
        assert refused.status == 3
        assert "home it, or unlock it and set zero anew" in refused.err
        named = re.search(r"Unlock with: circumstep (controller unlock .*)$", refused.err, re.MULTILINE)
        assert named is not None, refused.err
        motions = len(device.motion_log)
        ended = call(*shlex.split(named[1]))
        assert (ended.status, ended.err) == (0, "")
        assert ended.out.startswith("the controller is ready; its position is uncertain: begin a run at the job's zero")
        assert len(device.motion_log) == motions
        device.make_moves_last(10.0 / CLOCK_FACTOR)  # a run times them
        again = dry(job, server.url)
        assert again.status == 0, again.err
        assert "settings written and read back" in again.err


def test_a_motion_that_is_held_is_dropped_and_never_resumed(job: str) -> None:
    clock = ScaledClock(10.0)
    device = board(clock.monotonic())
    with serve(device, clock, kind="socket") as server:
        port = open_port(server.url, baud=115200, clock=clock)
        port.read(5.0)
        for words in (b"$120=5\n", b"G1 A3000 F3000\n", b"!"):
            port.write(words)
            clock.sleep(2.0)
        port.close()
        clock.sleep(5.0)
        stands = server.steps_at("A")
        assert stands > 0
        refused = call("controller", "show", "--port", server.url)
        assert refused.status == 3
        assert "it is holding, not ready: release the hold at the machine, or unlock it" in refused.err
        named = re.search(r"Unlock with: circumstep (controller unlock .*)$", refused.err, re.MULTILINE)
        assert named is not None, refused.err
        ended = call(*shlex.split(named[1]))
        assert ended.status == 0, ended.err
        assert server.steps_at("A") == stands
        device.make_moves_last(10.0 / CLOCK_FACTOR)  # a run times them
        again = dry(job, server.url)
        assert again.status == 0, again.err
        assert server.steps_at("A") == stands + 1222
