"""The page of what is not stated has every key and every figure that the program assumes."""

from __future__ import annotations

import re
from pathlib import Path

from firmware_host.planning.assume.complete import complete
from firmware_host.planning.assume.gearing import EFFICIENCIES, LOST_MOTIONS, UNKNOWN_STAGE
from firmware_host.planning.assume.motor import ANY_FRAME, FRAMES
from tests.planning.assume.half import JOBS, described, optional_paths, without

PAGE = (Path(__file__).parents[3] / "docs" / "pages" / "assumed.md").read_text(encoding="utf-8")
ROWS = [[cell.strip() for cell in line.strip("|").split("|")] for line in PAGE.splitlines() if line.startswith("| ")]


def row(first: str) -> list[str]:
    (found,) = (cells for cells in ROWS if cells[0] == first)
    return found


def test_every_key_that_is_assumed_of_a_bare_machine_is_on_the_page() -> None:
    keys = set()
    for kind in JOBS:
        whole = described(kind, 1)
        taken_out = [*optional_paths(whole.machine), ("part", "mass_offset"), ("part", "overhang")]
        taken_out += [("segments", "diameter_uncertainty")]
        half = without(whole, taken_out)
        keys |= {each.key for each in complete(half.machine, half.job).assumptions}
    named = {re.sub(r"^gearing\.[^.]+\.", "gearing.NAME.", key) for key in keys}
    in_the_table_by_kind = {"gearing.NAME.efficiency", "gearing.NAME.lost_motion"}
    assert len(named) > 20
    assert {key for key in named - in_the_table_by_kind if f"`{key}`" not in PAGE} == set()


def test_the_frame_sizes_are_those_that_are_assumed() -> None:
    for size, frame in FRAMES.items():
        found = row(re.sub(r"^frame size ", "", frame.words))
        assert found[1:] == [f"{low:g} to {high:g}" for low, high in (frame.rotor, frame.loss, frame.time_constant)]
        assert str(size) in found[0]
    every = (ANY_FRAME.rotor, ANY_FRAME.loss, ANY_FRAME.time_constant)
    assert row("any")[1:] == [f"{low:g} to {high:g}" for low, high in every]
    for number, whole in enumerate(every):
        ranges = [(frame.rotor, frame.loss, frame.time_constant)[number] for frame in FRAMES.values()]
        assert whole == (min(low for low, _ in ranges), max(high for _, high in ranges))


def test_the_stages_are_those_that_are_assumed() -> None:
    names = {"self-locking worm": "`worm`, self-locking", "worm that is not self-locking": "`worm`, not self-locking"}
    for kind, efficiency in EFFICIENCIES.items():
        found = row("not stated" if kind == UNKNOWN_STAGE else names.get(kind, f"`{kind}`"))
        assert found[1] == f"{efficiency.low:g} to {efficiency.high:g}"
        lost = LOST_MOTIONS["worm" if "worm" in kind else kind]
        assert found[2] == f"{lost.low:.3g} to {lost.high:.3g}"
    assert EFFICIENCIES[UNKNOWN_STAGE].low == min(each.low for each in EFFICIENCIES.values())
    assert LOST_MOTIONS[UNKNOWN_STAGE].high >= max(each.high for each in LOST_MOTIONS.values())
