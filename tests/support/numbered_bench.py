"""A whole station whose board takes numbered lines."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from firmware_host.controller.dialect import Dialect
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.model import Setup, load_job
from firmware_host.model.machine.machine import Axis, Link, Stated
from firmware_host.planning.plan import plan_job
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from firmware_host.station.settings.check import safe_settings
from tests.support.numbered_line_boards import rotary_axis
from tests.support.station_bench import StationBench

BOOT_S = 3.0


def on_numbered_lines(setup: Setup | str, variant: NumberedLineVariant, *, stated: bool = False) -> Setup:
    """The setup with its machine's controller changed for one that takes numbered lines, its axis one that it has.

    `stated`: the machine's file states what the plan asks for.
    """
    loaded = load_job(setup) if isinstance(setup, str) else setup
    machine = loaded.machine
    letter = machine.axis.letter if machine.axis.letter in variant.axes else rotary_axis(variant)
    axis = Axis.model_validate(machine.axis.model_dump(mode="json") | {"letter": letter})
    link = machine.link.model_dump(mode="json", exclude_none=True) | {"dialect": "numbered-line"}
    changed = replace(loaded, machine=machine.model_copy(update={"axis": axis, "link": Link.model_validate(link)}))
    if not stated:
        return changed
    safe = safe_settings(changed.machine, plan_job(changed))
    said = Stated.model_validate(
        {
            "steps_per_unit": f"{float(safe.scale):.3f}",
            "rate": f"{float(safe.rate) / 60:.9f} deg/s",
            "acceleration": f"{safe.acceleration} deg/s^2",
        }
    )
    link_stated = changed.machine.link.model_copy(update={"stated": said})
    return replace(changed, machine=changed.machine.model_copy(update={"link": link_stated}))


class NumberedBench(StationBench):
    """A station bench with a board of the family that takes numbered lines, set as the plan asks."""

    device: NumberedLineDevice

    def __init__(
        self, tmp_path: Path, setup: Setup | str, variant: NumberedLineVariant, *, stated: bool = False, **options: Any
    ) -> None:
        self.board = variant
        super().__init__(tmp_path, on_numbered_lines(setup, variant, stated=stated), **options)
        self.greeting_s = BOOT_S

    def make_device(self, stored: Any, variant: Any) -> NumberedLineDevice:
        """The variant with the axis set as the plan asks, `stored` on top; its rates are units/s."""
        safe, letter = safe_settings(self.machine, self.plan), self.axis
        settings = {
            **self.board.settings,
            f"M92 {letter}": float(StoredScale.as_written(self.machine.steps_per_axis_unit).middle),
            f"M203 {letter}": float(safe.rate) / 60,
            f"M201 {letter}": float(safe.acceleration),
            **stored,
        }
        switches = {letter: -2000} if self.machine.axis.home_switch else {}
        board = replace(
            self.board,
            settings=settings,
            home_switches=switches,
            highest_step_rate=self.machine.link.highest_step_rate.si,
            reversed_axes="",
        )
        return NumberedLineDevice(replace(board, **variant))

    def make_dialect(self) -> Dialect:
        return NumberedLineDialect()

    def _turn_to(self, steps: int) -> None:
        self.clock.sleep(BOOT_S)
        scale = self.device.settings[f"M92 {self.axis}"]
        self.raw("M17", 1.0)
        self.raw(f"G1 {self.axis}{steps / scale:.6f} F2000")
        assert self.steps == steps
