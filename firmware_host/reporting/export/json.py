"""The moves as one JSON document."""

from __future__ import annotations

from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan
from firmware_host.reporting.export.base import MoveFormat
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.reporting.render.json import json_document, json_text


class JsonFormat(MoveFormat):
    """What `moves --json` prints."""

    name = "json"

    def text(self, setup: Setup, plan: JobPlan) -> str:
        return json_text(json_document(moves_document(plan.program, setup.machine)))
