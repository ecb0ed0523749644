"""`seam`: from a gap or an overlap that was measured back to the number that is wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Annotated

import typer

from firmware_host.cli.input.arguments import JobArgument, JsonOption, UnitsOption
from firmware_host.cli.input.planned import laid_out, read
from firmware_host.cli.input.quantities import si_value, signed_value
from firmware_host.cli.measure.seam_places import closing_reading, seam_readings, vernier_readings
from firmware_host.cli.screen import documents, output
from firmware_host.commissioning.seam.diagnosis import diagnose
from firmware_host.commissioning.seam.marked import MarkedPart, marked_part
from firmware_host.commissioning.seam.readings import (
    MarkedWidth,
    PartDiameter,
    PartLine,
    Reading,
    Reversal,
    RollerDiameter,
    ShaftLine,
    StepReading,
)
from firmware_host.commissioning.seam.symptoms import SAID, Symptom
from firmware_host.errors import InputError
from firmware_host.reporting.measures import Units
from firmware_host.reporting.measuring.seam import seam_document

_LENGTH_TO, _ANGLE_TO = "0.05 mm", "1 deg"
_HOW = {
    "closing-seam": "--gap closing=LENGTH, or --overlap, or --closing",
    "seams": "--gap 1=LENGTH --gap 2=LENGTH ...",
    "part-diameter": "--diameter",
    "roller-diameter": "--roller-diameter",
    "marked-width": "--marked-width",
    "ends": "--gap 1@left=LENGTH --gap 1@right=LENGTH",
    "lines": "--turns, --part-line, --shaft-line",
    "reversal": "--reversal",
    "step": "--step",
    "ladder": "the procedure focus of commission",
}
_SYMPTOMS = "; ".join(f"{symptom.value}: {said}" for symptom, said in SAID.items())


def seam(
    job: JobArgument,
    gap: Annotated[
        list[str] | None,
        typer.Option(
            metavar="[SEAM=]LENGTH",
            help="Bare surface at a seam: 0.1 mm (each), 3=0.1 mm, closing=0.2 mm, "
            "1@left=0.1 mm (one end of the mark).",
        ),
    ] = None,
    overlap: Annotated[
        list[str] | None, typer.Option(metavar="[SEAM=]LENGTH", help="Marks over one another; written as --gap.")
    ] = None,
    vernier: Annotated[
        list[str] | None,
        typer.Option(metavar="SEAM=NUMBER", help="Which lines of the test marks meet at a seam, - for an overlap."),
    ] = None,
    closing: Annotated[
        str,
        typer.Option(
            metavar="NUMBER/NUMBER", help="Which lines of the closing marks meet: the last segment's, the first's."
        ),
    ] = "",
    spacing: Annotated[str, typer.Option(metavar="LENGTH", help="Of the lines of the test marks.")] = "0.5 mm",
    look: Annotated[list[Symptom] | None, typer.Option(help=f"What the mark looks like. {_SYMPTOMS}.")] = None,
    diameter: Annotated[str, typer.Option(metavar="LENGTH", help="The part as measured where it is marked.")] = "",
    roller_diameter: Annotated[str, typer.Option(metavar="LENGTH", help="The driven roller as measured.")] = "",
    marked_width: Annotated[
        str, typer.Option(metavar="LENGTH", help="How wide one segment came out, around the part.")
    ] = "",
    turns: Annotated[float, typer.Option(min=1.0, max=1e6, help="Turns that the scribed lines went.")] = 20.0,
    part_line: Annotated[
        str, typer.Option(metavar="LENGTH", help="A line on the part stands off by it; - if it stopped short.")
    ] = "",
    shaft_line: Annotated[
        str, typer.Option(metavar="ANGLE", help="A line on chuck or driven roller, the same way.")
    ] = "",
    reversal: Annotated[str, typer.Option(metavar="LENGTH", help="What the part lags when turned on and back.")] = "",
    step: Annotated[str, typer.Option(metavar="LENGTH", help="A line around the part steps sideways by it.")] = "",
    read_to: Annotated[
        str, typer.Option(metavar="LENGTH", help="How closely gaps and lengths were read.")
    ] = _LENGTH_TO,
    json: JsonOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Say what was measured; which number is wrong follows, with how likely that is, and what to measure next."""
    within = si_value(read_to, "length", "--read-to") or 0.0
    apart = si_value(spacing, "length", "--spacing") or 0.0
    setup = read(job)
    part = marked_part(setup, laid_out(setup))
    readings: list[Reading] = [
        *seam_readings(part, gap or (), within, 1, "--gap"),
        *seam_readings(part, overlap or (), within, -1, "--overlap"),
        *vernier_readings(part, vernier or (), apart),
        *closing_reading(part, closing, apart),
    ]
    sizes = {"--diameter": diameter, "--roller-diameter": roller_diameter, "--marked-width": marked_width}
    readings += _sizes(part, sizes, within)
    lines = {"--part-line": part_line, "--shaft-line": shaft_line, "--reversal": reversal, "--step": step}
    readings += _lines(lines, turns, within)
    if not readings and not look:
        remedy = 'Say a gap or an overlap (--gap "0.1 mm"), or what the mark looks like (--look)'
        raise InputError("nothing was read from the mark", remedy)
    found = diagnose(setup, part, readings, look or ())
    documents.show(seam_document(found, _HOW, units, job=job), json=json, remarks=setup.remarks, units=units)
    if read_to == _LENGTH_TO and readings:
        output.remark(f"Read to {_LENGTH_TO}, as assumed: say how closely you could read it (--read-to).")


def _sizes(part: MarkedPart, given: dict[str, str], within: float) -> Iterator[Reading]:
    kinds: dict[str, Callable[[float, float], Reading]] = {
        "--diameter": PartDiameter,
        "--roller-diameter": RollerDiameter,
        "--marked-width": MarkedWidth,
    }
    if given["--roller-diameter"] and not part.rolls:
        raise InputError("the machine has no rollers", "Leave it out", key="--roller-diameter")
    for option, text in given.items():
        value = si_value(text, "length", option)
        if value is not None:
            yield kinds[option](within, value)


def _lines(given: dict[str, str], turns: float, within: float) -> Iterator[Reading]:
    length = {
        option: signed_value(text, "length", option) for option, text in given.items() if option != "--shaft-line"
    }
    angle = signed_value(given["--shaft-line"], "angle", "--shaft-line")
    if (off := length["--part-line"]) is not None:
        yield PartLine(within, off, turns)
    if angle is not None:
        yield ShaftLine(si_value(_ANGLE_TO, "angle", "--shaft-line") or 0.0, angle, turns)
    if (lag := length["--reversal"]) is not None:
        yield Reversal(within, lag)
    if (sideways := length["--step"]) is not None:
        yield StepReading(within, sideways)


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(seam)
