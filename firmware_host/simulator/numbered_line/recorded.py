"""The boards of the dialect that were recorded, as delivered; and one of them set for a machine's axis.

Source of every figure: the recordings and the facts measured beside them, by pulse. What a pulse count can't tell
(whether a rotor follows a cut) is left out: the shafts here make exactly the pulses.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from firmware_host.simulator.numbered_line.variant import MotionWays, NumberedLineVariant

_LISTS_STORED = NumberedLineVariant(
    axes="XYZE",
    settings={
        **{"M92 X": 72.72, "M92 Y": 72.72, "M92 Z": 520.0, "M92 E": 255.0},
        **{"M203 X": 200.0, "M203 Y": 200.0, "M203 Z": 80.0, "M203 E": 50.0},
        **{"M201 X": 1000.0, "M201 Y": 1000.0, "M201 Z": 50.0, "M201 E": 5000.0},
    },
    more_settings={
        **{"M202 X": 1000.0, "M202 Y": 1000.0, "M202 Z": 50.0},
        **{"M207 X": 25.0, "M207 Z": 0.3},
        **{"min X": 0.0, "min Y": 0.0, "min Z": 0.0, "max X": 418.0, "max Y": 240.0, "max Z": 210.0},
        "M84 S": 360.0,
    },
    highest_step_rate=39_700.0,
    release_after_s=360.0,
    motion=MotionWays(
        plain_acceleration="M202",
        jump_setting="M207 X",
        bunches=((12_000.0, 2), (24_000.0, 4)),
        bounds="refused",
        cut_runs_on=False,
    ),
    command_lines=1,
    ok_delay_s=0.0023,
    position_delay_s=0.0051,
    sync_delay_s=0.0003,
    sync_spread_s=0.002,
    eeprom_write_s=0.006,
    boot_loss_s=0.3,
    resets_on_open=True,
    busy_every_s=2.0,
    wait_lines="even-moving",
    unfinished_line_s=0.2,
    resend_again_s=0.2,
    reads_while_working=False,
    print_line_s=0.0045,
    speech="echoing",
    answers_first=True,
    unknown_words=frozenset(("M211", "M280", "M410", "M503")),
    refused_pins=frozenset((54,)),
    repeated_number="skip",
    error_style="expected-got",
    bad_numbers="zero",
    sync_answered="when-queued",
    position_report="planned",
    count_report="planned",
    settings_report="EPR after M205",
    settings_decimals=3,
    listing_shows="stored",
    rate_unit="per-minute",
    rate_listed="per-second",
    m204="heater",
    scale_change_moves_nothing=True,
    halts_after_s=0.008,
    after_halt="restarts",
)
_LISTS_IN_FORCE = NumberedLineVariant(
    axes="XYZE",
    settings={
        **{"M92 X": 80.0, "M92 Y": 80.0, "M92 Z": 400.0, "M92 E": 500.0},
        **{"M203 X": 300.0, "M203 Y": 300.0, "M203 Z": 5.0, "M203 E": 25.0},
        **{"M201 X": 3000.0, "M201 Y": 3000.0, "M201 Z": 100.0, "M201 E": 10_000.0},
    },
    more_settings={
        **{"M205 B": 20_000.0, "M205 S": 0.0, "M205 T": 0.0, "M205 J": 0.013},
        **{"min X": 0.0, "min Y": 0.0, "min Z": 0.0, "max X": 200.0, "max Y": 200.0, "max Z": 200.0},
    },
    highest_step_rate=55_000.0,
    motion=MotionWays(
        first_step_rate=120.0,
        shortest_move_steps=6,
        bunches=((8_000.0, 2),),
        bounds="clipped once homed",
        cut_runs_on=False,
        homing_lift=5.0,
    ),
    ok_delay_s=0.0018,
    position_delay_s=0.0049,
    sync_delay_s=0.00003,
    sync_spread_s=0.001,
    eeprom_write_s=0.05,
    boot_loss_s=0.3,
    resets_on_open=True,
    busy_every_s=2.0,
    print_line_s=0.003,
    speech="remarking",
    unknown_words=frozenset(("M42", "M202", "M207", "M280")),
    order_before_checksum=True,
    position_report="planned",
    count_report="planned",
    whole_accelerations=True,
    acts_at_once=False,
    stop_takes_s=0.95,
    halts_after_s=0.65,
)

RECORDED: Mapping[str, NumberedLineVariant] = MappingProxyType(
    {"numbered-line-a": _LISTS_STORED, "numbered-line-b": _LISTS_IN_FORCE}
)
"""By the name that `simulated_device` knows them by."""


def set_for_axis(
    board: NumberedLineVariant,
    letter: str,
    *,
    steps_per_unit: float,
    rate: float,
    acceleration: float,
    homes: Mapping[str, int],
) -> NumberedLineVariant:
    """The board as somebody has set it for the axis `letter`: steps per unit with all decimals, `rate` in units/s,
    `acceleration` in units/s^2; the switch of the axis, if it has one, in true steps in `homes`.
    """
    own = {f"M92 {letter}": steps_per_unit, f"M203 {letter}": rate, f"M201 {letter}": acceleration}
    general = f"{board.motion.plain_acceleration} {letter}" if board.m204 == "heater" else "M204 T"
    return replace(board, settings={**board.settings, **own, general: acceleration}, home_switches=homes)
