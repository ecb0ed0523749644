"""The pictures of the site, drawn from the shipped jobs each time it is built: none is kept in the source.

A line `<!-- picture: end-on shaft-scale -->` of a page becomes that picture, with the words that are told of it;
`<!-- picture: preview shaft-scale run-out -->` is a preview with that wrong. What stands behind a `|` is written below
it. `<!-- drawing: landing -->` becomes a drawing of our own, which stands in the page itself. Each is drawn once.
"""

from __future__ import annotations

import re
from functools import cache
from html import escape
from typing import Any

import gates
from landing import landing
from mkdocs.structure.files import File, Files
from mkdocs.utils import get_relative_url

import firmware_host as fh
from firmware_host.planning.load.case import load_case
from firmware_host.planning.preview.wrong import wrong_named
from firmware_host.reporting.pictures.drawn import Drawn, drawn
from firmware_host.reporting.pictures.of_job.preview import Preview
from firmware_host.reporting.pictures.picture import Subject
from firmware_host.reporting.pictures.registry import picture_named

PICTURE = re.compile(r"^<!-- picture: ([\w-]+) ([\w-]+)(?: ([\w-]+))?(?: \| (.+?))? -->$", re.MULTILINE)
DRAWING = re.compile(r"^<!-- drawing: ([\w-]+)(?: \| (.+?))? -->$", re.MULTILINE)
DRAWINGS = {"landing": landing, **gates.DRAWINGS}
_RASTER = ("preview", "wrong-numbers")
"""Made of points anyway: smaller as PNG."""


@cache
def subject(job: str) -> Subject:
    """A shipped job, planned."""
    setup = fh.load_job(job)
    return Subject(setup, fh.plan_job(setup), load_case(setup.machine, setup.job))


@cache
def made(key: str, job: str, wrong: str) -> Drawn:
    """The picture of that name, of a shipped job; of a preview, with that wrong."""
    picture = Preview(wrong_named(wrong)) if wrong else picture_named(key)
    return drawn(picture, subject(job), ".png" if key in _RASTER else ".svg")


def asked_for(text: str) -> list[tuple[str, str, str]]:
    """Key, job and what is wrong of each picture that a page asks for."""
    return [(found[1], found[2], found[3] or "") for found in PICTURE.finditer(text)]


def place(key: str, job: str, wrong: str) -> str:
    """Where a picture lies in the site."""
    kind = "png" if key in _RASTER else "svg"
    return f"pictures/{'-'.join(filter(None, (key, job, wrong)))}.{kind}"


def on_files(files: Files, config: Any) -> Files:
    """Called by mkdocs before the pages are read: draw what they ask for."""
    asked = {each for page in files.documentation_pages() for each in asked_for(page.content_string)}
    for each in sorted(asked):
        files.append(File.generated(config, place(*each), content=made(*each).content))
    return files


def on_page_markdown(text: str, page: Any, **_: object) -> str:
    """Called by mkdocs for every page: put the pictures in."""

    def picture(found: re.Match[str]) -> str:
        (each,) = asked_for(found[0])
        words = escape(" ".join(made(*each).words.split()), quote=True)
        where = get_relative_url(place(*each), page.url)
        return _figure(f'<img class="picture" src="{where}" alt="{words}" loading="lazy">', found[4])

    def drawing(found: re.Match[str]) -> str:
        return _figure(DRAWINGS[found[1]](), found[2])

    return DRAWING.sub(drawing, PICTURE.sub(picture, text))


def _figure(inside: str, below: str | None) -> str:
    caption = f"<figcaption>{escape(below)}</figcaption>" if below else ""
    return f'<figure class="drawn">{inside}{caption}</figure>'


def on_post_page(output: str, **_: object) -> str:
    """Called by mkdocs for every page that is written: the theme's search has no name for who can't see it."""
    return output.replace(_SEARCH, f'{_SEARCH} aria-label="Search"')


_SEARCH = 'class="md-search" data-md-component="search" role="dialog"'
