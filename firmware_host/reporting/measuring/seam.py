"""What is wrong by the seams, as a document: the cause, the number to change, what to measure next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from firmware_host.acts import Act, DrawWrong
from firmware_host.commissioning.seam.correction import Correction
from firmware_host.commissioning.seam.diagnosis import Diagnosis, Suspect
from firmware_host.reporting.document import Advice, Column, Document, Figure, Notes, Row, Table
from firmware_host.reporting.measures import Units, number, percent
from firmware_host.reporting.measuring.intervals import give_or_take, length_give_or_take

_COLUMNS = (
    Column("key", "cause"),
    Column("name", "what may be wrong"),
    Column("likely_percent", "likely %", form=".3g"),
    Column("fits", "explains it"),
    Column("amount", "by", form="+.3g"),
    Column("within", "±", form=".2g"),
)
_SHOWN = 0.02
"""Less likely ones stay out of the short table."""
_SURE = 0.9
_MOST = 5


def seam_document(
    found: Diagnosis, options: Mapping[str, str], units: Units = Units.METRIC, *, job: str = ""
) -> Document:
    """`found` as it is read; `options`: how the front door wants each measurement told, by its key; `job`: as named."""
    told = Notes(tuple(_answer(found, units)), "answer")
    following = Notes(tuple(_next(found, options)), "next")
    pictures = Advice(tuple(_pictures(found, job)))
    return Document(
        (
            told,
            Figure("proved", "Something is wrong", found.proved),
            Figure("alike", "The readings can't tell apart", found.alike),
            Figure("nothing_wrong_percent", "Nothing wrong at all", found.nothing * 100, "%", ".3g"),
            Table("suspects", "What may be wrong, the likeliest first", _COLUMNS, tuple(map(_row, found.suspects))),
            *_change_figures(found.suspects[0].correction),
            following,
            pictures,
        ),
        first=(
            *(replace(told, key=""), *((_short_table(found),) if found.proved else ())),
            *(replace(following, key=""), pictures),
        ),
    )


def _row(suspect: Suspect) -> Row:
    return (suspect.key, suspect.name, suspect.likely * 100, suspect.fits, suspect.amount, suspect.within)


def _short_table(found: Diagnosis) -> Table:
    """The causes that are worth a look, with how likely each is."""
    rows = tuple(
        (each.name, f"{number(each.likely * 100, 2)} %", "yes" if each.fits else "no")
        for each in found.suspects
        if each.likely >= _SHOWN
    )
    columns = (Column("", "what may be wrong"), Column("", "likely"), Column("", "explains it"))
    return Table("", "The likeliest first (a guess where the readings can't tell)", columns, rows)


def _change_figures(change: Correction | None) -> tuple[Figure, ...]:
    """For programs: what to change, and from what to what."""
    values: dict[str, tuple[str, str | float | None]] = {
        "change_file": ("File to change", change.file if change else None),
        "change_key": ("Key to change", change.key if change else None),
        "change_from": ("It says", change.entered if change else None),
        "change_to": ("It should say", change.true if change else None),
        "change_within": ("Give or take (95 %)", change.within if change else None),
        "change_unit": ("Unit", change.unit if change else None),
    }
    return tuple(Figure(key, label, value, brief=False) for key, (label, value) in values.items())


def _answer(found: Diagnosis, units: Units) -> Iterator[str]:
    first, rivals = found.suspects[0], found.rivals
    if not found.proved:
        yield "Nothing is proved wrong: what was read is within what the readings can tell."
        yield "Read more closely, or more seams, if the mark still looks wrong."
    elif not first.fits:
        yield "No single cause explains these readings: read them again, or look for two things wrong at once."
        yield f"Nearest to it: {first.name}."
    elif len(rivals) > 1:
        by = "by its look" if found.by_look else "the readings can't tell which"
        yield f"One of {len(rivals)} things is wrong, {by}:"
        yield from (f"  {each.name}{_by(each, units)}" for each in rivals[:_MOST])
        if not found.by_look:
            yield "Measure what stands below before you change a number."
    else:
        sure = "" if first.likely >= _SURE else f" (likely, {percent(first.likely)})"
        yield f"{first.name[:1].upper()}{first.name[1:]}{sure}{_by(first, units)}."
        yield from _remedy(first, units)


def _remedy(suspect: Suspect, units: Units) -> Iterator[str]:
    if suspect.correction is not None:
        yield from _change(suspect.correction, units)
    elif suspect.remedy:
        yield f"{suspect.remedy}."
    else:
        yield from _REMEDIES.get(suspect.key, ())


def _by(suspect: Suspect, units: Units) -> str:
    """By how much it is wrong, in words; nothing where it isn't known."""
    if suspect.amount is None or suspect.within is None:
        return ""
    if suspect.key in _LENGTHS:
        return f": {length_give_or_take(suspect.amount, suspect.within, units)}"
    if suspect.key == "skew":
        return f": {number(suspect.amount * 1e3, 3)} mm in 1 m"
    sign = "+" if suspect.amount > 0 else ""
    return f": {sign}{give_or_take(suspect.amount * 100, suspect.within * 100)} %"


