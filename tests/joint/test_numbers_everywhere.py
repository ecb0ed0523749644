"""A number is one way only, wherever it comes in: in a file, by `with_values`, in a sweep, on the command line."""

from pathlib import Path

import pytest

from firmware_host import InputError, load_job
from firmware_host.cli.main import run
from firmware_host.model.files.profiles import find_profile
from firmware_host.planning.compare.sweep import parse_sweep, sweep_limits

#: What is no number, with words of what it is told as.
SLIPS = [
    ("\u0664\u0668 mm", "has digits other than 0 to 9"),
    ("\uff14\uff18 mm", "has digits other than 0 to 9"),
    ("1_000 mm", "has an underscore in its number"),
    ("1 000 mm", "has a gap in its number"),
    ("48,2 mm", "has a comma in its number"),
    ("48.2 mm*mm/mm", "mm and mm cancel"),
    ("1e-300 mm", "is out of any workshop's range"),
    ("inf mm", "does not begin with a finite number"),
    ("nan mm", "does not begin with a finite number"),
    ("48.2", "has no unit"),
    ("50 Mm", "unit 'Mm' is not known"),
]


@pytest.mark.parametrize(("text", "words"), SLIPS, ids=[ascii(text) for text, _ in SLIPS])
def test_a_value_that_is_none_is_told_alike_wherever_it_comes_in(
    text: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    written = find_profile("jobs", "shaft-scale").read_text("utf-8")
    assert 'half_depth = "' in written
    before, _, after = written.partition('half_depth = "')
    file = tmp_path / "job.toml"
    file.write_text(f'{before}half_depth = "{text}"{after.partition(chr(34))[2]}', "utf-8")
    with pytest.raises(InputError, match=words):
        load_job(str(file))
    with pytest.raises(InputError, match=words):
        load_job("shaft-scale").with_values({"window.half_depth": text})
    assert run(["segments", "shaft-scale", "--true-diameter", text]) == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize("number", ["1_000", "\u0661\u0660\u0660", " 100", "1e3", "100.0"], ids=ascii)
@pytest.mark.parametrize("option", ["--samples", "--seed"])
def test_a_whole_number_of_an_option_has_the_digits_0_to_9(
    option: str, number: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["limits", "shaft-scale", "--reliability", option, number]) == 2
    assert f"{number!r} is not a whole number, written with the digits 0 to 9" in capsys.readouterr().err


def test_the_points_of_a_sweep_are_counted_with_the_digits_0_to_9() -> None:
    assert parse_sweep("mark.passes=1..3:3").points == 3
    for number in ("\u0663", "1_0", "3.0"):
        with pytest.raises(InputError, match=r"asks for .* points"):
            parse_sweep(f"mark.passes=1..3:{number}")


@pytest.mark.parametrize("number", ["\u0661", "1_0", "inf", "nan"], ids=ascii)
def test_the_end_of_a_sweep_is_a_number_as_a_file_has_it(number: str) -> None:
    with pytest.raises(InputError, match="must be a number"):
        sweep_limits(load_job("shaft-scale"), f"index.safety_factor=1.5..{number}:2")


def test_an_item_of_a_list_is_named_with_the_digits_0_to_9() -> None:
    setup = load_job("shaft-scale")
    assert setup.with_values({"gearing.0.efficiency": 0.9}).machine.gearing[0].efficiency == 0.9
    with pytest.raises(InputError, match="the list has no item"):
        setup.with_values({"gearing.\u0660.efficiency": 0.9})
