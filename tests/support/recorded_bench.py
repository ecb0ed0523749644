"""A whole station whose board is one of the recorded ones that take numbered lines."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from firmware_host.controller.controller import Controller
from firmware_host.errors import ControllerError
from firmware_host.model import Setup
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.numbered_line.recorded import RECORDED, set_for_axis
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.runs.listing import read_record
from firmware_host.station.settings.check import safe_settings
from tests.support.numbered_bench import BOOT_S, NumberedBench


class RecordedBench(NumberedBench):
    """The board of that name, set as the plan asks unless it is `delivered`; it drives X. `stored` goes on top."""

    def __init__(
        self, tmp_path: Path, setup: Setup | str, name: str, *, delivered: bool = False, **options: Any
    ) -> None:
        self.delivered = delivered
        super().__init__(tmp_path, setup, RECORDED[name], **({"away": 0} if delivered else {}), **options)

    def make_device(self, stored: Mapping[str, float], variant: Mapping[str, Any]) -> NumberedLineDevice:
        safe, board = safe_settings(self.machine, self.plan), self.board
        if not self.delivered:
            acceleration = float(safe.acceleration)
            board = set_for_axis(
                board,
                self.axis,
                steps_per_unit=float(StoredScale.as_written(self.machine.steps_per_axis_unit).middle),
                rate=float(safe.rate) / 60,
                acceleration=float(int(acceleration)) if board.whole_accelerations else acceleration,
                homes={},
            )
        return NumberedLineDevice(replace(board, settings={**board.settings, **stored}, **variant))

    def open(self, **options: Any) -> Controller:
        """Opening the port resets these boards: their count is 0 then, wherever the part stands."""
        self.device.client_opened(self.clock.monotonic())
        return super().open(**options)

    def turn_to_zero(self) -> None:
        """Turn the part to the job's zero, as somebody does by hand."""
        assert self.progress.origin is not None
        self.device.client_opened(self.clock.monotonic())
        self.clock.sleep(BOOT_S)
        self.device.transmit(self.clock.monotonic())
        scale = self.device.settings[f"M92 {self.axis}"]
        away = (self.steps - self.progress.origin) / scale
        self.device.settings.update({f"min {self.axis}": -1e6, f"max {self.axis}": 1e6})  # until the next reset
        for place in (50.0, -away):
            self.raw(f"G1 {self.axis}{place:.6f} F2000")
        assert self.steps == self.progress.origin

    def resume_somehow(self) -> RunRecord:
        """Resume, and tell what is true: whether the gate was open for a pass; where the part stands, if asked."""
        marked = set(self.passes_marked())
        unknown = [(entry.segment, entry.number) for entry in read_record(self.folder).unknown]
        done = bool(unknown) and unknown[0] in marked
        try:
            return self.resume(done=done)
        except ControllerError as error:
            if "say so when you resume" not in str(error):
                raise
        self.turn_to_zero()
        return self.resume(done=done, zero="here")


class NoisyLine:
    """Changes one bit of each byte on the line, both ways, with probability `chance`; `spoiled` counts them.

    What was looked at and done before with what the board says still is.
    """

    def __init__(self, bench: RecordedBench, chance: float, seed: int) -> None:
        self.spoiled = 0
        self._chance, self._random = chance, random.Random(seed)
        self._receive, self._look = bench.device.receive, bench.port.spoil
        bench.device.receive = self._arrive
        bench.port.spoil = lambda data: self._spoil(self._look(data))

    def _arrive(self, data: bytes, now_s: float) -> None:
        self._receive(self._spoil(data), now_s)

    def _spoil(self, data: bytes) -> bytes:
        struck = [self._random.random() < self._chance for _ in data]
        self.spoiled += sum(struck)
        bits = (1 << self._random.randrange(8) if hit else 0 for hit in struck)
        return bytes(byte ^ bit for byte, bit in zip(data, bits, strict=True))
