"""What kind of board speaks `numbered-line`: every difference between variants of the family is a field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from firmware_host.simulator.axis.straight_move import WhenTooFast

AXIS_LETTERS = "XYZABCE"

AXIS_SETTINGS: Mapping[str, float] = MappingProxyType({"M92": 100.0, "M203": 100.0, "M201": 500.0})
"""Per axis, as `"M92 A"`: steps per unit, units/s, units/s^2."""

COMMON_SETTINGS: Mapping[str, float] = MappingProxyType({"M204 P": 3000.0, "M204 R": 3000.0, "M204 T": 3000.0})
"""Accelerations in units/s^2 of moves that feed out, feed alone, and neither (from memory)."""


_POSITIVE = (
    "highest_step_rate",
    "homing_rate",
    "travel",
    "start_feed",
    "busy_every_s",
    "unfinished_line_s",
    "resend_again_s",
)


@dataclass(frozen=True)
class MotionWays:
    """How a board makes its moves, beside what it is set to.

    plain_acceleration: the word whose setting a move without a tool word keeps to.
    jump_setting: the setting half of which (units/s) is the speed at which a move starts from rest and ends; "" = 0.
    first_step_rate: steps/s; from rest the first step comes at once and the second 1/rate later, and a move ends at
    that rate; 0 = as the ramp asks.
    shortest_move_steps: a move of fewer is not made, and made up for by the next longer one.
    bunches: (steps/s, size), rising: above that rate the steps come so many at a time.
    bounds: axis minimum and maximum (settings `min X` and `max X`, machine coordinates, those that there are): a move
    beyond them is refused as a whole, or clipped once the axis was homed, both in silence.
    cut_runs_on: a rotor whose pulses are cut runs on by its stopping distance, unseen by the step counts.
    homing_lift: units by which Z rises before another axis is homed, unless it is there already.
    """

    plain_acceleration: Literal["M201", "M202"] = "M201"
    jump_setting: str = ""
    first_step_rate: float = 0.0
    shortest_move_steps: int = 1
    bunches: tuple[tuple[float, int], ...] = ()
    bounds: Literal["none", "refused", "clipped once homed"] = "none"
    cut_runs_on: bool = True
    homing_lift: float = 0.0


@dataclass(frozen=True)
class NumberedLineVariant:
    """One board of the family.

    The motors:
    axes: letters in the order of the report, out of X Y Z A B C E; the report counts the steps of all but E.
    settings: what differs from the defaults, by name (`"M203 A"`); rates in units/s whatever `rate_unit` is.
    highest_step_rate: steps/s of the quickest axis; a quicker move takes longer or crashes the board (`when_too_fast`).
    reversed_axes: letters whose motor turns the other way round.
    home_switches: true steps (see `SimulatedDevice.steps_at`) where an axis' switch closes; it is searched for in the
    negative direction at `homing_rate` units/s over at most `travel` units. start_feed: units/min before the first F.
    planner_blocks: moves that can be queued. release_after_s: stepper time-out; None = never.
    motion: how it makes its moves.

    The line:
    receive_buffer: bytes, one less is usable. command_lines: lines that wait to be carried out.
    ok_delay_s: from a line carried out to its answer. position_delay_s: the same for a question for the position; None:
    it is answered at once, and `ok_delay_s` later comes the ok. sync_delay_s: from the last step to the end of a wait
    for it, at the least; up to sync_spread_s more, drawn anew for each standstill.
    eeprom_write_s: how long storing takes. boot_loss_s: from a reset or the opening of the port until bytes are no
    longer lost, and to the greeting after a reset. greets: says `start`. resets_on_open: opening the port resets.
    busy_every_s: keep-alive while a line is worked on; None = none. wait_lines: `wait` every second when idle.
    unfinished_line_s: after this silence a line without its end is answered with a resend; None = never.
    resend_again_s: a request to send again is repeated so often, three times after a line refused and for ever after
    an unfinished one, until a good line comes; None = never.
    drops_input_on_resend: what was received behind a damaged line is forgotten, not answered with more resends.
    reads_while_working: takes lines in while another is being worked on; otherwise they stay in the receive buffer.
    print_line_s: how long each line of a longer listing takes.

    The answers:
    speech: the words of its answers, see `speech.py`, `echoing.py`, `remarking.py`.
    answers_first: each line is acknowledged when its turn comes, before it is carried out.
    unknown_words: words of the family that this board doesn't know. refused_pins: outputs that M42 may not set.
    ok_fields: which of N (line number), P (free planner blocks), B (free lines) follow an `ok`.
    ok_before_output: the `ok` comes before what the command prints.
    resend_ok: an `ok` follows each resend; it acknowledges nothing.
    repeated_number: a number that was already had is answered with a resend, or `skip` and not carried out.
    error_style: the words about a line out of order. order_before_checksum: the number is looked at first.
    bad_numbers: refused, or silently taken as 0.
    sync_answered: `when-queued` answers M400, M17, M84, M18 and G4 at once; only the next line waits for them.
    position_report, count_report: where the motors are now, or where they will be once all is done.
    position_decimals: of the report. offset_moves_counts: G92 changes the step counts too (from memory).

    The settings:
    more_settings: settings by name that this board has beside the family's.
    settings_report: `M503 echo` prints the settings there (and each by its own word), `EPR after M205` prints them
    after M205 only, `none` never. settings_decimals: as printed; all digits are kept.
    listing_shows: what M205 prints is `in force`, or what is `stored`. whole_accelerations: M201 keeps whole numbers,
    what is behind the point is dropped.
    fixed_settings: settings that a word doesn't change, by name: it is `refused`, or taken without effect (`ignored`).
    rate_unit: of M203. rate_listed: of a rate in the listing behind M205, where that is another one.
    m204: sets accelerations, or a heater's control constants.
    scale_change_shifts_position: M92 leaves the step counts as they are, so that the position becomes another one;
    otherwise the position stays and the counts change. scale_change_moves_nothing: both stay, until the next move.

    The halt:
    acts_at_once: M112 and M410 act when they are received, otherwise when their turn comes.
    stop_takes_s: from the stop by M410 to its answer. halts_after_s: how long it still moves after M112.
    halt_style: the words of a halt: `Error:Printer halted`, `!!` (also for every later line), or `fatal:`.
    after_halt: `waits for reset`, or `restarts` at position 0 with numbering from 1.
    capabilities: what M115 lists besides.
    """

    axes: str = "XYZAE"
    settings: Mapping[str, float] = field(default_factory=dict)
    highest_step_rate: float = 30_000.0
    when_too_fast: WhenTooFast = "lose-time"
    reversed_axes: str = ""
    home_switches: Mapping[str, int] = field(default_factory=dict)
    homing_rate: float = 20.0
    travel: float = 1000.0
    start_feed: float = 1500.0
    planner_blocks: int = 16
    release_after_s: float | None = 120.0
    motion: MotionWays = MotionWays()

    receive_buffer: int = 128
    command_lines: int = 4
    ok_delay_s: float = 0.003
    position_delay_s: float | None = None
    sync_delay_s: float = 0.01
    sync_spread_s: float = 0.0
    eeprom_write_s: float = 0.05
    boot_loss_s: float = 0.0
    greets: bool = True
    resets_on_open: bool = False
    busy_every_s: float | None = 2.0
    wait_lines: Literal["none", "idle", "even-moving"] = "none"
    unfinished_line_s: float | None = None
    resend_again_s: float | None = None
    drops_input_on_resend: bool = True
    reads_while_working: bool = True
    print_line_s: float = 0.0

    speech: Literal["plain", "echoing", "remarking"] = "plain"
    answers_first: bool = False
    unknown_words: frozenset[str] = frozenset()
    refused_pins: frozenset[int] = frozenset()
    ok_fields: str = ""
    ok_before_output: bool = False
    resend_ok: bool = True
    repeated_number: Literal["resend", "skip"] = "resend"
    error_style: Literal["last-line", "expected-got"] = "last-line"
    order_before_checksum: bool = False
    bad_numbers: Literal["error", "zero"] = "error"
    sync_answered: Literal["when-done", "when-queued"] = "when-done"
    position_report: Literal["actual", "planned"] = "actual"
    count_report: Literal["actual", "planned"] = "actual"
    position_decimals: int = 2
    offset_moves_counts: bool = False

    more_settings: Mapping[str, float] = field(default_factory=dict)
    settings_report: Literal["M503 echo", "EPR after M205", "none"] = "M503 echo"
    settings_decimals: int = 2
    listing_shows: Literal["in force", "stored"] = "in force"
    whole_accelerations: bool = False
    fixed_settings: Mapping[str, Literal["refused", "ignored"]] = field(default_factory=dict)
    rate_unit: Literal["per-second", "per-minute"] = "per-second"
    rate_listed: Literal["per-second", "per-minute"] | None = None
    m204: Literal["acceleration", "heater"] = "acceleration"
    scale_change_shifts_position: bool = False
    scale_change_moves_nothing: bool = False

    acts_at_once: bool = True
    stop_takes_s: float = 0.0
    halts_after_s: float = 0.0
    halt_style: Literal["error", "bangs", "fatal"] = "error"
    after_halt: Literal["waits for reset", "restarts"] = "waits for reset"
    capabilities: Mapping[str, bool] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.axes or any(self.axes.count(axis) != 1 or axis not in AXIS_LETTERS for axis in self.axes):
            raise ValueError(f"axes {self.axes!r}: name each axis once, out of {AXIS_LETTERS}")
        if self.receive_buffer < 2 or self.planner_blocks < 1 or self.command_lines < 1:
            raise ValueError("receive_buffer must be at least 2, planner_blocks and command_lines at least 1")
        if set(self.ok_fields) - set("NPB"):
            raise ValueError(f"ok_fields {self.ok_fields!r}: only N, P and B are known")
        for name in _POSITIVE:
            value = getattr(self, name)
            if value is not None and not value > 0:
                raise ValueError(f"{name} {value!r} must be greater than 0")
        unknown = (set(self.home_switches) | set(self.reversed_axes)) - set(self.axes)
        if unknown:
            raise ValueError(f"home_switches or reversed_axes name {sorted(unknown)}, no axes of {self.axes!r}")
        unknown = set(self.fixed_settings) - set(self.initial_settings())
        if unknown:
            raise ValueError(f"fixed_settings names {sorted(unknown)}, which are no settings of this board")

    def initial_settings(self) -> dict[str, float]:
        """All settings of a board as delivered: the defaults, then `settings`."""
        values = {f"{code} {axis}": value for code, value in AXIS_SETTINGS.items() for axis in self.axes}
        return {**values, **COMMON_SETTINGS, **self.more_settings, **self.settings}
