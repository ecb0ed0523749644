"""From a box of parts to a report: commissioning at the command line, on a machine that is not as described.

The session is kept in the docs (`docs/pages/commissioning-session.md`), and written anew by

    CIRCUMSTEP_WRITE_SCREENS=1 python -m pytest tests/cli/test_whole_commissioning.py
"""

from __future__ import annotations

import io
import json
import re
from contextlib import redirect_stdout
from pathlib import Path

from firmware_host.model import load_machine
from tests.cli.command import call
from tests.cli.commissioning_bench import PORT, as_typed, true_board, typed
from tests.cli.measuring_person import MeasuringPerson
from tests.support.kept import kept

PAGE = Path(__file__).parents[2] / "docs" / "pages" / "commissioning-session.md"
PREFACE = """# A session of commissioning

A rotary is described, measured and reported, from beginning to end. Its file says 20 to 60 teeth, and a wheel of 61 is
mounted. It is the practice machine; in another terminal

    circumstep controller simulate --machine my-rotary --true-machine worn-belt-chuck

serves it, and says at each standstill what is to be read. What stands behind a `>` was typed. What each is for
is told in [Measuring a machine that was built](commissioning.md).
"""
READINGS = 10 + 1 + 5 + 10 + 8
"""Of gate, direction, ratio, lost motion and run-out."""
DONE = ("gate", "direction", "ratio", "lost-motion", "run-out", "grip")


class Bench:
    """The commands of the day, one after another, with what was shown and typed."""

    def __init__(self, home: Path) -> None:
        self._home = home
        self.transcript: list[str] = []

    def types(self, *words: str, person: MeasuringPerson | None = None) -> str:
        """Type a command; what was shown, with the answers of `person` where it asks."""
        ended = typed(words, None if person is None else person.answer)
        assert ended.status == 0, ended.out
        self.transcript += [as_typed(words), ended.out]
        return ended.out

    def page(self) -> str:
        """The whole day as a page of the docs, without what is this computer's alone."""
        text = "\n".join(self.transcript).replace(str(self._home), "HOME")
        text = re.sub(r"Not measured: [^.]*\.\n", "Not measured: ...\n", text)
        return f"{PREFACE}\n```console\n{text.rstrip()}\n```\n"


def test_from_a_box_of_parts_to_a_report(home: Path) -> None:
    day, readings = Bench(home), home / "readings.jsonl"
    day.types("profile", "new", "machine", "my-rotary", *said(MACHINE))
    day.types("profile", "new", "job", "my-job.toml", "--machine", "my-rotary", *said(JOB))
    with true_board("my-rotary", readings=readings) as axis:
        person = MeasuringPerson("my-job", readings, axis)
        told = axis.told

        def tell() -> None:
            with redirect_stdout(io.StringIO()):
                told()
            person.look()

        axis.told = tell
        day.types("station", "new", "bench", "--machine", "my-rotary", "--port", PORT)
        day.types("controller", "settings", "write", "my-job")
        day.types("commission", "run", "my-job", *DONE, "--write-settings", person=person)
        day.types("profile", "show", "machine", "my-rotary", "--history")
        day.types("commission", "report", "my-rotary")
        report = json.loads(call("commission", "report", "my-rotary", "--json").out)
    machine, found = load_machine("my-rotary"), {each["quantity"]: each for each in report["findings"]}
    assert (machine.gearing[0].driven_teeth, machine.axis.turns) == (61, "counter-clockwise")
    assert {each["key"] for each in report["written"]} == {
        "axis.turns", "gearing.0.driven_teeth", "gearing.0.lost_motion"
    }  # fmt: skip
    for quantity, true in (("ratio", 200 * 16 * 61 / 20), ("lost-motion", 0.5), ("run-out", 0.12)):
        assert abs(found[quantity]["value"] - true) <= found[quantity]["within"], quantity
        assert found[quantity]["deviation"] > 0
        assert found[quantity]["formula"]
    assert len(report["readings"]) == READINGS
    page = day.page()
    shown = page.partition("```console")[2].splitlines()
    assert [line for line in shown if len(line) > 80 and "circumstep " not in line and "HOME" not in line] == []
    assert page == kept(PAGE, page)


def said(answers: tuple[str, ...]) -> list[str]:
    return [word for answer in answers for word in ("--answer", answer)]


MACHINE = (
    "drive.kind=chuck", "motor=nema23-short", "gearing=20:60 belt", "drive.inertia=4200 g*cm^2", "drive.mass=2.5 kg",
    "driver.microsteps=16", "driver.current=2.4 A", "driver.supply_voltage=36 V", "driver.highest_step_rate=100 kHz",
    "link.dialect=status-query", "link.highest_step_rate=20 kHz",
    "driver.standstill_current=1",  "support.largest_overhang_moment=6 N*m",
)  # fmt: skip
JOB = (
    "part.kind=solid", "part.diameter=50 mm", "part.length=120 mm", "part.mass=1.85 kg", "part.overhang=60 mm",
    "mark.arc=60 mm", "mark.width=20 mm", "window.half_depth=0.5 mm", "gate.kind=timed", "gate.duration=2 s",
)  # fmt: skip
