"""`profile new` as an interview, and the same said beforehand.

The session at a pseudo-terminal is kept in `tests/cli/sessions/` to be read; it is written anew by

    CIRCUMSTEP_WRITE_SCREENS=1 python -m pytest tests/cli/test_interview.py
"""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest

from firmware_host.folders import shipped_folder
from firmware_host.model import load_machine
from tests.cli.conftest import Circumstep
from tests.cli.test_hand_sessions import board
from tests.model.interview.answers import answers_of
from tests.support.kept import kept

SESSIONS = Path(__file__).parent / "sessions"
ENOUGH = ("drive.kind=chuck", "motor=nema23-short", "gearing=20:60 belt", "drive.inertia=4200 g*cm^2",
          "driver.supply_voltage=36 V")  # fmt: skip


def said(*answers: str) -> list[str]:
    return [word for answer in answers for word in ("--answer", answer)]


@pytest.mark.posix("a pseudo-terminal")
def test_a_session_is_the_one_that_is_kept_and_ctrl_c_loses_nothing(circumstep: Circumstep) -> None:
    from tests.support.terminal import Terminal

    with Terminal("profile", "new", "machine", "my-rotary.toml") as person:
        for shown, typed in (
            (r"call the machine\?[^>]*> ", "Rotary of the small laser"),
            (r"chuck, rollers\r\n> ", "chuck"),
            (r"> ", "?"),
            (r"> ", "nema23-short"),
            (r"1\.10 N\*m\.[^>]*> ", "20:60 belt"),
            (r"3:1 reducing[^>]*> ", "2.5 kg 100 mm"),
            (r"31250 g\*cm\^2[^>]*> ", "back"),
            (r"> ", "4200 g*cm^2"),
            (r"> ", "3"),
            (r"no unit[^>]*> ", "3 mm"),
            (r"> ", "80 mm"),
        ):
            person.wait(shown)
            person.press(*typed, "Enter")
        person.wait(r"\[16\] > ")
        person.press("Ctrl-C")
        assert person.end() == 4
    first = person.transcript
    with board("belt-chuck") as port, Terminal("profile", "new", "machine", "my-rotary.toml") as person:
        person.wait(r"resumed[^>]*\[16\] > ")
        for shown, typed in (
            ("", ""), (r"0\.0375 deg[^>]*> ", "36 V"), (r"\[100 kHz\] > ", ""), (r"\[2\.24 A\] > ", "3 A"),
            (r"would overheat[^>]*\[2\.24 A\] > ", "2.4 A"),
            (r"86 %[^>]*\[not known\] > ", "1"), (r"\[no\] > ", ""), (r"\[not known\] > ", "6 N*m"),
            (r"find looks[^>]*\[not known\] > ", port),
            (r"\[status-query\] > ", "find"),
            (r"is nothing moving\? \[no\] > ", "yes"),
            (r"\[115200\] > ", ""), (r"\[20 kHz\] > ", ""), (r"\[A\] > ", ""),
            (r"\[no\] > ", "yes"), (r"\[endless\] > ", ""), (r"\[none\] > ", ""),
        ):  # fmt: skip
            if shown:
                person.wait(shown)
            person.press(*typed, "Enter")
        assert person.end() == 0
    assert circumstep("profile", "check", "machine", "my-rotary.toml").status == 0
    machine = load_machine("my-rotary.toml")
    assert (machine.reduction, machine.axis.home_switch, machine.name) == (3, True, "Rotary of the small laser")
    assert not list(Path().glob("*.answers*"))
    file = circumstep("profile", "show", "machine", "my-rotary.toml").out
    assert "microsteps = 16 # assumed, a usual value: measure it, or look it up" in file
    text = "\n".join([*first, "", *person.transcript, "", "$ circumstep profile show machine my-rotary.toml", file])
    text = text.replace(">\n[Enter]\n", ">\n")
    text = re.sub(r">\n\[[^\n]*Enter\]\n", "> ", text).replace(port, "PORT")  # typed, and seen as it was typed
    text = re.sub(r"described \d{4}-\d\d-\d\d", "described DATE", text)
    text = re.sub(r"   Ports here: .*\n(     .*\n)*", "", text)
    assert max(map(len, text.splitlines())) <= 100
    assert text == kept(SESSIONS / "profile-new.txt", text)


