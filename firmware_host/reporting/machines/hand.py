"""Where a hand has turned the part, which key does what, and the cautions: as lines for a person, and as a document."""

from __future__ import annotations

from collections.abc import Sequence

from firmware_host.acts import Act
from firmware_host.reporting.document import Advice, Document, Figure, Node
from firmware_host.station.hand.hand import Where
from firmware_host.station.hand.places import Place
from firmware_host.station.hand.steps import Step

CAUTION = (
    "CAUTION: this turns the part. Keep hands, gloves and sleeves away; hold and",
    "support it well. The gate stays closed. Emergency stop and guards are hardware.",
)
"""Lines of less than 80 columns, shown once."""
KEYS = (
    "left, right   turn back, turn on        up, down   bigger, smaller steps",
    "g   go to an angle    z   zero here     0   back to zero    u   deg or mm",
    "m   release or hold the motor           h   these keys      q   leave",
    "any other key stops a move; Ctrl-C stops it and leaves",
)
ALIGN_KEYS = (
    "left, right   turn back, turn on        up, down   bigger, smaller steps",
    "Enter   it is under the laser now       g   go to an angle  u   deg or mm",
    "m   release or hold the motor           h   these keys      q   leave",
    "any other key stops a move; Ctrl-C stops it and leaves",
)
_ZEROS = {"set": "set by hand", "last": "the last run's", "none": "none set"}


def state_word(where: Where) -> str:
    """STILL where that is proved, TURNING, or RELEASED."""
    return "RELEASED" if not where.energised else "STILL" if where.still else "TURNING"


def where_line(where: Where, step: Step) -> str:
    """One line of less than 80 columns: the state, where the part is in three ways, and the step of a key."""
    if not where.energised:
        return f"{state_word(where)} the part may turn by itself, its position is not known  step {step.text}"
    place = f"{where.degrees:+.3f} deg  {where.microsteps:+d} microsteps  controller {where.units:.3f} {where.unit}"
    return f"{state_word(where):8} {place}  step {step.text}"


def key_lines(places: Sequence[Place]) -> tuple[str, ...]:
    """Which key does what, in lines of less than 80 columns; with `places` for an alignment."""
    return ALIGN_KEYS if places else KEYS


def hand_document(where: Where, *, part: str, place: str = "", advice: Sequence[Act] = ()) -> Document:
    """Where the part stands now, by which zero, and for which part the motion was safe; `place`: under the laser."""
    known = where.energised  # while the motor is released the part may be anywhere
    nodes: list[Node] = [
        Figure("state", "The part is", state_word(where), brief=True),
        Figure("angle_deg", "Angle from the zero", where.degrees if known else None, "deg", ".3f", brief=True),
        Figure("microsteps", "Microsteps from the zero", where.microsteps if known else None, brief=True),
        Figure("controller_position", "Controller's position", where.units, where.unit, ".3f", brief=True),
        Figure("zero", "Zero", where.zero, text=_ZEROS[where.zero], brief=True),
        Figure("part", "Turned as", part, brief=True),
    ]
    if place:
        nodes.append(Figure("place", "Under the laser", place, brief=True))
    if advice:
        nodes.append(Advice(tuple(advice)))
    return Document(tuple(nodes))
