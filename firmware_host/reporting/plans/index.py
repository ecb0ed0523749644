"""How fast an index goes, what stops it, and what other choices would give, as a section of a document."""

from __future__ import annotations

import math

from firmware_host.planning.index.moves import MoveKind
from firmware_host.planning.index.report import IndexAdvice, MarginLoss, OtherChoice
from firmware_host.planning.index.safe_motion import SafeMotion
from firmware_host.planning.index.timing import KindTime
from firmware_host.reporting.document import MISSING, Apart, Cell, Column, Figure, Node, Row, Section, Table
from firmware_host.reporting.render.text import text_of

_TITLE = "Index, on average"
_COLUMNS = (
    Column("what", "other choice"),
    Column("acceleration_deg_per_s2", "acceleration", "deg/s^2", ".4g", brief=False),
    Column("speed_deg_per_s", "speed", "deg/s", ".4g", brief=False),
    Column("move_s", "move", "s", ".3f"),
    Column("settle_s", "settle", "s", ".3f"),
    Column("times_quicker", "beside the chosen one", form=".2f"),
    Column("verdict", "verdict"),
    Column("losses", "what it takes from the margins", below=True),
)
_LOSS_COLUMNS = (Column("name", "limit"), Column("before", "before", form="%"), Column("after", "after", form="%"))
_KIND_COLUMNS = (
    Column("kind", "kind of move"),
    Column("count", "moves"),
    Column("move_s", "each on average", "s", ".3f"),
    Column("settle_s", "longest settling", "s", ".3f"),
    Column("total_s", "all moves", "s", ".3f"),
)
_KINDS = {
    MoveKind.INDEX: ("index", "index, from segment to segment"),
    MoveKind.RETURN: ("return", "return, after a take-up or unwinding"),
    MoveKind.TAKE_UP: ("take-up", "take-up of lost motion"),
    MoveKind.FINISH: ("finish", "finish"),
    MoveKind.UNWIND: ("unwind", "unwinding"),
}


def index_section(advice: IndexAdvice) -> Section:
    """The highest safe motion, what stops it going further, the bound, and what other choices would give."""
    cautious = None if advice.cautious is None else _row(advice.cautious, "the usual cautious one: ")
    return Section(
        "index",
        _TITLE,
        (
            *_motion(advice.motion, keyed=True),
            *_bound(advice),
            _kinds("moves", advice.motion),
            Table(
                "stronger",
                "Other choices",
                _COLUMNS,
                tuple(_row(choice) for choice in advice.stronger),
                first=Apart("cautious", cautious),
            ),
        ),
    )


def motion_section(motion: SafeMotion) -> Section:
    """The motion alone, for people."""
    return Section("", _TITLE, (*_motion(motion, keyed=False), _kinds("", motion)))


def _motion(motion: SafeMotion, *, keyed: bool) -> tuple[Node, ...]:
    timing = motion.timing
    figures = (
        ("acceleration_deg_per_s2", "acceleration of the part", math.degrees(motion.acceleration), "deg/s^2"),
        ("speed_deg_per_s", "speed of the part", math.degrees(motion.speed), "deg/s"),
        ("move_s", "move", timing.move_s, "s"),
        ("settle_s", "settling", timing.settle_s, "s"),
    )
    stops = "" if motion.binding else "nothing"
    return (
        *(Figure(key * keyed, label, value, unit, ".4g", brief=True) for key, label, value, unit in figures),
        Figure("binding" * keyed, "what stops it going faster", motion.binding, text=stops, brief=True),
    )


def _kinds(key: str, motion: SafeMotion) -> Table:
    rows = tuple(_kind_row(kind) for kind in motion.timing.kinds)
    return Table(key, "Each kind of move", _KIND_COLUMNS, rows)


def _kind_row(kind: KindTime) -> Row:
    key, words = _KINDS[kind.kind]
    return (Cell(key, words), kind.count, kind.move_s, kind.settle_s, kind.total_s)


def _bound(advice: IndexAdvice) -> tuple[Node, ...]:
    """What no ramp can beat, and how far the chosen move is from it."""
    bound = advice.bound_s
    label = "move with an acceleration that follows the torque at every speed"
    known = bound is not None and math.isfinite(bound)
    more = (
        (
            Figure(
                "",
                "the chosen move, with an eye on ringing, takes more by",
                advice.motion.timing.move_s / bound - 1,
                form="%",
                brief=True,
            ),
        )
        if bound is not None and known
        else ()
    )
    return (Figure("bound_move_s", label, bound, "s", ".4g", brief=known), *more)


def _row(choice: OtherChoice, before: str = "") -> Row:
    return (
        Cell(choice.what, f"{before}{choice.what}"),
        math.degrees(choice.acceleration),
        math.degrees(choice.speed),
        choice.timing.move_s,
        choice.timing.settle_s,
        Cell(choice.quicker, _quicker(choice.quicker)),
        MISSING if choice.verdict is None else choice.verdict,
        MISSING if choice.verdict is None else _losses(choice.losses),
    )


def _losses(losses: tuple[MarginLoss, ...]) -> Cell:
    rows = tuple((loss.name, loss.before, loss.after) for loss in losses)
    texts = [f"{loss.name} {text_of(loss.before, '%')} -> {text_of(loss.after, '%')}" for loss in losses]
    return Cell(Table("", "", _LOSS_COLUMNS, rows), f"takes from {', '.join(texts)}" if texts else "")


def _quicker(times: float) -> str:
    if times < 0.995:
        return f"{1 / times:.2f} times slower"
    return f"{times:.2f} times quicker" if times >= 1.005 else "no quicker"
