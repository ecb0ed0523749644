"""The strips of a job: for its own segments, corrected where the marking side does not."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from firmware_host.commissioning.marks.strips import seam_strips, write_strips
from firmware_host.errors import InputError
from firmware_host.model import load_job
from firmware_host.planning.plan import plan_layout
from firmware_host.reporting.measuring.commissioning import strips_document
from firmware_host.reporting.render.json import json_document

SETUP = load_job("shaft-scale")  # six segments of 10 mm on a part of 50 mm, a band of 20 mm
LAYOUT = plan_layout(SETUP)


def places(text: str) -> list[float]:
    return [float(line.attrib["x1"]) for line in ElementTree.fromstring(text).iter() if line.tag.endswith("}line")]


def test_the_combs_have_their_zero_at_the_edges_of_two_neighbours() -> None:
    first, second = (places(strip.text) for strip in seam_strips(SETUP, LAYOUT, 0.2e-3).strips)
    assert first[10] == pytest.approx(25 * 0.198669, abs=2e-4)  # 25 mm * sin(5/25)
    assert second[10] == pytest.approx(-first[10], abs=2e-4)
    assert first[11] - first[10] > second[11] - second[10]


def test_a_marking_side_that_corrects_gets_the_lines_as_they_lie_on_the_surface() -> None:
    corrected = SETUP.with_values({"window.flat_field_corrected": True})
    strips = seam_strips(corrected, plan_layout(corrected), 0.2e-3)
    assert not strips.flat
    assert places(strips.strips[0].text)[10] == pytest.approx(5.0, abs=1e-4)


def test_both_are_written_and_told(tmp_path: Path) -> None:
    strips = seam_strips(SETUP, LAYOUT, 0.2e-3)
    written = write_strips(strips, tmp_path / "new" / "folder")
    assert [path.read_text("utf-8") for path in written] == [strip.text for strip in strips.strips]
    told = json_document(strips_document(strips, written))
    assert (told["spacing_mm"], told["read_to_mm"]) == (pytest.approx(0.2), pytest.approx(0.01))


def test_a_folder_that_can_not_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be written"):
        write_strips(seam_strips(SETUP, LAYOUT, 0.2e-3), tmp_path / "file")


def test_a_mark_of_one_segment_has_no_seam_to_test() -> None:
    one = SETUP.with_values({"segments.count": 1, "mark.arc": "5 mm"})
    with pytest.raises(InputError, match="no seam"):
        seam_strips(one, plan_layout(one), 0.1e-3)
