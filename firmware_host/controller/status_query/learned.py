"""What is known of a board with a state word once it has been opened."""

from __future__ import annotations

from firmware_host.controller.learned import Beyond, Fact, Learned, Listing, Position, Source
from firmware_host.controller.stored_settings import ControllerSettings

SAFE_STEP_RATE = 20_000.0
"""Steps/s. Measured by counting pulses: the slowest of three boards (five axes, 8-bit) was exact to 22 kHz, hung at 24
kHz and crashed at 27 kHz."""


def learned_of(axes: str, settings: ControllerSettings, answer_s: float) -> Learned:
    """The record for a board that reports `axes`, has `settings`, and answers within `answer_s` (s)."""
    on_all = Source.DIALECT
    return Learned(
        axes=Fact(axes, Source.SEEN),
        acknowledgement=Fact("once, in order, without its number", on_all),
        position=Fact(Position.FOLLOWS_MOTOR, on_all),
        position_asked=Fact("a request of one byte, acted on at once", on_all),
        listing=Fact(Listing.IN_FORCE, on_all),
        rate_written_per_s=Fact(False, on_all),
        rate_listed_per_s=Fact(False, on_all),
        acceleration_key=Fact(settings.names.acceleration, on_all),
        whole_accelerations=Fact(False, on_all),
        start_jump_units_per_s=Fact(0.0, on_all),
        start_jump_key=Fact(None, on_all),
        first_step_wait_s=Fact(0.0, on_all),
        shortest_move_steps=Fact(1, on_all),
        travel_units=Fact(None, Source.TOLD if settings.soft_limits is not None else Source.ASSUMED),
        beyond_travel=Fact(Beyond.ALARM if settings.soft_limits else Beyond.MADE, on_all),
        travel_keys=Fact(None, on_all),
        quick_stop=Fact(True, on_all, "it slows down and keeps its position"),
        soft_reset_s=Fact(None, Source.ASSUMED),
        answer_s=Fact(answer_s, Source.SEEN),
        highest_step_rate=Fact(SAFE_STEP_RATE, on_all),
    )
