"""What a picture is: drawn of a planned job, with words that say the same to who can't see it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar

from matplotlib.figure import Figure

from firmware_host.model import Setup
from firmware_host.planning.load.case import LoadCase
from firmware_host.planning.plan import JobPlan


@dataclass(frozen=True)
class Subject:
    """A planned job. `load`: what the motor has to move, with the unkind end of what is assumed."""

    setup: Setup
    plan: JobPlan
    load: LoadCase


class Picture(ABC):
    """One picture. `key` names it on the command line; `title` stands above it; `shows`: what it is for."""

    key: ClassVar[str]
    title: ClassVar[str]
    shows: ClassVar[str]
    width: ClassVar[float] = 7.2
    height: ClassVar[float] = 4.4
    """Inches."""

    def missing(self, of: Subject) -> str:
        """Why there is nothing to draw of this job, as a sentence; "" where there is."""
        return ""

    @abstractmethod
    def draw(self, figure: Figure, of: Subject) -> str:
        """Draw it on an empty figure; returns in words what it shows of this job."""
