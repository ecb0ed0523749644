"""A target that no number of turns brings within the reach of what is proved stops the run before anything moves."""

from pathlib import Path

import pytest

from firmware_host.acts import WriteSettings
from firmware_host.errors import CoordinateError
from firmware_host.station.journal.events import Begin, End
from firmware_host.station.journal.journal import read_journal
from tests.support.station_bench import StationBench, changed_setup, quick_disk


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def wide_part(
    tmp_path: Path, finish: str, *, mark: str = "170 deg", start: str = "0 deg", count: int = 12, approach: str = "auto"
) -> StationBench:
    """A part of 200 mm on rollers of 25.4 mm: 50,393.70 microsteps a turn, of which 15,600 can be proved either way.

    (0.45 - 0.0089)/(0.0005/17.778), the scale being known to three decimals only.
    """
    setup = changed_setup(
        "bottle-band",
        part={
            "kind": "tube",
            "diameter": "200 mm",
            "inner_diameter": "199 mm",
            "length": "80 mm",
            "density": "2700 kg/m^3",
            "mass_offset": "0 mm",
        },
        mark={"angle": mark, "width": "10 mm", "passes": 1, "start_angle": start},
        segments={"count": count},
        window={"half_depth": "3 mm"},
        index={"finish": finish, "approach": approach},
    )
    return StationBench(tmp_path, setup, known=False, stored={"$103": 160 / 9}, away=0)


@pytest.mark.parametrize("finish", ["stay", "unwind"])
def test_the_farthest_segment_is_looked_at_before_the_first_move(finish: str, tmp_path: Path) -> None:
    bench = wide_part(tmp_path, finish)
    with pytest.raises(CoordinateError, match=r"may land beside step (15|16|17)\d{3}.*Write the steps") as caught:
        bench.run()
    assert caught.value.acts == (WriteSettings(),)
    assert bench.sent_moves() == []
    assert len(bench.device.motion_log) == bench.motion_before


@pytest.mark.parametrize(
    ("approach", "problem"),
    [("both-sides", ""), ("one-side", r"may land beside step -15682: .* limit 0\.441111 steps")],
    ids=["straight", "by way of its take-up"],
)
def test_the_way_to_a_segment_is_looked_at_as_well(approach: str, problem: str, tmp_path: Path) -> None:
    """Some 15,670 can be proved. The first segment lies at -15,650; lost motion is taken up from 32 below it."""
    bench = wide_part(tmp_path, "stay", mark="60 deg", start="-111.8 deg", count=5, approach=approach)
    assert bench.plan.route.segment_targets().min() == -15_650
    if not problem:
        assert bench.run().outcome == "done"
        return
    with pytest.raises(CoordinateError, match=problem):
        bench.run()
    assert bench.sent_moves() == []
    kinds = [type(event) for event in read_journal(bench.folder.journal)]
    assert kinds == [Begin, End]  # it was refused before the zero was set, not on the way
