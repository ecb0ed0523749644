"""Files that a bad disk, a bad editor or a bad joke leaves, made by a seed: jobs, machines, motors, settings, runs.

Each case is a folder with the file in question, the command that reads it, and what has to come of it.
"""

from __future__ import annotations

import json
import os
import random
import re
import shutil
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from firmware_host.folders import shipped_folder
from firmware_host.model import load_machine

Draw = random.Random
KEPT = Path(__file__).resolve().parents[1] / "station/kept"
KINDS = ("job", "machine", "motor", "settings", "run")
SETUPS = (("shaft-scale", "belt-chuck", "nema23-short"), ("bottle-band", "two-rollers", "nema17-long"),
          ("heavy-shaft", "worm-chuck", "nema34-short"), ("tumbler-wrap", "two-rollers", "nema17-long"))  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A command line over hostile files. `must_fail`: status 2; else 0 to 2 will do, and 3 if `may_call` a port."""

    name: str
    arguments: tuple[str, ...]
    file: Path
    must_fail: bool
    may_call: bool = False


def make(seed: int, folder: Path) -> Case:
    """The case of a seed, its files written into the folder."""
    draw = Draw(seed)
    kind = KINDS[seed % len(KINDS)]
    folder.mkdir()
    if kind == "run":
        return _run(draw, folder)
    if kind == "settings":
        return _settings(draw, folder)
    names = draw.choice(SETUPS)
    texts = {}
    for which, name in zip(("job", "machine", "motor"), names, strict=True):
        text = (shipped_folder() / f"{which}s/{name}.toml").read_text(encoding="utf-8")
        for of, other in zip(("machine", "motor"), names[1:], strict=True):
            text = text.replace(f'{of} = "{other}"', f'{of} = "{of}.toml"')
        texts[which] = text
        (folder / f"{which}.toml").write_text(text, encoding="utf-8")
    path = folder / f"{kind}.toml"
    what, must_fail = _spoil(draw, path, texts[kind])
    commands = [("segments", "job"), ("limits", "job"), ("moves", "job"), ("profile", "check", kind)]
    *command, last = draw.choice(commands)
    if command[0] != "profile":
        return Case(f"{kind}: {what}", (*command, str(folder / "job.toml")), path, must_fail)
    return Case(f"{kind}: {what}", (*command, last, str(path)), path, must_fail)


def _spoil(draw: Draw, path: Path, text: str) -> tuple[str, bool]:
    way = draw.choice((_bytes, _structure, _structure, _value, _value, _value, _sizes, _special))
    return way(draw, path, text)


# --- bytes


def _bytes(draw: Draw, path: Path, text: str) -> tuple[str, bool]:
    data = text.encode()
    at = draw.randrange(len(data))
    ways: tuple[tuple[str, bytes, bool], ...] = (
        ("cut off", data[:at], False),
        ("UTF-16", text.encode("utf-16"), True),
        ("UTF-16 without its mark", text.encode("utf-16-le"), True),
        ("UTF-32", text.encode("utf-32"), True),
        ("a mark of UTF-8 and Windows line ends", b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode(), False),
        ("two marks of UTF-8", b"\xef\xbb\xbf" * 2 + data, True),
        ("Latin-1", text.replace("a", "\xe9").encode("latin-1"), True),
        ("a zero byte", data[:at] + b"\0" + data[at:], False),
        ("zero bytes instead", bytes(len(data)), True),
        ("noise", draw.randbytes(len(data)), True),
        ("a byte changed", data[:at] + bytes([draw.randrange(256)]) + data[at + 1 :], False),
        ("a megabyte of zeros behind it", data + bytes(1 << 20), True),
        ("a megabyte of line ends", data + b"\n" * 990_000, False),
        ("nothing", b"", True),
        ("a control character in a text", data.replace(b'name = "', b'name = "\x1b[31m', 1), True),
        ("carriage returns alone", text.replace("\n", "\r").encode(), True),
        ("an escaped control character", data.replace(b'name = "', b'name = "\\u001b]0;x\\u0007\\u001b[2J', 1), False),
        ("overlong UTF-8", data[:at] + b"\xc0\xaf" + data[at:], True),
        ("half a surrogate", data.replace(b'name = "', b'name = "\\ud800', 1), True),
    )
    what, spoilt, must_fail = draw.choice(ways)
    path.write_bytes(spoilt)
    return what, must_fail


# --- structure


def _structure(draw: Draw, path: Path, text: str) -> tuple[str, bool]:
    big = draw.choice((40, 1_000, 20_000, 300_000))
    key = draw.choice(("x", "part", "mark", "motor", "driver", "drive"))
    behind = "\n" if draw.random() < 0.5 else "\n[zz]\n"
    first_table = text.partition("\n[")[2].partition("]")[0].strip("[")
    ways: tuple[tuple[str, str], ...] = (
        ("a dotted key", f"{behind}{'.'.join([key] * big)[:900_000]} = 1\n"),
        ("a dotted header", f"\n[{'.'.join([key] * big)[:900_000]}]\n"),
        ("many dotted keys", behind + "".join(f"a.b{n}.c.d{n}.e.f = {n}\n" for n in range(min(big, 30_000)))),
        ("arrays in arrays", f"{behind}a = {'[' * big}\n"),
        ("arrays in arrays, closed", f"{behind}a = {'[' * min(big, 400_000)}{']' * min(big, 400_000)}\n"),
        ("tables in tables", f"{behind}a = {('{a=' * big)[:900_000]}\n"),
        ("a long key", f"{behind}{'k' * big} = 1\n"),
        ("a long key in quotes", f'{behind}"{"k " * (big // 2)}" = 1\n'),
        ("a long text", f'{behind}a = "{"x" * big}"\n'),
        ("a long open text", f'{behind}a = """{"x" * big}'),
        ("quotes in a long text", f"{behind}a = '''{chr(39) * 2}{'x ' * (big // 2)}'''\n"),
        ("escapes", f'{behind}a = "{chr(92) * big}"\n'),
        ("many keys", behind + "".join(f"k{n}=1\n" for n in range(min(big, 100_000)))),
        ("many tables", "".join(f"\n[t{n}]" for n in range(min(big, 90_000))) + "\n"),
        ("many tables of a list", '\n[[gearing]]\nratio = "2"' * min(big, 30_000) + "\n"),
        ("many items", f"{behind}a = [{'1,' * min(big, 400_000)}]\n"),
        ("many digits", f"{behind}a = {'9' * big}\n"),
        ("many digits of a fraction", f"{behind}a = 0.{'9' * big}\n"),
        ("a long exponent", f"{behind}a = 1e{'9' * min(big, 900_000)}\n"),
        ("a table twice", f"\n[{first_table}]\na = 1\n"),
        ("a list for a table", f"\n[[{first_table}]]\n"),
        ("a long comment with no end", f"{behind}a # {'#[' * (big // 2)}"),
        ("unknown keys with controls", f'{behind}"\\u001b[2J\\u0007" = 1\n'),
        ("dates", f"{behind}a = 9999-99-99T99:99:99Z\n"),
    )
    what, more = draw.choice(ways)
    path.write_text((text + more)[:999_999], encoding="utf-8")
    return what, True


