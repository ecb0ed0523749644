"""The job: which machine, which part, which mark, and how it is to be run."""

from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from firmware_host.model.base import Described, Version, contradiction
from firmware_host.model.job.gate import AnyGateOptions, OperatorGateOptions
from firmware_host.model.job.mark import Mark
from firmware_host.model.job.window import Window
from firmware_host.model.part.part import AnyPart
from firmware_host.model.tolerances import Tolerances
from firmware_host.units import Angle, AngularAcceleration, AngularSpeed, Length, TimeOrZero


class SegmentRequest(Described):
    """How the mark is split, if not into the fewest equal segments."""

    count: int | None = Field(default=None, ge=1, le=1_000_000)
    angle: Angle | None = Field(default=None, description="width of each segment; the last may be narrower")
    seams: Literal["equal", "in-gaps"] = Field(default="equal", description="in-gaps puts seams in the artwork's gaps")
    diameter_uncertainty: Length | None = Field(default=None, description="how well the diameter is known, plus-minus")

    @model_validator(mode="after")
    def _one_request(self) -> Self:
        asked = (self.count is not None, self.angle is not None, self.seams == "in-gaps")
        if sum(asked) > 1:
            raise contradiction("seams", "give at most one of count, angle and seams = 'in-gaps'")
        return self


class IndexRequest(Described):
    """The move between segments. Speed and acceleration are the part's; left out, the safe ones are used."""

    speed: AngularSpeed | None = None
    acceleration: AngularAcceleration | None = None
    settle: TimeOrZero | None = Field(default=None, description="wait after a move; left out, from the machine's data")
    finish: Literal["stay", "unwind", "next-turn"] = "stay"
    approach: Literal["auto", "both-sides", "one-side"] = "auto"
    safety_factor: float = Field(default=2.0, ge=1, le=10, description="pull-out torque over required torque")


#: Why somebody accepts a limit: a few words, never none.
Reason = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=300)]


class Job(Described):
    """One job on one machine."""

    version: Version
    name: str = Field(min_length=1, max_length=120)
    machine: str = Field(min_length=1, max_length=300, description="name of a machine profile, or path of a file")
    part: AnyPart
    mark: Mark
    window: Window
    segments: SegmentRequest = SegmentRequest()
    index: IndexRequest = IndexRequest()
    gate: AnyGateOptions = OperatorGateOptions()
    accept: dict[str, Reason] = Field(
        default={},
        description="limits that need not hold, by name, each with your reason for it",
    )
    tolerances: Tolerances = Field(default=Tolerances(), description="how well the job's data are known")

    @model_validator(mode="after")
    def _gaps_exist(self) -> Self:
        if self.segments.seams == "in-gaps" and not self.mark.gaps:
            raise contradiction("mark.gaps", "segments.seams = 'in-gaps' needs mark.gaps")
        return self
