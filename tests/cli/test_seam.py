"""`seam`: readings as they are written, the answer as it is printed, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.cli.conftest import Circumstep


def test_equal_gaps_at_every_seam_are_told_apart_by_a_calliper_and_two_lines(circumstep: Circumstep) -> None:
    told = circumstep("seam", "shaft-scale", "--gap", "0.2 mm", "--read-to", "0.05 mm")
    assert told.status == 0
    lines = told.out.splitlines()
    assert lines[0] == "One of 3 things is wrong, the readings can't tell which:"
    assert "Measure what stands below before you change a number." in lines[:8]
    assert "1. Measure the part with a calliper where it is marked (--diameter)." in lines
    assert all(len(line) <= 80 for line in lines if "circumstep preview" not in line)


def test_with_those_the_diameter_to_enter_is_told(circumstep: Circumstep) -> None:
    more = ("--diameter", "51.3 mm", "--turns", "20", "--part-line", "0 mm", "--shaft-line", "0 deg")
    told = circumstep("seam", "shaft-scale", "--gap", "0.2 mm", *more)
    lines = told.out.splitlines()
    assert lines[0].startswith("The part's diameter is not the one entered: +2.60 ± ")
    assert lines[1] == "In the job: part.diameter is 51.299 ± 0.055 mm, not 50.000 mm."
    assert "Read to 0.05 mm, as assumed" in told.err


@pytest.mark.parametrize(
    ("job", "read", "looks"),
    [
        pytest.param("shaft-scale", ("--gap", "0.2 mm"), "diameter-too-small", id="gaps: entered too thin"),
        pytest.param("shaft-scale", ("--overlap", "0.2 mm"), "diameter-too-big", id="overlaps: entered too thick"),
        pytest.param("bottle-band", ("--overlap", "closing=12 mm"), "diameter-too-big", id="rollers: only the last"),
        pytest.param("shaft-scale", ("--step", "0.4 mm"), "skewed", id="askew"),
        pytest.param("shaft-scale", ("--look", "choppy"), "segments-too-narrow", id="by its look"),
        pytest.param("shaft-scale", ("--gap", "0 mm"), "", id="nothing wrong"),
    ],
)
def test_what_may_be_wrong_is_linked_to_its_picture(
    circumstep: Circumstep, job: str, read: tuple[str, ...], looks: str
) -> None:
    printed = circumstep("seam", job, *read).out.splitlines()
    pictures = [line for line in printed if "circumstep preview" in line]
    command = f"circumstep preview {job} --wrong {looks} --output {looks}.png"
    assert pictures[:1] == ([f"See what that looks like with: {command}"] if looks else [])


def test_the_reader_of_inches_gets_inches(circumstep: Circumstep) -> None:
    more = ("--gap", "0.008 in", "--diameter", "2.02 in", "--part-line", "0 in", "--units", "inch")
    assert "part.diameter is 2.0" in circumstep("seam", "shaft-scale", *more).out


def test_seams_are_named_by_number_by_end_and_by_closing(circumstep: Circumstep) -> None:
    ends = ("--gap", "1@right=0.3 mm", "--overlap", "1@left=0.3 mm", "--gap", "1@middle=0 mm", "--gap", "2=0 mm")
    told = json.loads(circumstep("seam", "heavy-shaft", *ends, "--json").out)
    assert told["suspects"][0]["key"] == "cone"
    assert told["suspects"][0]["amount"] > 0
    closing = ("--overlap", "1=0.5 mm", "--gap", "closing=0.5 mm", "--gap", "2=0 mm")
    told = json.loads(circumstep("seam", "heavy-shaft", *closing, "--json").out)
    assert told["suspects"][0]["key"] == "lost-motion"


def test_the_lines_of_the_test_marks_that_meet_are_a_reading(circumstep: Circumstep) -> None:
    """Number 4 of lines 0.5 mm apart is a gap of 0.2 mm, read to 0.025 mm."""
    more = ("--diameter", "51.3 mm", "--part-line", "0 mm", "--shaft-line", "0 deg", "--read-to", "0.05 mm", "--json")
    by_eye = json.loads(circumstep("seam", "shaft-scale", "--vernier", "1=4", "--vernier", "2=+4", *more).out)
    by_gap = json.loads(circumstep("seam", "shaft-scale", "--gap", "1=0.2 mm", "--gap", "2=0.2 mm", *more).out)
    assert by_eye["suspects"][0]["key"] == by_gap["suspects"][0]["key"] == "part-diameter"
    assert by_eye["change_to"] == pytest.approx(by_gap["change_to"], abs=0.02)


def test_the_test_marks_are_two_strips_and_how_to_read_them(circumstep: Circumstep, tmp_path: Path) -> None:
    told = circumstep("commission", "marks", "shaft-scale", "--output", "my strips", "--spacing", "0.4 mm")
    assert told.status == 0
    assert "That number times 0.040 mm is the gap" in " ".join(told.out.split())
    for name in ("end-of-segment.svg", "start-of-next.svg"):
        lines = ElementTree.parse(tmp_path / "my strips" / name).findall(".//{http://www.w3.org/2000/svg}line")
        assert len(lines) == 21
    too_wide = circumstep("commission", "marks", "shaft-scale", "--output", "my strips", "--spacing", "2 mm")
    assert too_wide.status == 2
    assert "spacing of the lines" in too_wide.err


def test_a_full_wrap_has_strips_of_its_own_and_their_reading_is_taken(circumstep: Circumstep, tmp_path: Path) -> None:
    told = circumstep("commission", "marks", "heavy-shaft", "--what", "closing", "--output", "strips")
    assert told.status == 0
    assert "Both gaps alike: diameter or width." in " ".join(told.out.split())
    assert "--closing NUMBER/NUMBER" in told.err
    names = sorted(path.name for path in (tmp_path / "strips").iterdir())
    assert names == ["closing-segment-1.svg", "closing-segment-16.svg", "closing-segment-2.svg"]
    read = circumstep("seam", "heavy-shaft", "--vernier", "1=1", "--closing=-5/-3", "--json")
    assert json.loads(read.out)["suspects"][0]["key"] == "ratio"


def test_a_ladder_shows_the_marking_window(circumstep: Circumstep, tmp_path: Path) -> None:
    told = circumstep("commission", "marks", "shaft-scale", "--what", "ladder", "--output", "l", "--spacing", "0.2 mm")
    assert told.status == 0
    assert "Set the focus 2 mm below the crown" in told.out
    assert (tmp_path / "l" / "window-ladder.svg").exists()


@pytest.mark.parametrize(
    ("options", "problem"),
    [
        pytest.param(("--closing", "5/4"), "there is no closing seam", id="no closing seam for its strips"),
        pytest.param(("--gap", "9=0.1 mm"), "there is no seam 9. There are 5: 1 to 5", id="no such seam"),
        pytest.param(("--gap", "closing=0.1 mm"), "there is no closing seam", id="no closing seam"),
        pytest.param(("--gap", "0.1"), "--gap", id="no unit"),
        pytest.param(("--gap", "0.1 kg"), "--gap", id="a mass"),
        pytest.param(("--overlap", "each=0.1 mm=2"), "--overlap", id="two signs"),
        pytest.param(("--roller-diameter", "25 mm"), "the machine has no rollers", id="no rollers"),
        pytest.param(("--vernier", "1=11"), "number of the lines that meet", id="beyond the lines"),
        pytest.param(("--vernier", "x=1"), "there is no seam x", id="no seam"),
        pytest.param(("--vernier", "1=four"), "is no reading", id="no number"),
        pytest.param((), "nothing was read from the mark", id="nothing"),
        pytest.param(("--gap", "0.1 mm", "--read-to", "0 mm"), "--read-to", id="read to nothing"),
    ],
)
def test_a_reading_that_can_not_be_is_refused(circumstep: Circumstep, options: tuple[str, ...], problem: str) -> None:
    told = circumstep("seam", "shaft-scale", *options)
    assert told.status == 2
    assert problem in told.err
    assert told.out == ""
