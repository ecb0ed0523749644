"""The moves as comma-separated values, one row a segment."""

from __future__ import annotations

from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan
from firmware_host.reporting.export.base import MoveFormat
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.reporting.render.csv import csv_text


class CsvFormat(MoveFormat):
    """The table of the moves, with the names of its columns in the first line."""

    name = "csv"

    def text(self, setup: Setup, plan: JobPlan) -> str:
        return csv_text(moves_document(plan.program).tables[0])
