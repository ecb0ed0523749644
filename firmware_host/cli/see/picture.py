"""`picture`: a job or a run as a drawing, written to a file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli.input.arguments import JsonOption
from firmware_host.cli.input.planned import planned, read
from firmware_host.cli.screen import documents
from firmware_host.errors import InputError
from firmware_host.reporting.pictures.drawn import save_picture
from firmware_host.reporting.pictures.picture import Picture, Subject, SubjectT, one_named
from firmware_host.reporting.pictures.registry import PICTURES
from firmware_host.reporting.pictures.told import drawn_document, pictures_document


def picture(
    of: Annotated[
        str,
        typer.Argument(
            metavar="JOB|RUN", help="A job file (.toml), the name of a job profile, or the folder of a run."
        ),
    ],
    what: Annotated[str, typer.Argument(metavar="[WHAT]", help="Which picture; left out, those that there are.")] = "",
    output_file: Annotated[
        Path | None, typer.Option("--output", metavar="FILE", help="Where it is written: .svg, .png or .pdf.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """Draw a picture of a job or of a run into a file; without one, list what can be drawn."""
    if Path(of).is_dir():
        _of_run(Path(of), what, output_file, json=json)
        return
    wanted = _wanted(what, output_file, PICTURES)
    setup = read(of)
    _show(wanted, PICTURES, Subject.of(setup, planned(setup)), json=json, remarks=setup.remarks)


def _of_run(path: Path, what: str, output_file: Path | None, *, json: bool) -> None:
    from firmware_host.reporting.pictures.of_run.registry import RUN_PICTURES  # only where a run is drawn
    from firmware_host.reporting.pictures.of_run.subject import run_subject
    from firmware_host.station.runs.folder import RunFolder, is_batch

    if is_batch(path):
        part = next((each for each in sorted(path.iterdir()) if each.is_dir()), path / "part-00001")
        raise InputError("is the folder of a batch", f"Name that of one of its parts, such as {part}", str(path))
    wanted = _wanted(what, output_file, RUN_PICTURES)
    _show(wanted, RUN_PICTURES, run_subject(RunFolder.existing(path)), json=json)


def _wanted(
    what: str, output_file: Path | None, pictures: Sequence[Picture[SubjectT]]
) -> tuple[Picture[SubjectT], Path] | None:
    """The picture that was asked for, and where it goes; None where those that there are were asked for."""
    if what and output_file is not None:
        return one_named(what, pictures), output_file
    if what:
        fix = f"Add --output {one_named(what, pictures).key}.svg"
        raise InputError("nobody said where the picture goes", fix, key="--output")
    if output_file is not None:
        fix = f"Name one: {', '.join(each.key for each in pictures)}"
        raise InputError("nobody said which picture", fix, key="WHAT")
    return None


def _show(
    wanted: tuple[Picture[SubjectT], Path] | None,
    pictures: Sequence[Picture[SubjectT]],
    of: SubjectT,
    *,
    json: bool,
    remarks: tuple[str, ...] = (),
) -> None:
    """Draw it, or list what can be drawn."""
    if wanted is None:
        document = pictures_document(pictures, of)
    else:
        asked_for, path = wanted
        document = drawn_document(save_picture(asked_for, of, path), path)
    documents.show(document, json=json, remarks=remarks)


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(picture)