# --- values

_BOMBS = (
    "1 m^999999999", "1 " + "m*" * 36 + "m", "1 " + "(" * 38 + "m", "1 m/m/m/m*m*m", "1e99999 mm", "9" * 79,
    "1/0 mm", "0/1 mm", "1e-30 mm", "-5 mm", "nan mm", "inf mm", "1 " + "k" * 40 + "m", "1 mm; rm",
    "\uff11 mm", "\u0663 mm",
    "1 2 3", "1 \\u0000mm", "1 \\u001b[2Jmm", "50 mm*mm/mm", "1e99 Mm", "1/999999999999 mm", "1 __import__", "1 m**m",
    "1" + " " * 60 + "mm", "\\t", "", "x" * 300, "x" * 9000, "0x10 mm", "1_000 mm", "1,5 mm", "1 N*m/rad", "90 deg",
    "1000000 mm", "0.000001 mm", "1e6 kg*m^2", "1e12 deg", "1e-12 deg", "720 deg", "1 s", "1e9 s", "5 A", "1e9 Hz",
)  # fmt: skip
_LITERALS = (
    "nan", "inf", "-inf", "1e308", "-1e308", "0", "-1", "1000000", "999999999999999999", "1e-300", "true", "[]", "{}",
    "1979-05-27", "07:32:00", '"text"', "[[[[1]]]]", "[1, \"a\", {}]", "0.1", "4000000", "0b1", "9" * 100, "9" * 5000,
)  # fmt: skip


def _value(draw: Draw, path: Path, text: str) -> tuple[str, bool]:
    """One to three values by others."""
    lines = text.split("\n")
    places = [
        n for n, line in enumerate(lines) if " = " in line and not line.endswith("[") and not line.startswith("#")
    ]
    told = []
    for place in draw.sample(places, draw.choice((1, 1, 1, 2, 3))):
        key = lines[place].partition(" = ")[0]
        value = f'"{draw.choice(_BOMBS)}"' if draw.random() < 0.6 else draw.choice(_LITERALS)
        lines[place] = f"{key} = {value}"
        told.append(f"{key.strip()} = {value[:30]}")
    path.write_text("\n".join(lines), encoding="utf-8")
    return ", ".join(told), False


