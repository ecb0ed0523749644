"""Slips of the pen in files that are right otherwise, what each gets, and the page that tells so.

`python -m tests.model.plausible.slips` writes the table of `docs/pages/slips.md` anew.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from firmware_host.errors import InputError
from firmware_host.folders import shipped_folder
from firmware_host.model import load_job

PAGE = Path(__file__).resolve().parents[3] / "docs/pages/slips.md"
_BEGIN, _END = "<!-- slips -->\n", "<!-- end of slips -->\n"
ERROR, WARNING, ACCEPTED = "error", "warning", "accepted"


@dataclass(frozen=True)
class Slip:
    """One line of a shipped file (`files`: its job) written wrong: in which file, what stood there, what stands now."""

    slip: str
    file: str
    old: str
    new: str
    gets: str
    files: str = "shaft-scale"


def _of(file: str, *rows: tuple[str, str, str, str, str], files: str = "shaft-scale") -> tuple[Slip, ...]:
    """(slip, key, what stood there, what is written, what it gets) of one file."""
    return tuple(Slip(s, file, f"{key} = {old}", f"{key} = {new}", gets, files) for s, key, old, new, gets in rows)


SLIPS = (
    *_of(
        "job",
        ("metres for millimetres", "diameter", '"50 mm"', '"50 m"', ERROR),
        ("the number of metres, in millimetres", "diameter", '"50 mm"', '"0.05 mm"', ERROR),
        ("centimetres for millimetres", "diameter", '"50 mm"', '"50 cm"', ERROR),
        ("inches for millimetres", "diameter", '"50 mm"', '"50 in"', ERROR),
        ("the number of inches, in millimetres", "diameter", '"50 mm"', '"1.9685 mm"', ERROR),
        ("the number of centimetres, in millimetres", "diameter", '"50 mm"', '"5 mm"', ERROR),
        ("the radius for the diameter", "diameter", '"50 mm"', '"25 mm"', WARNING),
        ("the diameter of a part half as thick", "diameter", '"50 mm"', '"100 mm"', WARNING),
        ("a digit too many", "diameter", '"50 mm"', '"500 mm"', ERROR),
        ("two digits swapped", "diameter", '"50 mm"', '"52 mm"', ACCEPTED),
        ("no unit", "diameter", '"50 mm"', '"50"', ERROR),
        ("a bare number", "diameter", '"50 mm"', "50", ERROR),
        ("a comma for a point", "diameter", '"50 mm"', '"50,5 mm"', ERROR),
        ("megametres for millimetres", "diameter", '"50 mm"', '"50 Mm"', ERROR),
        ("grams for kilograms", "mass", '"1.85 kg"', '"1850 kg"', ERROR),
        ("kilograms for grams", "mass", '"1.85 kg"', '"1.85 g"', ERROR),
        ("pounds written as kilograms", "mass", '"1.85 kg"', '"4.08 kg"', WARNING),
        ("g/cm^3 for kg/m^3, the other way", "density", '"7860 kg/m^3"', '"7.86 kg/m^3"', ERROR),
        ("kg/m^3 for g/cm^3", "density", '"7860 kg/m^3"', '"7860 g/cm^3"', ERROR),
        ("light metal for steel", "density", '"7860 kg/m^3"', '"2700 kg/m^3"', WARNING),
        ("metres for millimetres", "length", '"120 mm"', '"120 m"', ERROR),
        ("metres for millimetres", "mass_offset", '"0.1 mm"', '"0.1 m"', ERROR),
        ("centimetres for millimetres", "mass_offset", '"0.1 mm"', '"2 cm"', WARNING),
        ("centimetres for millimetres", "overhang", '"60 mm"', '"60 cm"', WARNING),
        ("a mark wider than the part is long", "width", '"20 mm"', '"20 cm"', WARNING),
        ("metres for millimetres", "half_depth", '"0.5 mm"', '"0.5 m"', ERROR),
        ("micrometres for millimetres", "half_depth", '"0.5 mm"', '"0.5 um"', WARNING),
        ("radians for degrees", "incidence_limit", '"45 deg"', '"0.785 deg"', ERROR),
        ("metres for millimetres", "lens_field", '"110 mm"', '"110 m"', ERROR),
        ("millimetres for hundredths", "spot_diameter", '"0.05 mm"', '"5 mm"', WARNING),
        ("millimetres for hundredths", "diameter_uncertainty", '"0.02 mm"', '"20 mm"', WARNING),
    ),
    *_of(
        "machine",
        ("kg*m^2 for g*cm^2", "inertia", '"4200 g*cm^2"', '"4200 kg*m^2"', ERROR),
        ("kg*cm^2 for g*cm^2", "inertia", '"4200 g*cm^2"', '"4200 kg*cm^2"', WARNING),
        ("a mass for an inertia", "inertia", '"4200 g*cm^2"', '"4200 g"', ERROR),
        ("hertz for kilohertz", "highest_step_rate", '"20 kHz"', '"20 Hz"', ERROR),
        ("milliseconds for microseconds", "smallest_pulse", '"2.5 us"', '"2.5 ms"', WARNING),
        ("milliamperes for amperes", "current", '"2.4 A"', '"2.4 mA"', ERROR),
        ("more than the motor's current", "current", '"2.4 A"', '"24 A"', ERROR),
        ("percent for a part of one", "efficiency", "0.95", "95", ERROR),
        ("radians for degrees", "lost_motion", '"0.02 deg"', '"0.02 rad"', ACCEPTED),
        ("centimetres for millimetres", "pitch", '"5 mm"', '"5 cm"', WARNING),
        ("a digit left out", "baud", "115200", "11520", WARNING),
    ),
    *_of(
        "motor",
        ("microsteps counted in", "full_steps_per_revolution", "200", "3200", ERROR),
        ("newton centimetres for newton metres", "holding_torque", '"1.10 N*m"', '"110 N*m"', WARNING),
        ("newton metres for newton centimetres", "holding_torque", '"1.10 N*m"', '"1.10 N*cm"', ERROR),
        ("a torque as an energy", "holding_torque", '"1.10 N*m"', '"1.10 J"', ERROR),
        ("ounce-inches of mass", "holding_torque", '"1.10 N*m"', '"156 oz*in"', ERROR),
        ("kg*m^2 for g*cm^2", "rotor_inertia", '"270 g*cm^2"', '"270 kg*m^2"', ERROR),
        ("kg*cm^2 for g*cm^2", "rotor_inertia", '"270 g*cm^2"', '"270 kg*cm^2"', WARNING),
        ("henries for millihenries", "inductance", '"2.6 mH"', '"2.6 H"', ERROR),
        ("newton metres for newton centimetres", "detent_torque", '"0.040 N*m"', '"0.40 N*m"', WARNING),
        ("turns per second for turns per minute", "speed", '"1000 rpm", torque', '"1000 turn/s", torque', WARNING),
        ("the current of both phases together", "rated_current", '"2.8 A"', '"5.6 A"', ACCEPTED),
    ),
    *_of(
        "machine",
        ("metres for millimetres", "roller_diameter", '"25.4 mm"', '"25.4 m"', ERROR),
        ("the radius for the diameter", "roller_diameter", '"25.4 mm"', '"12.7 mm"', ACCEPTED),
        ("from the middle and not from row to row", "centre_distance", '"42 mm"', '"16 mm"', WARNING),
        ("kg*cm^2 for g*cm^2", "roller_inertia", '"120 g*cm^2"', '"120 kg*cm^2"', WARNING),
        files="bottle-band",
    ),
)  # fmt: skip


def written(slip: Slip, folder: Path) -> Path:
    """The shipped job of the slip with its machine and motor, written into the folder with the slip; the job's path."""
    texts = {"job": (shipped_folder() / f"jobs/{slip.files}.toml").read_text(encoding="utf-8")}
    for kind, of in (("machine", "job"), ("motor", "machine")):
        name = texts[of].partition(f'\n{kind} = "')[2].partition('"')[0]
        texts[of] = texts[of].replace(f'{kind} = "{name}"', f'{kind} = "{kind}.toml"')
        texts[kind] = (shipped_folder() / f"{kind}s/{name}.toml").read_text(encoding="utf-8")
    at = _place(texts[slip.file], slip.old)
    texts[slip.file] = texts[slip.file][:at] + slip.new + texts[slip.file][at + len(slip.old) :]
    for kind, text in texts.items():
        (folder / f"{kind}.toml").write_text(text, encoding="utf-8")
    return folder / "job.toml"


