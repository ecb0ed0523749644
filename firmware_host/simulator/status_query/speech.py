"""What a board of the dialect says in its own words: greeting, messages, listings, and the numbers of its errors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Speech:
    """The words of one board.

    greeting: its lines. locked: the line after the greeting of a locked board. unlocked, check_on, check_off, sleeping,
    resumed (a hold was ended), needs_reset (after a soft limit): messages, "" = not said.
    help: the answer to a lone `$`. build: what `$I` prints, with {axes}, {count} (of axes), {blocks}, {bytes}.
    start_lines: `$N` lists two start-up lines; `first unreadable` answers the first time that one cannot be read.
    more_systems: coordinate systems beside the six (always zero). tool_axes: the tool offset is printed for each axis.
    tool_and_probe: `$#` ends with a tool offset and the last probing.
    more_modes: words of `$G` that never change. speed_point: the speed in `$G` ends with a point.
    decimals: how many are printed of a setting, by name; 0: it is a whole number.
    unknown_setting, unknown_dollar, unknown_letter, long_line: error numbers. number_tail: what follows the digits of a
    setting's value is refused (3), makes it no number (2), or is dropped.
    """

    greeting: tuple[str, ...] = ("Simulated board ['$' for help]",)
    locked: str = "[MSG:locked]"
    unlocked: str = "[MSG:unlocked]"
    check_on: str = "[MSG:check]"
    check_off: str = ""
    sleeping: str = ""
    resumed: str = ""
    needs_reset: str = "[MSG:Reset to continue]"
    help: str = "[HLP:$$ $# $G $I $N=v $J= $X $H $C $SLP]"
    build: tuple[str, ...] = ("[VER:simulated:]", "[OPT:V,{blocks},{bytes}]")
    start_lines: str = ""
    more_systems: tuple[str, ...] = ()
    tool_axes: bool = False
    tool_and_probe: bool = False
    more_modes: str = ""
    speed_point: str = ""
    decimals: Mapping[str, int] = field(default_factory=dict)
    unknown_setting: int = 3
    unknown_dollar: int = 3
    unknown_letter: int = 20
    long_line: int = 14
    number_tail: str = "no number"

    def __post_init__(self) -> None:
        if self.start_lines not in ("", "listed", "first unreadable"):
            raise ValueError(f"start_lines {self.start_lines!r}: '', 'listed' or 'first unreadable'")
        if self.number_tail not in ("no number", "refused", "dropped"):
            raise ValueError(f"number_tail {self.number_tail!r}: 'no number', 'refused' or 'dropped'")
