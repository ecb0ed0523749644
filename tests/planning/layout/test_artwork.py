"""What flat artwork, slanting rays and taper do to segments and seams, against points followed on the true part."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from firmware_host.errors import WindowError
from firmware_host.model import load_job
from firmware_host.model.files.loading import Setup
from firmware_host.planning.layout.seams import Seams
from firmware_host.planning.layout.segments import plan_segments
from firmware_host.planning.plan import Layout, plan_layout
from tests.planning.workshop import chuck_machine, job_on, roller_machine

PLAIN = {"half_depth": "4 mm", "spot_diameter": "0.05 mm", "flat_field_corrected": True, "telecentric": True}


def cone(width: str | None = "90 mm", *, window: dict[str, Any] = PLAIN, **mark: Any) -> Layout:
    """5 mm of taper over 180 mm, a full wrap in 10 segments."""
    part = {
        "kind": "cone",
        "diameter": "77.5 mm",
        "large_diameter": "80 mm",
        "small_diameter": "75 mm",
        "length": "180 mm",
        "density": "7860 kg/m^3",
    }
    band = {"width": width} if width is not None else {}
    job = job_on("77.5 mm", {"angle": "360 deg"} | band | mark, part=part, segments={"count": 10}, window=window)
    return plan_layout(Setup(job, chuck_machine()))


def worst(seams: Seams, key: str) -> float:
    return next(cause.worst for cause in seams.causes if cause.key == key)


def test_the_taper_opens_every_seam_on_one_edge_and_closes_it_on_the_other() -> None:
    layout = cone()
    taper = next(cause for cause in layout.seams.causes if cause.key == "taper")
    # Each seam, the closing one too: pi 77.5/10 * (5/180 * 45)/77.5 = 0.3927 mm.
    assert taper.high.shape == (10,)
    assert taper.high * 1e3 == pytest.approx(np.full(10, 0.3927), abs=1e-4)
    assert (taper.low == -taper.high).all()
    assert taper.along
    # The same by turning the true cone: its thick edge has 78.75 mm, and travels by that what the middle does by 77.5.
    angles = np.diff(np.append(layout.route.segment_targets(), 3200)) / 3200
    for place, of in ((78.75, taper.high), (76.25, taper.low)):
        gaps = angles * math.pi * place - layout.segments.arcs() * 1e3
        assert (layout.seams.gap + of) * 1e3 == pytest.approx(gaps, abs=2e-3)


def test_the_seams_of_a_cone_say_what_to_do_about_them() -> None:
    # Half the spot is 0.025 mm, of 0.3927 mm at 90 mm: 5.73 mm.
    told = next(line for line in cone().seams.warnings if line.startswith("On the cone"))
    assert "gapes by 0.393 mm at the thick edge" in told
    assert "narrower bands (below 5.73 mm it does not show), or fan the artwork out" in told
    straight = plan_layout(load_job("shaft-scale")).seams.warnings
    assert not any("cone" in line for line in straight)


def test_a_narrower_band_has_less_of_the_taper_and_an_unstated_one_the_most() -> None:
    narrow, wide, unstated = (cone(width) for width in ("20 mm", "90 mm", None))
    assert worst(narrow.seams, "taper") * 1e3 == pytest.approx(0.0873, abs=1e-4)
    assert worst(wide.seams, "taper") * 1e3 == pytest.approx(0.3927, abs=1e-4)
    assert worst(unstated.seams, "taper") == pytest.approx(2 * worst(wide.seams, "taper"))
    assert any("180 mm (assumed)" in name for name in unstated.seams.terms)


@pytest.mark.parametrize("focus", ["crown", "balanced"])
@pytest.mark.parametrize("levelled", [True, False, None], ids=["levelled", "axis level", "not stated"])
def test_every_point_of_a_cone_s_segment_lies_in_the_window(focus: str, levelled: bool | None) -> None:
    window = {"half_depth": "0.8 mm", "focus": focus}
    part = {
        "kind": "cone",
        "diameter": "77.5 mm",
        "large_diameter": "80 mm",
        "small_diameter": "75 mm",
        "length": "180 mm",
        "density": "7860 kg/m^3",
    }
    mark = {"angle": "360 deg", "width": "90 mm"} | ({} if levelled is None else {"levelled": levelled})
    segments = plan_segments(job_on("77.5 mm", mark, part=part, window=window))
    half = math.radians(segments.window.widest_deg) / 2
    along, around = np.meshgrid(np.linspace(-0.045, 0.045, 91), np.linspace(-half, half, 201))
    radius = 0.03875 + along * 2.5 / 180
    height = radius * np.cos(around) - 0.03875 - (along * 2.5 / 180 if levelled else 0)
    plane = -segments.window.focal_depth(half)
    depth = segments.window.half_depth
    # Focused on the crown, its middle is in focus, and what lies higher is out of focus the other way.
    off = np.abs(height - plane).max()
    assert off <= depth * (1 + 1e-9)
    assert off >= 0.97 * depth


def test_the_tumbler_on_a_level_axis_does_not_fit_its_window() -> None:
    setup = load_job("tumbler-wrap")
    # z tan(half angle) = 30 mm * 6/170 = 1.0588 mm; the sag 40 (1 - cos(0.3 rad)) = 1.787 mm leaves 0.213 of 2.0 mm.
    with pytest.raises(WindowError, match=r"rises and falls along the mark's 60 mm.*: 1\.05882 mm, limit 1 mm\. Level"):
        plan_layout(setup.with_values({"mark.levelled": False}))
    segments = plan_layout(setup).segments
    assert segments.window.band.thicker * 1e3 == pytest.approx(1.0588, abs=1e-4)
    assert (segments.window.depth - segments.sag()) * 1e3 == pytest.approx(0.213, abs=1e-3)
    narrow = plan_layout(setup.with_values({"mark.levelled": False, "mark.width": "20 mm"})).segments
    assert narrow.count > segments.count


def test_a_cone_on_level_rollers_tilts_and_rises_the_more() -> None:
    part = {
        "kind": "cone", "large_diameter": "86 mm", "small_diameter": "74 mm", "length": "170 mm",
        "contact_diameter": "80 mm", "diameter": "80 mm", "density": "7860 kg/m^3",
    }  # fmt: skip
    setup = Setup(job_on("80 mm", {"arc": "50 mm", "width": "10 mm"}, part=part, window=PLAIN), roller_machine())
    on_rollers = plan_layout(setup).segments.window.band
    # The section's centre lies sqrt((r + R)^2 - (c/2)^2) above the rollers: 1 mm of radius lifts it by 1/cos(beta).
    centres = [math.sqrt((radius + 12.7) ** 2 - 21**2) for radius in (39.99, 40.01)]
    slope = 6 / 170 * (1 + (centres[1] - centres[0]) / 0.02)
    assert on_rollers.slope == pytest.approx(slope, rel=1e-6)
    level = plan_layout(setup.with_values({"mark.levelled": False})).segments.window.band
    assert level.slope == pytest.approx(6 / 170)


def test_flat_artwork_overlaps_at_every_seam_unless_it_is_corrected() -> None:
    setup = load_job("tumbler-wrap")
    unstated, flat, corrected = (
        plan_layout(setup.with_values({"window.flat_field_corrected": said})).seams for said in (None, False, True)
    )
    assert worst(unstated, "flat-field") * 1e3 == pytest.approx(0.375, abs=1e-3)
    assert worst(corrected, "flat-field") == 0
    # Not stated: the predicted gap is the corrected one's, the lowest is that of the flat one.
    assert unstated.lowest == pytest.approx(flat.lowest)
    assert unstated.highest == pytest.approx(corrected.highest, abs=1e-4)
    assert (flat.gap - corrected.gap) * 1e3 == pytest.approx(np.full(4, -0.375 - 0.0115), abs=1e-3)


def test_a_lens_that_is_not_described_is_the_shortest_that_draws_its_field() -> None:
    setup = load_job("tumbler-wrap")

    def slant(**lens: Any) -> tuple[float, float]:
        values = {f"window.{key}": value for key, value in ({"focal_length": None} | lens).items()}
        causes = plan_layout(setup.with_values(values)).seams.causes
        found = next(cause for cause in causes if cause.key == "lens-slant")
        return float(found.low.min()), float(found.high.max())

    shortest = slant(focal_length="110 mm")
    assert slant() == (shortest[0], 0.0)
    assert shortest[0] < shortest[1] < 0
    assert slant(telecentric=None) == (shortest[0], 0.0)
    assert slant(focal_length="110 mm", telecentric=None) == (shortest[0], 0.0)
    assert slant(telecentric=True) == (0.0, 0.0)
    assert slant(lens_field=None)[0] == slant(focal_length="60 mm")[0]
    # About sag*x/f at both edges, the sag that below the focal plane: 2 * 0.87 * 12/160 = 0.130 mm, and 1/cos(phi).
    assert -slant(focal_length="160 mm")[0] * 1e3 == pytest.approx(0.130 / math.cos(0.3), rel=0.1)


def test_a_seam_in_a_gap_of_the_artwork_shows_only_where_the_marks_beside_it_overlap() -> None:
    setup = load_job("sleeve-label")
    seams = plan_layout(setup).seams
    # The four seams lie in the gaps of 1.2, 1.5, 1.2 and 1.2 mm, and overlap by 0.2 mm at most.
    assert seams.blank * 1e3 == pytest.approx([1.2, 1.5, 1.2, 1.2])
    assert -seams.lowest.min() > (seams.tolerance or 0)
    assert not seams.showing().any()
    narrow = {f"mark.gaps.{number}.width": "0.1 mm" for number in range(4)}
    assert plan_layout(setup.with_values(narrow)).seams.showing().all()
    plain = plan_layout(setup.with_values({"segments.seams": "equal", "segments.count": 4})).seams
    assert (plain.blank == 0).any()
    assert (plain.showing() == (plain.blank == 0)).all()