def _change(change: Correction, units: Units) -> Iterator[str]:
    if change.unit == "mm":
        true = length_give_or_take(change.true / 1e3, change.within / 1e3, units)
        yield f"{_file(change)}: {change.key} is {true}, not {units.length(change.entered / 1e3, 5)}."
    elif change.unit:
        true = give_or_take(change.true, change.within)
        yield f"{_file(change)}: {true} {change.unit}, not {number(change.entered, 6)}: {change.key}."
    else:
        true = give_or_take(change.true, change.within)
        yield f"{_file(change)}: {change.key} = {true}, not {change.entered:g}."
    for words in change.likely:
        yield f"  {words}"


def _file(change: Correction) -> str:
    return "In the job" if change.file == "job" else "In the machine file"


def _next(found: Diagnosis, options: Mapping[str, str]) -> Iterator[str]:
    if not found.proved or len(found.alike) < 2:
        return
    if found.by_look:
        yield from (f"If {each.name}: {each.remedy}." for each in found.rivals if each.remedy)
        if not found.next_readings:
            yield "A gap or an overlap that was measured at the seams says more."
    elif not found.next_readings:
        yield "Nothing that can be measured here tells them apart: change one, mark again, and look."
    for number_of, each in enumerate(found.next_readings, 1):
        how = f" ({options[each.key]})" if each.key in options else ""
        yield f"{number_of}. {each.what[:-1]}{how}."


def _pictures(found: Diagnosis, job: str) -> Iterator[Act]:
    """The pictures of what may be wrong, each once; none where nothing is proved, or nothing explains the readings."""
    if not found.proved or not found.suspects[0].fits:
        return
    looks = (_look(each) for each in found.rivals[:_MOST])
    yield from (DrawWrong(job, look, f"{look}.png") for look in dict.fromkeys(looks) if look)


def _look(suspect: Suspect) -> str:
    """What the picture of a cause is called; "" for a cause without one, or of which nobody knows which way it is."""
    if suspect.key == "part-diameter":
        if suspect.amount is None:
            return ""
        return "diameter-too-small" if suspect.amount > 0 else "diameter-too-big"
    return _LOOKS.get(suspect.key, "")


_LOOKS: Mapping[str, str] = {
    "run-out": "run-out",
    "skew": "skewed",
    "segment-too-wide": "segments-too-wide",
    "too-many-segments": "segments-too-narrow",
}
"""By cause: what its picture is called."""
_LENGTHS = frozenset({"lost-motion", "run-out"})
_REMEDIES: Mapping[str, tuple[str, ...]] = {
    "marked-width": ("Correct the scale of the marking side: draw a line of known length, and measure it.",),
    "lost-motion": ('Take it up from one side (index.approach = "one-side"), and state it (gearing lost_motion).',),
    "run-out": ("Clamp the part anew until it runs true, or turn the jaws; an indicator shows it.",),
    "cone": ("Describe the part as a cone (part.kind), mark narrower bands, or fan the artwork out.",),
    "skew": ("Turn the marking field, or the rotary, until a line along the axis stays on one edge of the part.",),
    "slip": ("Look what slips: clean the jaws, clamp harder, or turn more gently (index.acceleration).",),
}
