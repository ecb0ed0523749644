"""What is known of a board with a state word once it has been opened."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.controller.learned import Beyond, Fact, Learned, Listing, Position, Source
from firmware_host.controller.reply import BufferInfo
from firmware_host.controller.stored_settings import ControllerSettings, StoredNumber

SAFE_STEP_RATE = 20_000.0
"""Steps/s that every board measured makes exactly."""
_LONGEST_DELAY_MS = 255
_SOONEST_RESET_S = 0.025
_LARGE_BUFFER_BYTES = 1000


@dataclass(frozen=True)
class Heard:
    """What a board has told or shown of itself.

    `tells_axes`: it named the `axes` itself; else they are the usual ones for as many positions as it reports.
    `answer_s`: from a question for its state to the answer (s). `reset_s`: how long its last reset took until it
    greeted (s); None: none was seen.
    """

    axes: str
    tells_axes: bool
    buffer: BufferInfo | None
    answer_s: float
    reset_s: float | None


def learned_of(heard: Heard, settings: ControllerSettings) -> Learned:
    """The record for a board of which that is `heard`, and which lists `settings`."""
    on_all = Source.DIALECT
    axes = Fact(heard.axes, Source.TOLD)
    if not heard.tells_axes:
        axes = Fact(heard.axes, Source.SEEN, "the usual letters, as many as it reports positions")
    return Learned(
        axes=axes,
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
        travel_units=_travel(settings),
        beyond_travel=_beyond(settings),
        travel_keys=Fact(None, on_all),
        quick_stop=Fact(True, on_all, "it slows down and keeps its position"),
        soft_reset_s=_soft_reset(heard, settings),
        answer_s=Fact(heard.answer_s, Source.SEEN),
        highest_step_rate=_step_rate(heard),
    )


def _travel(settings: ControllerSettings) -> Fact[tuple[float, float] | None]:
    if not settings.soft_limits:
        return Fact(None, Source.TOLD, "soft limits are off")
    text = settings.raw.get(settings.names.travel, "")
    if not text:
        return Fact(None, Source.ASSUMED, "soft limits are on, and it lists no travel: switch them off")
    length = float(StoredNumber.printed(text).value)
    note = "soft limits are on: counted back from the home switch; some boards keep to it only once the axis was homed"
    return Fact((-length, 0.0), Source.TOLD, note)


def _beyond(settings: ControllerSettings) -> Fact[Beyond]:
    if not settings.soft_limits:
        return Fact(Beyond.MADE, Source.DIALECT)
    return Fact(Beyond.ALARM, Source.DIALECT, "some boards make the move all the same if the axis was not homed")


def _soft_reset(heard: Heard, settings: ControllerSettings) -> Fact[float | None]:
    if heard.reset_s is not None:
        return Fact(heard.reset_s, Source.SEEN)
    delay_ms = _LONGEST_DELAY_MS if settings.release_delay_ms is None else settings.release_delay_ms
    longest_s = max(delay_ms / 1000, _SOONEST_RESET_S)
    return Fact(longest_s, Source.DIALECT, "at the most")


def _step_rate(heard: Heard) -> Fact[float]:
    """Measured by counting pulses, one axis, 60,000 steps; by what tells the boards apart."""
    receive_bytes = heard.buffer.receive_bytes if heard.buffer is not None else 0
    if receive_bytes >= _LARGE_BUFFER_BYTES:
        return Fact(100_000.0, Source.DIALECT, "boards with large buffers: no limit was found up to 108,000")
    if heard.tells_axes and receive_bytes:
        return Fact(22_000.0, Source.DIALECT, "five axes and small buffers: it hangs at 24,000 and crashes at 27,000")
    if len(heard.axes) == len("XYZ") and receive_bytes:
        return Fact(40_000.0, Source.DIALECT, "three axes and small buffers: it stops dead at 50,000")
    return Fact(SAFE_STEP_RATE, Source.ASSUMED, "what every board measured makes; measure it, and state it")
