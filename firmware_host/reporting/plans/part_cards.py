"""The card for the marking side of a batch: a line for each part, and above it what is the same for all of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from firmware_host.model import Setup
from firmware_host.planning.many.cards import PartCard, PartStrips
from firmware_host.reporting.document import Cell, Column, Document, Figure, Node, Notes, Row, Table
from firmware_host.reporting.plans.card import FINISH, FLAT, order_lines, turning_lines
from firmware_host.system.bounds import shortened

MOST_PARTS = 30
"""So many parts stand on a card; of more, the first and the last ones."""
_LONGEST_NAME = 11

_COLUMNS = (
    Column("part", "part"),
    Column("serial", "serial"),
    Column("text", "text", brief=False),
    Column("diameter_mm", "diam.", "mm", ".3f"),
    Column("segments", "strips"),
    Column("width_mm", "width", "mm", ".3f"),
    Column("narrowest_mm", "narrowest", "mm", ".3f", brief=False),
    Column("pitch_mm", "pitch", "mm", ".3f"),
    Column("drawn_width_mm", "flat", "mm", ".3f"),
    Column("focus_below_crown_mm", "focus", "mm", ".3f"),
    Column("crown_rise_mm", "crown", "mm", "+.3f"),
    Column("overlap_mm", "overlap when flat", "mm", ".3f", brief=False),
    Column("begins_mm", "mark begins", "mm", "+.3f", brief=False),
    Column("trouble", "trouble", below=True),
)


def part_cards_document(setup: Setup, cards: Sequence[PartCard]) -> Document:
    """What the person at the laser needs for each part of a batch; 60 lines at the most where all can be laid out."""
    known = [card.strips for card in cards if card.strips is not None]
    rows = tuple(_row(card, known[0] if known else None) for card in cards)
    shown: Sequence[Row] = rows
    if len(rows) > MOST_PARTS:
        half = MOST_PARTS // 2
        shown = (*rows[:half], (Cell("...", "..."), *(Cell("", "") for _ in _COLUMNS[1:])), *rows[-half:])
    turns, corrected = setup.machine.axis.turns, setup.job.window.flat_field_corrected
    counts, equal = {each.count for each in known}, all(each.width - each.narrowest < 1e-9 for each in known)
    columns = _shown(equal=equal, corrected=corrected)
    return Document(
        (
            Figure("job", "Card for the marking side, of each part", setup.job.name, brief=True),
            Figure("machine", "Machine", setup.machine.name),
            Figure("parts", "Parts", len(cards), brief=True),
            Figure("passes", "Passes on each strip", setup.job.mark.passes, brief=True),
            Notes(tuple(_same_for_all(known, equal=equal))),
            *_flat(known, equal=equal, corrected=corrected),
            Notes(order_lines(counts.pop() if len(counts) == 1 else None, setup.job.mark.passes), "order"),
            Notes(("Start: the part's start mark on top, under the lens, as the zero is set.",)),
            Figure("turns", "The part turns", turns),
            Notes(turning_lines(turns), "turning"),
            Notes((FINISH[setup.job.index.finish],), "finish"),
            Table("part_cards", "", _COLUMNS, rows, brief=False),
            Table("", "Parts, in their order", columns, shown),
        )
    )


def _shown(*, equal: bool, corrected: bool | None) -> tuple[Column, ...]:
    """The columns for people: of equal strips the pitch is the width, and only what is drawn flat has a flat width."""
    left_out = {"pitch_mm"} if equal else {"drawn_width_mm"}
    left_out |= {"drawn_width_mm"} if corrected else set()
    return tuple(replace(each, brief=each.brief and each.key not in left_out) for each in _COLUMNS)


def _flat(known: Sequence[PartStrips], *, equal: bool, corrected: bool | None) -> Iterator[Node]:
    """What to enter where the marking side draws the strips flat."""
    overlap_mm = max((each.overlap for each in known), default=0.0) * 1e3
    yield Notes(FLAT[corrected])
    yield Figure("overlap_mm", "Neighbours overlap by up to", overlap_mm, "mm", ".3f", brief=not corrected)
    if equal and not corrected:
        yield Notes(("Their edges meet when each is drawn as wide as stands under flat.",))


def _same_for_all(known: Sequence[PartStrips], *, equal: bool) -> Iterator[str]:
    if equal:
        yield "Width of each strip as marked flat; from centre to centre it is as far."
    else:
        yield "Width: of the widest strip, as marked flat. Pitch: the farthest between centres."
    yield "Focus: so far below the crown, the part's highest line."
    if known and known[0].focus.above_axis is not None:
        yield "Crown: so much higher than that of the first part; move the focus with it."


def _row(card: PartCard, first: PartStrips | None) -> Row:
    row, strips = card.row, card.strips
    serial = Cell(row.serial, shortened(row.serial, _LONGEST_NAME))
    if strips is None or first is None:
        return (row.number, serial, row.text, *(None for _ in _COLUMNS[3:-1]), card.trouble)
    above, beside = strips.focus.above_axis, first.focus.above_axis
    rise = (above - beside) * 1e3 if above is not None and beside is not None else None
    return (
        row.number,
        serial,
        row.text,
        strips.diameter * 1e3,
        strips.count,
        strips.width * 1e3,
        strips.narrowest * 1e3,
        strips.pitch * 1e3 if strips.pitch is not None else None,
        strips.drawn_width * 1e3,
        strips.focus.below * 1e3,
        rise,
        strips.overlap * 1e3,
        strips.begins * 1e3,
        "",
    )
