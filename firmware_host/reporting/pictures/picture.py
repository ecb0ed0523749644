"""What a picture is: drawn of a job or of a run, with words that say the same to who can't see it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar, Generic, Protocol, Self, TypeVar

from matplotlib.figure import Figure

from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.model.files.problems import nearest_of
from firmware_host.model.part.part import Arc
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.reliability.estimate import Reliability, reliability


class Named(Protocol):
    """What can be drawn has a name, which stands in the title of the file."""

    @property
    def name(self) -> str:
        """As a person calls it."""


@dataclass(frozen=True)
class Subject:
    """A planned job. `load`: what the motor has to move, with the unkind end of what is assumed."""

    setup: Setup
    plan: JobPlan
    load: LoadCase

    @classmethod
    def of(cls, setup: Setup, plan: JobPlan) -> Self:
        """A job with its plan."""
        return cls(setup, plan, load_case(setup.machine, setup.job))

    @cached_property
    def doubt(self) -> Reliability:
        """How reliable the job is, and which uncertain datum matters; drawn once, when it is first asked for."""
        return reliability(self.setup, self.plan, better=False)

    @property
    def name(self) -> str:
        """The job's."""
        return self.setup.job.name

    @property
    def segments(self) -> SegmentPlan:
        """Where they fall."""
        return self.plan.segments

    @property
    def keep_out(self) -> tuple[Arc, ...]:
        """Arcs of the part that must not be marked."""
        return self.setup.job.part.keep_out

    @property
    def limits(self) -> LimitReport:
        """Those of the plan."""
        return self.plan.limits


SubjectT = TypeVar("SubjectT", bound=Named)
SubjectT_contra = TypeVar("SubjectT_contra", bound=Named, contravariant=True)
PictureT = TypeVar("PictureT", bound="Picture[Any]")


class Picture(ABC, Generic[SubjectT_contra]):
    """One picture. `key` names it on the command line; `title` stands above it; `shows`: what it is for."""

    key: ClassVar[str]
    title: ClassVar[str]
    shows: ClassVar[str]
    width: ClassVar[float] = 7.2
    height: ClassVar[float] = 4.4
    """Inches."""

    def missing(self, of: SubjectT_contra) -> str:
        """Why there is nothing to draw of this job or run, as a sentence; "" where there is."""
        return ""

    @abstractmethod
    def draw(self, figure: Figure, of: SubjectT_contra) -> str:
        """Draw it on an empty figure; returns in words what it shows of this job or run."""


def one_named(name: str, pictures: Sequence[PictureT]) -> PictureT:
    """The picture of that name. Raises `InputError`, naming the nearest."""
    for picture in pictures:
        if picture.key == name:
            return picture
    problem = f"there is no picture {name!r}"
    raise InputError(problem, nearest_of(name, [each.key for each in pictures]), key="picture")
