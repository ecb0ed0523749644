"""What is known of a board that takes numbered lines once it has been opened."""

from __future__ import annotations

from firmware_host.controller.learned import Beyond, Fact, Learned, Listing, Position, Source
from firmware_host.controller.stored_settings import ControllerSettings

SAFE_STEP_RATE = 20_000.0
"""Steps/s that every measured board of every dialect made exactly; those with numbered lines made 39,700 and 55,000."""
UNKIND_SHORTEST = 6
"""Steps: the longest of the shortest moves that a measured board makes."""
UNKIND_WAIT_S = 1 / 120
"""The longest wait for a second step that was measured (s)."""


def learned_of(
    axes: str,
    settings: ControllerSettings,
    *,
    lists_stored: bool,
    rates_per_s: tuple[bool | None, bool | None],
    answer_s: float,
) -> Learned:
    """The record for a board that reports `axes`, lists `settings`, and answers within `answer_s` (s).

    `rates_per_s`: of a rate as it is written, and as it is listed.
    """
    listing = Listing.STORED if lists_stored else Listing.IN_FORCE
    told, unknown = Source.TOLD, Source.ASSUMED
    written, listed = (Fact(per_s, unknown if per_s is None else told) for per_s in rates_per_s)
    return Learned(
        axes=Fact(axes, Source.SEEN),
        acknowledgement=Fact("each line is answered once, in order", Source.DIALECT),
        position=Fact(Position.PLANNED, unknown),
        position_asked=Fact("a plain question", Source.SEEN),
        listing=Fact(listing if settings.raw else Listing.NONE, Source.SEEN),
        rate_written_per_s=written,
        rate_listed_per_s=listed,
        acceleration_key=Fact(settings.names.acceleration, unknown),
        whole_accelerations=Fact(True, unknown),
        start_jump_units_per_s=Fact(None, unknown),
        start_jump_key=Fact(None, unknown),
        first_step_wait_s=Fact(UNKIND_WAIT_S, unknown),
        shortest_move_steps=Fact(UNKIND_SHORTEST, unknown),
        travel_units=Fact(None, unknown),
        beyond_travel=Fact(Beyond.REFUSED_SILENTLY, unknown),
        travel_keys=Fact(None, unknown),
        quick_stop=Fact(False, unknown),
        soft_reset_s=Fact(None, Source.DIALECT),
        answer_s=Fact(answer_s, Source.SEEN),
        highest_step_rate=Fact(SAFE_STEP_RATE, Source.DIALECT),
    )