def _sizes(draw: Draw, path: Path, text: str) -> tuple[str, bool]:
    """Numbers of quantities made larger or smaller, and counts that are large: all of it well-formed."""
    lines = text.split("\n")
    places = [n for n, line in enumerate(lines) if ' = "' in line and any(sign.isdecimal() for sign in line)]
    told, reach = [], draw.choice((0.1, 0.5, 0.5, 4.0))
    for place in draw.sample(places, min(len(places), draw.randint(1, 6))):
        key, _, rest = lines[place].partition(' = "')
        number, space, unit = rest.partition(" ")
        if space and number.replace(".", "").isdecimal():
            lines[place] = f'{key} = "{float(number) * 10 ** draw.uniform(-reach, reach):.6g} {unit}'
            told.append(lines[place].strip())
    changed = "\n".join(lines)
    if draw.random() < 0.3:
        changed = re.sub(r"(mass|inertia|density|detent_torque) = .*\n", "", changed)
    for old, new in (
        ("[segments]", f"[segments]\ncount = {draw.choice((1, 999, 100_000, 1_000_000))}"),
        ("microsteps = 16", "microsteps = 256"),
        ("passes = 2", "passes = 1000"),
        ("driven_teeth = 60", "driven_teeth = 9999"),
    ):
        if draw.random() < 0.4:
            changed = changed.replace(old, new)
    path.write_text(changed, encoding="utf-8")
    return "; ".join(told) or "counts", False


# --- what is no file


def _special(draw: Draw, path: Path, text: str) -> tuple[str, bool]:
    del text
    path.unlink(missing_ok=True)
    ways: dict[str, Callable[[], object]] = {
        "a pipe": lambda: os.mkfifo(path),
        "a folder": path.mkdir,
        "a link to itself": lambda: path.symlink_to(path.name),
        "a link to a device": lambda: path.symlink_to("/dev/zero"),
        "a link to a terminal": lambda: path.symlink_to("/dev/tty"),
        "a link to nowhere": lambda: path.symlink_to("gone.toml"),
        "a socket": lambda: _socket(path),
        "nothing there": lambda: None,
        "a file of holes": lambda: _holes(path),
    }
    what = draw.choice(sorted(ways))
    ways[what]()
    return what, True


def _socket(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as made:
        here = Path.cwd()
        os.chdir(path.parent)  # its name may be too long for a socket's
        try:
            made.bind(path.name)
        finally:
            os.chdir(here)


def _holes(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(1 << 40)


# --- kept settings, and runs


def kept_settings() -> dict[str, object]:
    """What `settings write` keeps, of a port at which nobody answers."""
    machine = load_machine("belt-chuck").model_dump(mode="json", exclude_none=True)
    return {
        "kind": "controller-settings",
        "version": 1,
        "dialect": "status-query",
        "url": "socket://127.0.0.1:1",
        "saved_at": "2026-01-01T00:00:00+00:00",
        "settings": {"$100": "26.667", "$110": "40000.000", "$130": "360.000"},
        "in_full": {"$100": "26.6666666667"},
        "machine": {"described": machine, "source": "belt-chuck"},
    }


_JSON = ("null", "[]", "{}", '""', "0", "-1", "1e400", "NaN", "9" * 6000, '"x\\u0000y"', '"\\u001b[2J"', "[" * 40,
         "[" * 100_000, '{"a":' * 2_000, '"' + "x" * 100_000 + '"', "true", '["a"]', '{"$1": 5}', '{"a":1,"a":2}',
         "[" + "1," * 100_000 + "1]", '"/dev/tty"', '"..\\\\..\\\\x"')  # fmt: skip


def _settings(draw: Draw, folder: Path) -> Case:
    path = folder / "kept.json"
    text = json.dumps(kept_settings(), indent=2)
    what, must_fail = _spoil_json(draw, path, text)
    return Case(f"settings: {what}", ("controller", "settings", "restore", str(path)), path, must_fail, may_call=True)


def _spoil_json(draw: Draw, path: Path, text: str) -> tuple[str, bool]:
    way = draw.random()
    if way < 0.2:
        return _special(draw, path, text)
    if way < 0.4 or '": ' not in text:
        return _bytes(draw, path, text)
    lines = text.split("\n")
    places = [n for n, line in enumerate(lines) if '": ' in line]
    place, value = draw.choice(places), draw.choice(_JSON)
    key = lines[place].partition('": ')[0]
    end = "," if lines[place].endswith(",") else ""
    if lines[place].endswith("{"):
        value, end = f'{value}, "more": {{', ""
    lines[place] = f'{key}": {value}{end}'
    path.write_text("\n".join(lines), encoding="utf-8")
    return f"{key.strip()} {value[:30]}", False


def _run(draw: Draw, folder: Path) -> Case:
    runs = folder / "runs"
    run = Path(shutil.copytree(KEPT / draw.choice(("done", "stopped", "crashed")), runs / "one"))
    shutil.copytree(KEPT / "done", runs / "whole")
    path = run / draw.choice([each.name for each in sorted(run.iterdir())])
    text = path.read_text(encoding="latin-1")
    what, _ = _spoil_json(draw, path, text) if draw.random() < 0.5 else _bytes(draw, path, text)
    listing = draw.random() < 0.5
    arguments = ("runs", "list", "--runs", str(runs)) if listing else ("runs", "show", str(run))
    return Case(f"run: {path.name}: {what}", arguments, path, must_fail=False)
