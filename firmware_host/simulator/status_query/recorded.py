"""The boards of the dialect that were recorded, as delivered; and one of them set for a machine's axis."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from firmware_host.simulator.status_query.speech import Speech
from firmware_host.simulator.status_query.variant import StatusQueryVariant
from firmware_host.simulator.status_query.ways import Ways

_THREE_AXES_LISTING = """
0=10 1=25 2=0 3=0 4=0 5=0 6=0 10=1 11=0.010 12=0.002 13=0 20=0 21=0 22=0 23=0 24=25.000 25=500.000 26=250 27=1.000
30=1000 31=0 32=0 100=250.000 101=250.000 102=250.000 110=500.000 111=500.000 112=500.000 120=10.000 121=10.000
122=10.000 130=200.000 131=200.000 132=200.000
"""
_FIVE_AXES_LISTING = """
0=10 1=254 2=0 3=0 4=0 5=0 6=0 10=1 11=0.020 12=0.002 13=0 20=1 21=0 22=1 23=0 24=100.000 25=500.000 26=250 27=5.000
30=12000 31=550 32=0 100=400.000 101=400.000 102=400.000 103=8.889 104=8.889 110=750.000 111=750.000 112=750.000
113=1440.000 114=1440.000 120=50.000 121=50.000 122=50.000 123=50.000 124=50.000 130=400.000 131=200.000 132=200.000
133=360.000 134=180.000
"""
_FOUR_AXES_LISTING = """
0=5.0 1=25 2=0 3=0 4=15 5=0 6=0 9=1 10=511 11=0.010 12=0.002 13=0 14=0 15=0 17=0 18=0 19=0 20=0 21=0 22=0 23=0
24=25.0 25=500.0 26=250 27=1.000 28=0.100 29=0.0 30=1000.000 31=0.000 32=0 33=5000.0 34=0.0 35=0.0 36=100.0 37=0 39=1
40=0 41=0 42=2 43=1 44=4 45=3 46=0 47=0 56=5.0 57=100.0 58=-5.0 59=500.0 60=0 61=0 62=0 63=3 64=0 65=0 100=250.00000
101=250.00000 102=250.00000 103=250.00000 110=500.000 111=500.000 112=500.000 113=500.000 120=10.000 121=10.000
122=10.000 123=10.000 130=200.000 131=200.000 132=200.000 133=200.000 341=0 342=30.0 343=25.0 344=200.0 345=200.0 346=1
376=1 384=0 392=4.0 393=1.0 394=0.0 398=100 481=0 485=0 486=0 538=0 539=0.0 673=0.0 676=15 680=0 701=0
"""


def _values(listing: str) -> dict[str, float]:
    """The settings as delivered, by name."""
    return {f"${name}": float(value) for name, _, value in (item.partition("=") for item in listing.split())}


def _decimals(listing: str) -> dict[str, int]:
    """How many decimals are printed of each."""
    items = (item.partition("=") for item in listing.split())
    return {f"${name}": len(value.partition(".")[2]) for name, _, value in items}


_HELP = "[HLP:$$ $# $G $I $N $x=val $Nx=line $J=line $SLP $C $X $H ~ ! ? ctrl-x]"
_SMALL_SPEECH = Speech(
    greeting=("", "Simulated 9.9 ['$' for help]"),
    locked="[MSG:'$H'|'$X' to unlock]",
    unlocked="[MSG:Caution: Unlocked]",
    check_on="[MSG:Enabled]",
    check_off="[MSG:Disabled]",
    sleeping="[MSG:Sleeping]",
    help=_HELP,
    build=("[VER:9.9.20000101:]", "[OPT:V,{blocks},{bytes}]"),
    start_lines="listed",
    tool_and_probe=True,
    decimals=_decimals(_THREE_AXES_LISTING),
    unknown_dollar=2,
    number_tail="refused",
)
_SMALL_WAYS = Ways(
    reset_waits=True,
    idle_waits=True,
    alarm_pause_s=0.5,
    limit_alarm="deaf",
    zero_scale=True,
    lines_wait_in_hold=True,
    sleep="deaf",
    comments_count=False,
    prints_in_single=True,
    unknown_words=frozenset({"M7"}),
    sync_after_idle=True,
    least_dwell_s=0.05,
    extras="offsets first",
)

_THREE_AXES = StatusQueryVariant(
    axes="XYZ",
    receive_buffer=128,
    planner_blocks=15,
    settings=_values(_THREE_AXES_LISTING),
    highest_step_rate=40_000.0,
    when_too_fast="crash",
    hangs=True,
    idle_delay_s=0.009,
    idle_spread_s=0.009,
    sync_delay_s=0.002,
    resets_on_open=True,
    boot_s=0.35,
    speech=_SMALL_SPEECH,
    ways=_SMALL_WAYS,
)
_FIVE_AXES = replace(
    _THREE_AXES,
    axes="XYZAB",
    receive_buffer=255,
    planner_blocks=35,
    settings={**_values(_FIVE_AXES_LISTING), "$103": 80 / 9, "$104": 80 / 9},  # printed with three decimals
    highest_step_rate=22_000.0,
    boot_s=0.56,
    speech=replace(
        _SMALL_SPEECH,
        build=("[VER:9.9.20000101:]", "[AXS:{count}:{axes}]", "[OPT:VNMGH,{blocks},{bytes},48]"),
        start_lines="first unreadable",
        decimals=_decimals(_FIVE_AXES_LISTING),
    ),
    ways=replace(_SMALL_WAYS, limit_alarm="deaf to lines", unknown_words=frozenset(), metric_letters="AB"),
)
_FOUR_AXES = StatusQueryVariant(
    axes="XYZA",
    receive_buffer=1024,
    planner_blocks=100,
    settings=_values(_FOUR_AXES_LISTING),
    highest_step_rate=math.inf,
    status_delay_s=0.02,
    ok_delay_s=0.02,
    sync_delay_s=0.002,
    greets_at_power_up=False,
    speech=replace(
        _SMALL_SPEECH,
        greeting=("", "Simulated 9.9 ['$' or '$HELP' for help]"),
        resumed="[MSG:]",
        help=_HELP.replace("$H ~", "$H $B ~"),
        build=(
            "[VER:9.9.20000101:]",
            "[OPT:VNML+,{blocks},{bytes},{count},0]",
            "[AXS:{count}:{axes}]",
            "[NEWOPT:ENUMS,RT+,TC,SED]",
            "[FIRMWARE:Simulated]",
            "[SIGNALS:D]",
            "[NVS STORAGE:*EEPROM]",
            "[DRIVER:Simulator]",
            "[DRIVER VERSION:000101]",
        ),
        more_systems=("G59.1", "G59.2", "G59.3"),
        tool_axes=True,
        more_modes="G40 G49 G98 G50",
        speed_point=".",
        decimals=_decimals(_FOUR_AXES_LISTING),
        unknown_setting=53,
        unknown_dollar=3,
        unknown_letter=36,
        long_line=11,
        number_tail="dropped",
    ),
    ways=Ways(
        alarm_pause_s=0.1,
        missed_alarm_every=5,
        limits_need_homing=True,
        scale_change="position stays",
        zero_scale=True,
        lines_wait_in_hold=True,
        hold_shows_feed=True,
        latch_until_empty=True,
        longest_line=256,
        percent_taken=True,
        metric_letters="A",
        sync_after_idle=True,
        least_dwell_s=0.15,
        usable_bytes_shown=True,
        extras="others first",
        optional_speed=True,
        full_report=True,
    ),
)

RECORDED: Mapping[str, StatusQueryVariant] = MappingProxyType(
    {"status-query-a": _THREE_AXES, "status-query-b": _FIVE_AXES, "status-query-c": _FOUR_AXES}
)
"""By the name that `simulated_device` knows them by; the axis that drives a rotary can be any of theirs."""


def set_for_axis(
    board: StatusQueryVariant,
    letter: str,
    *,
    steps_per_unit: float,
    rate: float,
    acceleration: float,
    homes: Mapping[str, int],
) -> StatusQueryVariant:
    """The board as somebody has set it for the axis `letter`: steps per unit with all decimals, `rate` in units/min,
    `acceleration` in units/s^2, motors never released, homing and soft limits off unless the axis has a switch (its
    true steps in `homes`).
    """
    index = board.axes.index(letter)
    own = {f"${100 + index}": steps_per_unit, f"${110 + index}": rate, f"${120 + index}": acceleration}
    common = {"$1": 255.0, "$20": 0.0, "$22": 1.0 if homes else 0.0, "$23": float(1 << index)}
    return replace(board, settings={**board.settings, **common, **own}, home_switches=homes)