def _place(text: str, old: str) -> int:
    """Where a line of the file begins, or within braces a key."""
    found = [place for before in ("\n", "{ ") if (place := text.find(before + old)) >= 0]
    if not found:
        raise ValueError(f"{old} is not in the file")
    return found[0] + (1 if text[found[0]] == "\n" else 2)


def what_it_gets(slip: Slip) -> tuple[str, str]:
    """(error, warning or accepted; what is told, without the file) by the real loader."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            setup = load_job(str(written(slip, Path(folder))))
        except InputError as error:
            return ERROR, f"`{error.key}`: {error.problem}. {error.remedy}".partition(" (1 more")[0].rstrip(". ")
    if not setup.remarks:
        return ACCEPTED, ""
    told = setup.remarks[0].partition(".toml: ")[2]
    key, _, text = told.partition(": ")
    return WARNING, f"`{key}`: {text}".rstrip(". ")


def table() -> str:
    """The table of the page."""
    lines = [
        "| the slip | what should stand | what is written | gets | what is told |",
        "| --- | --- | --- | --- | --- |",
    ]
    for slip in SLIPS:
        gets, told = what_it_gets(slip)
        lines.append(f"| {slip.slip} | `{slip.old}` | `{slip.new}` | {gets} | {_plain(told)} |")
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    return text.replace("|", "\\|").replace("*", "\\*").replace("<", "&lt;").replace("\n", " ")


def page_with(content: str) -> str:
    """The page with the table put in its place."""
    before, _, rest = PAGE.read_text(encoding="utf-8").partition(_BEGIN)
    return before + _BEGIN + "\n" + content + "\n" + _END + rest.partition(_END)[2]


if __name__ == "__main__":
    PAGE.write_text(page_with(table()), encoding="utf-8")
