"""Every value that a procedure may write, in files of every style: its own line changes, and nothing else does."""

from __future__ import annotations

import ast
import math
import re
import tomllib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import pytest

import firmware_host.commissioning.procedures
from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.write_back import measured_values, write_back
from firmware_host.errors import InputError

PROCEDURES = Path(firmware_host.commissioning.procedures.__file__).parent
FileKind = Literal["machine", "job"]
FIRST, AGAIN = datetime(2026, 5, 4, 10, 30, tzinfo=UTC), datetime(2026, 9, 1, tzinfo=UTC)
MARK_BEFORE = b"\xef\xbb\xbf"

MACHINE = '''
# The rotary of the small laser.
version = 1
name = "rotary = # 1"   # not "two"

[motor]
name = "mine"
full_steps_per_revolution = 200  # by its label
rated_current = "2.8 A"
holding_torque = "1.1 N*m"

[driver]
microsteps = 16
current = "2.4 A"
supply_voltage = "36 V"
highest_step_rate = "100 kHz"

[[gearing]]
kind = "toothed-belt"
  driving_teeth  =  20   # counted
driven_teeth = 60
lost_motion = "0.02 deg"

# The second stage is inside the head.
[[gearing]]
kind = "spur-gears"
driving_teeth = 18
driven_teeth = 36

# --- what turns the part
[drive]
DRIVE

[support]
tailstock = false

[axis]
letter = "A"

# The board stands in the cabinet.
[link]
highest_step_rate = "20 kHz"'''
CHUCK = 'kind = "chuck"\ninertia = "4200 g*cm^2"'
ROLLERS = 'kind = "rollers"\nroller_diameter = "25.4 mm"\ncentre_distance = "42 mm"\nslip = 0.001 # from the maker'
JOB = """
version = 1
name = "shaft"
machine = "belt-chuck"
part = { kind = "solid", diameter = "50 mm", length = "120 mm", density = "7860 kg/m^3" } # steel
mark = { arc = "60 mm" }

[window]
half_depth = "0.5 mm"

[gate]
kind = "operator"
"""

CHANGES: dict[str, tuple[FileKind, str | int | float | bool]] = {
    "axis.turns": ("machine", "clockwise"),
    "driver.microsteps": ("machine", 32),
    "axis.unpowered": ("machine", "holds"),
    "drive.slip": ("machine", 0.002),
    "drive.friction": ("machine", 0.187),
    "tolerances.friction": ("machine", 0.03),
    "drive.inertia": ("machine", "3950 g*cm^2"),
    "drive.roller_inertia": ("machine", "118 g*cm^2"),
    "drive.friction_torque": ("machine", "0.06 N*m"),
    "gearing.0.efficiency": ("machine", 0.93),
    "gearing.0.driven_teeth": ("machine", 61),
    "gearing.0.driving_teeth": ("machine", 21),
    "gearing.1.driven_teeth": ("machine", 37),
    "gearing.1.lost_motion": ("machine", "0.031 deg"),
    "motor.full_steps_per_revolution": ("machine", 400),
    "swing.frequency": ("machine", "31.2 Hz"),
    "swing.damping_ratio": ("machine", 0.04),
    "warming.time_constant": ("machine", "20 min"),
    "warming.thermal_resistance": ("machine", "4.1 K/W"),
    "window.half_depth": ("job", "0.62 mm"),
    "part.mass": ("job", "1.9 kg"),
    "gate.timeout": ("job", "15 s"),
}
"""Keys that procedures change, with a value that the file may hold."""
OF_ROLLERS = ("drive.slip", "drive.friction", "drive.roller_inertia")
WITH_OTHERS = frozenset(
    {"swing.frequency_uncertainty", "swing.load_inertia", "swing.current", "swing.damping_uncertainty"}
    | {"ramp.acceleration", "ramp.speed", "ramp.load_inertia"}  # tried together: procedures/motion/test_ramp.py
)
"""Keys that are written together with one of those alone, or with one another."""


def rollers(text: str) -> str:
    return text.replace("DRIVE", ROLLERS)


def inline(text: str) -> str:
    """Each table in one line, and each list of tables a line for each."""
    tables = tomllib.loads(text)
    lines = ["# In one line each."]
    for key, value in tables.items():
        if isinstance(value, list):
            items = ",\n".join(f"  {line(each)}" for each in value)
            lines.append(f"{key} = [ # stages\n{items}, # the last\n]")
        else:
            lines.append(f"{key} = {line(value)} # {key}'s own")
    return "\n".join(lines) + "\n"


def line(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {line(each)}" for key, each in value.items()) + " }"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)


def dotted(text: str) -> str:
    """Tables of one level as dotted keys before all tables."""
    tables = tomllib.loads(text)
    plain = [f"{key} = {line(value)}" for key, value in tables.items() if not isinstance(value, dict | list)]
    keys = [
        f"{table}.{key} = {line(value)} # said"
        for table, below in tables.items()
        if isinstance(below, dict)
        for key, value in below.items()
    ]
    stages = [
        "\n".join(["[[gearing]]", *(f"{key} = {line(value)}" for key, value in stage.items())])
        for stage in tables.get("gearing", [])
    ]
    return "\n".join(["", *plain, *keys, "", *stages, ""])


STYLES: dict[str, Callable[[str], bytes]] = {
    "as written": lambda text: text.encode(),
    "line ends of Windows": lambda text: text.replace("\n", "\r\n").encode(),
    "a mark before it": lambda text: MARK_BEFORE + text.encode(),
    "indented": lambda text: re.sub(r"(?m)^(?=\w)", "\t", text).encode(),
    "no spaces": lambda text: re.sub(r"(?m)^(\s*\w+) *= *", r"\1=", text).encode(),
    "in one line each": lambda text: inline(text).encode(),
    "in one line each, on Windows": lambda text: MARK_BEFORE + inline(text).replace("\n", "\r\n").encode(),
    "dotted": lambda text: dotted(text).encode(),
}


