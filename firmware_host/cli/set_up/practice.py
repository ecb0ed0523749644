"""A true machine behind the simulated board: what would be read at each standstill is printed, and kept."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from random import Random

from firmware_host.cli.screen import output
from firmware_host.errors import InputError
from firmware_host.model import Machine
from firmware_host.simulator.true_machine.axis import TrueAxis
from firmware_host.simulator.true_machine.loading import load_true_machine
from firmware_host.simulator.true_machine.reading import Reader, pulses_per_turn


def standing_by(machine: Machine, true_machine: str, readings: Path | None, seed: int) -> TrueAxis | None:
    """The axis that `true_machine` (a file; "" for none) describes; it tells what is read at each standstill.

    `readings`: a file to append that to, a line of JSON each. Raises `InputError`.
    """
    if not true_machine:
        if readings is not None:
            raise InputError(
                "nothing is read of a machine that nobody describes", "Name --true-machine", key="--readings"
            )
        return None
    rng = Random(seed)
    axis = TrueAxis(load_true_machine(true_machine), machine, rng)
    reader = Reader(axis, pulses_per_turn(axis), rng)

    def tell() -> None:
        reading = reader.read()
        output.lines(list(reading.lines()))
        sys.stdout.flush()
        if readings is not None:
            with readings.open("a", encoding="utf-8") as file:
                file.write(json.dumps(reading._asdict()) + "\n")

    axis.told = tell
    return axis
