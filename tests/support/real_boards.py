"""Boards that answer as late, and say as late that they stand, as the real ones that were measured."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from firmware_host.simulator.status_query.variant import StatusQueryVariant
from tests.contract.spoken import SPOKEN, Case

_STATE_WORD = StatusQueryVariant(status_delay_s=0.004, ok_delay_s=0.003, idle_delay_s=0.009, idle_spread_s=0.009)
_SYNC_LATE = {"sync_delay_s": 0.009, "sync_spread_s": 0.009}
_ANSWERS = {"ok_delay_s": 0.0023, "position_delay_s": 0.005, "position_report": "planned", "count_report": "planned"}
_FIRST_SYNC_TELLS = NumberedLineVariant(**_SYNC_LATE, **_ANSWERS)  # type: ignore[arg-type]
_SECOND_SYNC_TELLS = NumberedLineVariant(
    **_SYNC_LATE,  # type: ignore[arg-type]
    **_ANSWERS,  # type: ignore[arg-type]
    sync_answered="when-queued",
    ok_before_output=True,
    repeated_number="skip",
    wait_lines="even-moving",
)

REAL_BOARDS: Mapping[str, Case] = MappingProxyType(
    {
        "status-query": Case("status-query/as measured", SPOKEN["status-query"], _STATE_WORD),
        "numbered-line": Case("numbered-line/as measured", SPOKEN["numbered-line"], _FIRST_SYNC_TELLS),
        "numbered-line, second sync": Case("numbered-line/second sync", SPOKEN["numbered-line"], _SECOND_SYNC_TELLS),
    }
)
"""By dialect; the second of `numbered-line` answers a sync line at once, so that only the line after it tells."""
