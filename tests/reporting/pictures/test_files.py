"""A picture as a file: of each kind, the same bytes each time, with its words; and what can't be drawn."""

from __future__ import annotations

import base64
import io
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from firmware_host.errors import InputError
from firmware_host.planning.preview.exposure import exposure_of
from firmware_host.reporting.pictures.drawn import drawn, save_picture
from firmware_host.reporting.pictures.registry import PICTURES, picture_named
from firmware_host.reporting.pictures.told import drawn_document, pictures_document
from firmware_host.reporting.render.json import json_document
from tests.cli.command import call
from tests.reporting.pictures.subjects import subject
from tests.reporting.shown import JOBS

_SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.some(12)
@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("job", JOBS)
@pytest.mark.parametrize("picture", PICTURES, ids=lambda each: each.key)
def test_each_picture_of_each_job_is_a_whole_svg_that_says_what_it_shows(picture, job: str) -> None:  # type: ignore[no-untyped-def]
    of = subject(job)
    if picture.missing(of):
        with pytest.raises(InputError, match="nothing to draw"):
            drawn(picture, of)
        return
    made = drawn(picture, of)
    root = ET.fromstring(made.content)
    assert root.tag == f"{_SVG}svg"
    assert root.find(f"{_SVG}title").text == f"{picture.title}: {of.setup.job.name}"  # type: ignore[union-attr]
    assert made.words in {each.text for each in root.iter()}
    assert len(made.words) > 40


def test_a_picture_is_the_same_file_for_the_same_job() -> None:
    for kind in (".svg", ".pdf"):
        first, again = (drawn(picture_named("unrolled"), subject("sleeve-label"), kind).content for _ in range(2))
        assert first == again


def test_the_surface_stands_in_the_file_point_by_point() -> None:
    """Resampled, the two rasters were seven times as large, and a viewer told to keep hard edges dropped seams."""
    of = subject("shaft-scale")
    root = ET.fromstring(drawn(picture_named("preview"), of).content)
    rasters = []
    for image in root.iter("{http://www.w3.org/2000/svg}image"):
        assert not image.get("style")
        (link,) = (value for name, value in image.attrib.items() if name.endswith("href"))
        rasters.append(Image.open(io.BytesIO(base64.b64decode(link.partition(",")[2]))))
    whole, near = rasters
    exposure = exposure_of(of.setup, of.plan, points=whole.width)
    assert (whole.height, whole.width) == exposure.darkness.shape
    darkest = np.asarray(whole.convert("L"), dtype=float)
    twice = exposure.darkness > 1.9
    assert twice.any()
    assert darkest[twice].max() < darkest[exposure.darkness < 1.1].min()
    assert near.width >= 1000


def test_png_and_pdf_are_files_of_their_kind() -> None:
    of = subject("shaft-scale")
    with Image.open(io.BytesIO(drawn(picture_named("end-on"), of, ".png").content)) as image:
        image.load()
        assert (image.format, image.width) == ("PNG", 1152)
    assert drawn(picture_named("end-on"), of, ".pdf").content.startswith(b"%PDF-")


def test_rollers_are_drawn_where_there_are_rollers_and_their_absence_is_told() -> None:
    told = json_document(pictures_document(PICTURES, subject("shaft-scale")))
    missing = {each["picture"]: each["missing"] for each in told["pictures"]}
    assert missing.pop("rollers") == "the machine holds the part in a chuck: it has no rollers"
    assert set(missing.values()) == {""}


def test_another_ending_another_picture_and_a_folder_that_is_not_there_are_refused(tmp_path: Path) -> None:
    of = subject("shaft-scale")
    with pytest.raises(InputError, match=r"not written as \.bmp"):
        save_picture(picture_named("torque"), of, tmp_path / "a.bmp")
    with pytest.raises(InputError, match="there is no picture 'torqe'"):
        picture_named("torqe")
    with pytest.raises(InputError, match="cannot be written"):
        save_picture(picture_named("torque"), of, tmp_path / "nowhere" / "a.svg")
    assert list(tmp_path.iterdir()) == []


def test_what_was_drawn_is_told_in_words(tmp_path: Path) -> None:
    made = save_picture(picture_named("margins"), subject("shaft-scale"), tmp_path / "left.svg")
    told = json_document(drawn_document(made, tmp_path / "left.svg"))
    assert told["picture"] == "margins"
    assert told["words"] == ["22 limits, together: holds; the tightest is unsupported-length, holds, 20 % left."]


def test_the_command_draws_lists_and_says_what_is_missing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    ended = call("picture", "bottle-band", "rollers", "--output", "my rollers.svg")
    assert ended.status == 0, ended.err
    assert "A friction of" in ended.out
    assert Path("my rollers.svg").read_bytes().startswith(b"<?xml")
    listed = call("picture", "bottle-band")
    assert all(each.key in listed.out for each in PICTURES)
    unsaid = call("picture", "bottle-band", "rollers")
    assert unsaid.status == 2
    assert "Add --output rollers.svg" in unsaid.err
    which = call("picture", "bottle-band", "--output", "a.svg")
    assert "nobody said which picture" in which.err


def test_the_preview_is_drawn_as_planned_with_one_thing_wrong_or_side_by_side(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    planned = call("preview", "sleeve-label", "--output", "mark.png")
    assert planned.status == 0, planned.err
    assert "The segments meet, and are dark up" in planned.out
    wrong = call("preview", "sleeve-label", "--output", "wrong.png", "--wrong", "diameter-too-small")
    assert "every seam is left bare" in " ".join(wrong.out.split())
    assert Path("wrong.png").read_bytes() != Path("mark.png").read_bytes()
    beside = call("preview", "bottle-band", "--output", "beside.svg", "--side-by-side")
    assert beside.status == 0, beside.err
    assert "runs out" not in beside.out, "a part on rollers turns about its own middle"
    both = call("preview", "bottle-band", "--output", "b.svg", "--side-by-side", "--wrong", "skewed")
    assert "contradict each other" in both.err
    unknown = call("preview", "bottle-band", "--output", "b.svg", "--wrong", "diameter-to-big")
    assert "diameter-too-big" in unknown.err
