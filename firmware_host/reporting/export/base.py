"""What a format of the exported moves is."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import ClassVar

from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan


class MoveFormat(ABC):
    """One way of writing a job's moves to a file."""

    name: ClassVar[str]
    """What `moves --format` calls it."""

    @abstractmethod
    def text(self, setup: Setup, plan: JobPlan) -> str:
        """The whole file. Raises `PlanError` where the moves cannot be written this way."""
