"""What a report is made of: its first page, and the chapters behind it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from importlib import metadata
from pathlib import Path

from firmware_host.reporting.document import Document, Notes
from firmware_host.reporting.pictures.drawn import Drawn
from firmware_host.system.files import read_regular

CAUTIONS = (
    "All figures are estimates from the data given. Prove them on the machine, first without the laser.",
    "Software is no safety function: emergency stop, guards and interlocks are hardware (ISO 12100, ISO 13849-1, "
    "ISO 13850). Laser: IEC 60825-1, ISO 11553-1.",
    "Support heavy and overhung parts, and secure the grip, before the driver is switched on. Rollers and chucks pinch "
    "and entangle. An axis may let go when power is lost.",
    "Never plug or unplug a motor while its driver is powered. Follow local codes; licensed work is for the licensed.",
)
_LARGEST = 1 << 28


@dataclass(frozen=True)
class Source:
    """A file that the report rests on, and the SHA-256 of what was in it."""

    name: str
    sha256: str


@dataclass(frozen=True)
class Chapter:
    """A heading with what stands under it: the document's nodes, or what a person reads `first` of it; pictures."""

    title: str
    document: Document | None = None
    pictures: tuple[Drawn, ...] = ()
    first: bool = False


@dataclass(frozen=True)
class Report:
    """`asked`: what it is about, a line each; `answer`: the lines that are read first. `made`: when.

    `verdict`: in a word or two, of `verdict_of`. `binds`: what sets the bound; `reliability`: of all of it; sentences.
    """

    title: str
    asked: tuple[str, ...]
    answer: tuple[str, ...]
    verdict_of: str
    verdict: str
    binds: tuple[str, ...]
    reliability: tuple[str, ...]
    chapters: tuple[Chapter, ...]
    sources: tuple[Source, ...]
    made: datetime
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def version(self) -> str:
        """The version of this program, as it is installed."""
        try:
            return metadata.version("circumstep")
        except metadata.PackageNotFoundError:
            return "of a source tree, not installed"


def sources_of(files: Iterable[str | Path]) -> tuple[Source, ...]:
    """The files with their digests; one that is not there is left out."""
    return tuple(_sources(files))


def _sources(files: Iterable[str | Path]) -> Iterator[Source]:
    for file in files:
        path = Path(file)
        if str(file) and path.is_file():
            digest = hashlib.sha256(read_regular(path, _LARGEST)).hexdigest()
            yield Source(path.name, digest)


def first_lines(document: Document) -> tuple[str, ...]:
    """The sentences that a document begins with."""
    notes = (node.lines for node in (*document.first, *document.nodes) if isinstance(node, Notes) and node.lines)
    return next(notes, ())