def test_every_missing_answer_is_named_in_one_error_and_nothing_is_written(circumstep: Circumstep) -> None:
    ended = circumstep("profile", "new", "machine", "m.toml", *said("drive.kind=rollers", "gearing=none"))
    assert ended.status == 2
    for key in ("motor ", "drive.roller_diameter", "drive.centre_distance", "driver.supply_voltage", "link.dialect"):
        assert key in ended.err
    assert "usual: 16" in ended.err
    assert "--usual" in ended.err
    assert not Path("m.toml").exists()


def test_usual_values_are_taken_where_that_is_wished_and_marked_as_assumed(circumstep: Circumstep) -> None:
    ended = circumstep("profile", "new", "machine", "m.toml", "--usual", *said(*ENOUGH))
    assert (ended.status, ended.out) == (0, "m.toml\n"), ended.err
    assert 'current = "2.24 A" # assumed' in Path("m.toml").read_text("utf-8")
    assert circumstep("profile", "check", "machine", "m.toml").status == 0


@pytest.mark.some(4)
@pytest.mark.parametrize(
    ("answer", "problem"),
    [
        pytest.param("gearing=20-60", "'20-60' is no gearing", id="gearing"),
        pytest.param("driver.current=3 A", "above the motor's rated_current 2.8 A", id="too much"),
        pytest.param("driver.supply_voltage=36 A", "is not a unit of voltage", id="unit"),
        pytest.param("driver.supply_voltage=36000 V", "is more than any has", id="range"),
        pytest.param("motor=nema23-shrt", "Did you mean 'nema23-short'?", id="motor"),
        pytest.param("driver.curent=2 A", "Did you mean 'driver.current'?", id="no such question"),
        pytest.param("axis.letter=Q", "'Q' is none of the answers", id="choice"),
        pytest.param("link.dialect=numbered", "Did you mean 'numbered-line'?", id="dialect"),
        pytest.param("chuck", "Write KEY=ANSWER", id="no answer"),
    ],
)
def test_an_answer_that_can_not_be_is_refused_with_what_would_be_right(
    answer: str, problem: str, circumstep: Circumstep
) -> None:
    others = [each for each in ENOUGH if each.partition("=")[0] != answer.partition("=")[0]]
    ended = circumstep("profile", "new", "machine", "m.toml", "--usual", *said(*others, answer))
    assert ended.status == 2
    assert problem in " ".join(ended.err.split())
    assert not Path("m.toml").exists()


def test_a_file_that_is_there_stays_whatever_is_answered(circumstep: Circumstep) -> None:
    Path("m.toml").write_text("kept = true\n")
    ended = circumstep("profile", "new", "machine", "m.toml", "--usual", *said(*ENOUGH))
    assert (ended.status, "is there already" in ended.err) == (2, True)
    assert Path("m.toml").read_text() == "kept = true\n"


def test_a_copy_and_answers_exclude_each_other(circumstep: Circumstep) -> None:
    ended = circumstep("profile", "new", "machine", "m.toml", "--from", "belt-chuck", *said(*ENOUGH))
    assert (ended.status, "a copy asks nothing" in ended.err) == (2, True)


def test_the_plan_of_a_job_described_again_is_the_same(circumstep: Circumstep) -> None:
    def answers(folder: str, name: str) -> list[str]:
        return said(*answers_of(tomllib.loads((shipped_folder() / folder / f"{name}.toml").read_text("utf-8"))))

    assert circumstep("profile", "new", "machine", "m.toml", *answers("machines", "worm-chuck")).status == 0
    job = [each for each in answers("jobs", "heavy-shaft") if each != "machine=worm-chuck"]
    job = [word for place, word in enumerate(job) if job[place : place + 2] != ["--answer", "--answer"]]
    made = circumstep("profile", "new", "job", "j.toml", "--machine", "m.toml", *job)
    assert made.status == 0, made.err
    again, shipped = (json.loads(circumstep("limits", name, "--json").out) for name in ("j.toml", "heavy-shaft"))
    assert again["checks"] == shipped["checks"]
    assert again == shipped
