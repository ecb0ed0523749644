"""Board variants of the dialect `numbered-line` to test against: each difference alone, and mixed as they come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from firmware_host.simulator.numbered_line.variant import MotionWays, NumberedLineVariant

NUMBERED_LINE_BOARDS: Mapping[str, NumberedLineVariant] = MappingProxyType(
    {
        "plain": NumberedLineVariant(),
        "talkative": NumberedLineVariant(
            ok_fields="NPB", busy_every_s=0.5, wait_lines="idle", capabilities={"AUTOREPORT_POS": True}
        ),
        "hasty": NumberedLineVariant(
            sync_answered="when-queued",
            position_report="planned",
            ok_before_output=True,
            wait_lines="even-moving",
            repeated_number="skip",
            busy_every_s=None,
        ),
        "blind": NumberedLineVariant(
            sync_answered="when-queued", position_report="planned", count_report="planned", busy_every_s=None
        ),
        "listing": NumberedLineVariant(
            error_style="expected-got",
            halt_style="fatal",
            after_halt="restarts",
            settings_report="EPR after M205",
            listing_shows="stored",
            rate_unit="per-minute",
            rate_listed="per-second",
            m204="heater",
            bad_numbers="zero",
            unfinished_line_s=0.3,
            wait_lines="even-moving",
            repeated_number="skip",
            scale_change_shifts_position=True,
            sync_answered="when-queued",
            busy_every_s=None,
            settings_decimals=4,
            planner_blocks=15,
            boot_loss_s=0.3,
        ),
        "mute": NumberedLineVariant(
            settings_report="none", greets=False, rate_unit="per-minute", boot_loss_s=2.0, busy_every_s=None
        ),
        "per-minute": NumberedLineVariant(
            rate_unit="per-minute", halt_style="bangs", acts_at_once=False, error_style="expected-got", resend_ok=False
        ),
        "small": NumberedLineVariant(
            receive_buffer=64,
            command_lines=1,
            planner_blocks=2,
            drops_input_on_resend=False,
            ok_delay_s=0.02,
            resets_on_open=True,
            boot_loss_s=1.0,
        ),
        "one-axis-for-all": NumberedLineVariant(
            axes="XYZE", scale_change_shifts_position=True, ok_before_output=True, position_decimals=3
        ),
        "sleepy": NumberedLineVariant(
            release_after_s=0.5, offset_moves_counts=True, reversed_axes="A", ok_fields="N", sync_delay_s=0.1
        ),
        "resetting": NumberedLineVariant(
            resets_on_open=True,
            boot_loss_s=1.5,
            after_halt="restarts",
            when_too_fast="crash",
            unfinished_line_s=0.5,
            repeated_number="skip",
            home_switches={"A": -500},
        ),
    }
)
"""Boards that differ in many ways at once."""

_DIFFERENCES: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {
        "axes XYZE": {"axes": "XYZE"},
        "axes XYZABCE": {"axes": "XYZABCE"},
        "sync answered when queued": {"sync_answered": "when-queued"},
        "planned position reported": {"position_report": "planned"},
        "planned steps reported": {"count_report": "planned"},
        "three decimals in the position": {"position_decimals": 3},
        "ok before output": {"ok_before_output": True},
        "ok with number": {"ok_fields": "N"},
        "ok with number and buffers": {"ok_fields": "NPB"},
        "no ok behind a resend": {"resend_ok": False},
        "input kept on resend": {"drops_input_on_resend": False},
        "repeated number skipped": {"repeated_number": "skip"},
        "unfinished line answered after 0.3 s": {"unfinished_line_s": 0.3},
        "wait when idle": {"wait_lines": "idle"},
        "wait even when moving": {"wait_lines": "even-moving"},
        "expected-got errors": {"error_style": "expected-got"},
        "halt says bangs": {"halt_style": "bangs"},
        "halt says fatal": {"halt_style": "fatal"},
        "bad numbers are zero": {"bad_numbers": "zero"},
        "rate per minute": {"rate_unit": "per-minute"},
        "M204 sets a heater": {"m204": "heater"},
        "settings listed behind M205": {"settings_report": "EPR after M205", "rate_unit": "per-minute"},
        "rates listed in another unit": {"rate_listed": "per-second"},
        "settings never listed": {"settings_report": "none"},
        "four decimals in settings": {"settings_decimals": 4},
        "listing of what is stored": {"listing_shows": "stored"},
        "whole accelerations": {"whole_accelerations": True},
        "a rate that is fixed": {"fixed_settings": {"M203 X": "ignored"}},
        "scale change moves nothing": {"scale_change_moves_nothing": True},
        "steps in bunches from a start at once": {
            "motion": MotionWays(first_step_rate=120.0, bunches=((1000.0, 2),), cut_runs_on=False)
        },
        "remarks": {"speech": "remarking"},
        "ok first of all": {"answers_first": True},
        "unknown words": {"unknown_words": frozenset(("M155",))},
        "a refused pin": {"refused_pins": frozenset((1,))},
        "resend again": {"resend_again_s": 0.2},
        "one line at a time, and a slow listing": {"reads_while_working": False, "print_line_s": 0.005},
        "order before checksum": {"order_before_checksum": True},
        "a slow stop and a slow halt": {"stop_takes_s": 0.9, "halts_after_s": 0.6},
        "scale change shifts position": {"scale_change_shifts_position": True},
        "offset moves counts": {"offset_moves_counts": True},
        "restarts after a halt": {"after_halt": "restarts"},
        "stop waits its turn": {"acts_at_once": False},
        "0.3 s lost at boot": {"boot_loss_s": 0.3},
        "2 s lost at boot": {"boot_loss_s": 2.0},
        "opening resets": {"resets_on_open": True, "boot_loss_s": 1.0},
        "no greeting": {"greets": False},
        "no keep-alive": {"busy_every_s": None},
        "quick keep-alive": {"busy_every_s": 0.2},
        "small receive buffer": {"receive_buffer": 64},
        "one line waits": {"command_lines": 1},
        "two planner blocks": {"planner_blocks": 2},
        "too fast loses time": {"highest_step_rate": 2000.0},
        "too fast crashes": {"when_too_fast": "crash"},
        "slow answers": {"ok_delay_s": 0.05},
        "slow position": {"position_delay_s": 0.05},
        "late sync": {"sync_delay_s": 0.2},
        "uneven sync": {"sync_spread_s": 0.1},
        "early release": {"release_after_s": 0.5},
        "never releases": {"release_after_s": None},
        "motor reversed": {"reversed_axes": "A"},
        "home switch": {"home_switches": {"A": -500}},
    }
)


def single_differences() -> Mapping[str, NumberedLineVariant]:
    """Each difference switched on alone, by name."""
    return {name: replace(NumberedLineVariant(), **fields) for name, fields in _DIFFERENCES.items()}


def rotary_axis(variant: NumberedLineVariant) -> str:
    """The letter that drives the rotary: the first of A B C, else X (degrees as if they were mm)."""
    return next((axis for axis in variant.axes if axis in "ABC"), variant.axes[0])