def found(key: str, value: str | int | float | bool, of: FileKind) -> Finding:
    return Finding(
        key="q", name="n", measured=Measured(1.0, 0.1, math.inf), unit="", formula="", verdict="change", sentence="",
        change=Change(key, value, of),
    )  # fmt: skip


def changed_in(before: bytes, after: bytes) -> tuple[list[bytes], list[bytes]]:
    """The lines that are in one alone, once what both begin and end with is taken off."""
    whole = before if before.endswith(b"\n") else before + (b"\r\n" if b"\r\n" in before else b"\n")
    if not after.endswith(b"\n"):
        whole = before
    old, new = whole.splitlines(keepends=True), after.splitlines(keepends=True)
    while old and new and old[0] == new[0]:
        old, new = old[1:], new[1:]
    while old and new and old[-1] == new[-1]:
        old, new = old[:-1], new[:-1]
    return old, new


@pytest.mark.some(40)
@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("key", CHANGES)
def test_only_the_line_of_the_value_changes_and_the_history_tells_it(key: str, style: str, tmp_path: Path) -> None:
    of, value = CHANGES[key]
    text = JOB if of == "job" else rollers(MACHINE) if key in OF_ROLLERS else MACHINE.replace("DRIVE", CHUCK)
    path = tmp_path / "mine.toml"
    path.write_bytes(STYLES[style](text))
    before = path.read_bytes()
    done = write_back(path, found(key, value, of), FIRST)
    after = path.read_bytes()
    old, new = changed_in(before, after)
    name = key.rpartition(".")[2].encode()
    assert len(old) <= 1, old
    assert [line for line in new if name not in line and not line.strip().startswith(b"[") and line.strip()] == []
    assert len(new) <= 1 + (not old) * 2, new
    assert done.backup.read_bytes() == before
    assert after.count(b"\r\n") == (after.count(b"\n") if b"\r\n" in before else 0)
    assert after.startswith(MARK_BEFORE) == before.startswith(MARK_BEFORE)
    (told,) = measured_values(path)
    assert (told.key, told.value) == (key, str(value))
    assert told.remark.startswith("measured 2026-05-04: 1.00 ± 0.20 (95 %)")
    assert (f"before {done.before}" in told.remark) == bool(done.before)
    write_back(path, found(key, value, of), AGAIN)
    (again,) = measured_values(path)
    assert again.remark.startswith("measured 2026-09-01: 1.00 ± 0.20 (95 %); before ")
    assert "(measured 2026-05-04: 1.00 ± 0.20 (95 %)" in again.remark
    assert changed_in(before, path.read_bytes())[0] == old


def test_two_values_of_one_line_are_told_apart(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(STYLES["in one line each"](MACHINE.replace("DRIVE", CHUCK)))
    write_back(path, found("gearing.0.lost_motion", "0.031 deg", "machine"), FIRST)
    write_back(path, found("gearing.0.driven_teeth", 61, "machine"), FIRST)
    write_back(path, found("gearing.1.lost_motion", "0.04 deg", "machine"), AGAIN)
    assert {each.key: each.remark[9:19] for each in measured_values(path)} == {
        "gearing.0.lost_motion": "2026-05-04",
        "gearing.0.driven_teeth": "2026-05-04",
        "gearing.1.lost_motion": "2026-09-01",
    }


def test_a_remark_about_the_next_table_stays_before_it(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(MACHINE.replace("DRIVE", CHUCK), encoding="utf-8")
    write_back(path, found("axis.turns", "clockwise", "machine"), FIRST)
    text = path.read_text(encoding="utf-8")
    assert "\n# The board stands in the cabinet.\n[link]\n" in text
    assert 'letter = "A"\nturns = "clockwise" # measured 2026-05-04' in text


def test_a_value_in_a_text_of_several_lines_is_left_to_its_writer(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    text = MACHINE.replace("DRIVE", CHUCK).replace('lost_motion = "0.02 deg"', 'lost_motion = """\n0.02 deg"""')
    path.write_text(text, encoding="utf-8")
    try:
        write_back(path, found("gearing.0.lost_motion", "0.031 deg", "machine"), FIRST)
    except InputError:
        assert path.read_text(encoding="utf-8") == text
    else:
        assert tomllib.loads(path.read_text("utf-8"))["gearing"][0]["lost_motion"] == "0.031 deg"


def test_every_key_that_a_procedure_changes_is_tried() -> None:
    tried = [re.sub(r"\.\d+\.", ".N.", key) for key in (*CHANGES, *WITH_OTHERS)]
    untried = [key for path in sorted(PROCEDURES.rglob("*.py")) for key in keys_of(path) if key not in tried]
    assert untried == [], "a row of CHANGES is missing"


def keys_of(path: Path) -> list[str]:
    """The keys of the changes in a file, a number in a key as N.

    What is no text there is named in the file (a drive's key by the drive), or stands in `sensible.py`.
    """
    keys: list[str] = []
    tree = ast.parse(path.read_text(encoding="utf-8"))
    named = [each.value for each in ast.walk(tree) if isinstance(each, ast.Constant) and isinstance(each.value, str)]
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Change":
            match node.args[0]:
                case ast.Constant(value=str(key)):
                    keys.append(key)
                case ast.JoinedStr(values=parts):
                    keys.append("".join(str(part.value) if isinstance(part, ast.Constant) else "N" for part in parts))
                case ast.Name():
                    keys += [each for each in named if re.fullmatch(r"drive\.\w+", each)]
                case _:
                    assert path.name == "ratio.py", path
    return keys
