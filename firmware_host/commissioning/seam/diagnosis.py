"""From readings at the seams to the number that is wrong: the causes in order, which can't be told apart, what next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firmware_host.commissioning.estimates.measured import NORMAL_95
from firmware_host.commissioning.seam.causes import CAUSES
from firmware_host.commissioning.seam.correction import Correction
from firmware_host.commissioning.seam.evidence import (
    Evidence,
    Explanation,
    apart,
    evidence_of,
    explained_by,
    nothing_wrong,
)
from firmware_host.commissioning.seam.marked import MarkedPart
from firmware_host.commissioning.seam.next_reading import TOLD_APART, Measurement, telling_apart
from firmware_host.commissioning.seam.readings import Reading
from firmware_host.commissioning.seam.symptoms import SHOWS, WORDS_ONLY, Symptom, WordsOnly, speaks_for
from firmware_host.errors import InputError
from firmware_host.model import Setup

_UNLIKELY = 0.01
_ODDS = 10.0
_LOOKS_ALIKE = 0.5
_AS_WELL = 0.1
"""What only the look tells stands beside what was measured from this share of its likelihood: no source."""


@dataclass(frozen=True)
class Suspect:
    """One cause: how likely it is beside the others (0 to 1), its size, and what to change.

    `amount` with its 95 % half-width `within`: a part of the size that is wrong, or m (lost motion, run-out), or rad
    (skew); None for a cause that only the look of the mark tells. `fits`: what it leaves is no more than noise.
    """

    key: str
    name: str
    likely: float
    fits: bool
    amount: float | None = None
    within: float | None = None
    correction: Correction | None = None
    remedy: str = ""


@dataclass(frozen=True)
class Diagnosis:
    """`suspects`: the likeliest first. `alike`: keys of those that the readings can't tell from the first, it included.

    `next_readings`: what to measure to tell them apart. `nothing`: how likely it is (0 to 1) that nothing is wrong.
    `by_look`: the first is told by what was seen, not by what was measured.
    """

    suspects: tuple[Suspect, ...]
    alike: tuple[str, ...]
    next_readings: tuple[Measurement, ...]
    nothing: float
    by_look: bool

    @property
    def proved(self) -> bool:
        """Whether anything is wrong at all, by what was read: odds of ten to one."""
        return self.suspects[0].likely >= _ODDS * self.nothing

    @property
    def rivals(self) -> tuple[Suspect, ...]:
        """The suspects that the readings can't tell apart, the likeliest first."""
        return tuple(each for each in self.suspects if each.key in self.alike)


def diagnose(
    setup: Setup, part: MarkedPart, readings: Sequence[Reading], symptoms: Sequence[Symptom] = ()
) -> Diagnosis:
    """What is wrong with `part`, by `readings` of it and by what is seen. Raises `InputError` without either."""
    if not readings and not symptoms:
        remedy = "Say a gap or an overlap, or what the mark looks like"
        raise InputError("nothing was read from the mark", remedy)
    found = evidence_of(part, readings) if readings else None
    measured = _measured(part, readings, found)
    nothing = nothing_wrong(found, looks_right=not symptoms) if found is not None else None
    words = [each for each in WORDS_ONLY if symptoms and _told_by_look(each, symptoms)]
    bare = nothing.evidence if nothing is not None else 0.0
    weights = [each.evidence + speaks_for(_key(each), symptoms) for each in measured]
    weights += [bare + speaks_for(each.key, symptoms) for each in words]
    weights.append(bare + speaks_for("", symptoms))
    shares = np.exp(np.array(weights) - max(weights))
    shares /= shares.sum()
    suspects = [_suspect(each, float(share), setup) for each, share in zip(measured, shares, strict=False)]
    suspects += [
        Suspect(each.key, each.name, float(share), nothing is None or nothing.fits, remedy=each.remedy)
        for each, share in zip(words, shares[len(measured) :], strict=False)
    ]
    suspects.sort(key=lambda each: -each.likely)
    first = suspects[0]
    if found is None or _only_seen(first, measured):
        alike = tuple(each.key for each in suspects if each.likely >= _LOOKS_ALIKE * first.likely)
        return Diagnosis(tuple(suspects), alike, _to_look_at(words, alike), float(shares[-1]), by_look=True)
    rivals = _rivals(measured, found, suspects)
    seen = {each.key for each in words}
    as_well = (each.key for each in suspects if each.key in seen and each.likely >= _AS_WELL * first.likely)
    alike = (*map(_key, rivals), *as_well)
    return Diagnosis(
        suspects=tuple(suspects),
        alike=alike,
        next_readings=(*telling_apart(rivals, part, readings), *_to_look_at(words, alike)),
        nothing=float(shares[-1]),
        by_look=False,
    )


def _measured(part: MarkedPart, readings: Sequence[Reading], found: Evidence | None) -> list[Explanation]:
    """Every cause that the part can have, with how it explains the readings."""
    causes = [cause for cause in CAUSES if cause.applies(part)]
    if found is None:
        none = np.zeros(0)
        return [Explanation(cause, cause.nothing, (math.inf,) * cause.count, none, 0.0, 0, 0.0) for cause in causes]
    return [explained_by(cause, part, readings, found) for cause in causes]


def _told_by_look(cause: WordsOnly, symptoms: Sequence[Symptom]) -> bool:
    return speaks_for(cause.key, symptoms) > speaks_for("", symptoms)


def _only_seen(first: Suspect, measured: Sequence[Explanation]) -> bool:
    """Whether no reading tells anything of the likeliest cause: its look alone speaks for it."""
    explained = next((each for each in measured if _key(each) == first.key), None)
    return explained is None or all(map(math.isinf, explained.deviations))


def _to_look_at(words: Sequence[WordsOnly], alike: Sequence[str]) -> tuple[Measurement, ...]:
    """What shows which of several causes it is that only the look tells; nothing where there is but one."""
    shown = dict.fromkeys(each.shown_by for each in words if each.key in alike)
    return tuple(Measurement(key, SHOWS[key], ()) for key in shown) if len(alike) > 1 else ()


def _key(found: Explanation) -> str:
    return found.cause.key if found.cause is not None else ""


def _suspect(found: Explanation, likely: float, setup: Setup) -> Suspect:
    key, name = (found.cause.key, found.cause.name) if found.cause is not None else ("", "")
    known = all(map(math.isfinite, found.deviations)) and any(found.amounts)
    return Suspect(
        key=key,
        name=name,
        likely=likely,
        fits=found.fits,
        amount=found.amount if known else None,
        within=NORMAL_95 * max(found.deviations) if known else None,
        correction=found.correction(setup) if known else None,
    )


def _rivals(measured: Sequence[Explanation], found: Evidence, suspects: Sequence[Suspect]) -> list[Explanation]:
    """The likeliest cause and those that fit and foresee nearly the same readings, in order of likelihood."""
    by_key = {_key(each): each for each in measured}
    first = by_key.get(suspects[0].key)
    if first is None:
        return []
    order = [by_key[each.key] for each in suspects if each.key in by_key]
    alike = [
        each
        for each in order
        if each is first or (each.fits and any(each.amounts) and apart(first, each, found) < TOLD_APART)
    ]
    likely = {each.key: each.likely for each in suspects}
    return [each for each in alike if each is first or likely[_key(each)] > _UNLIKELY * suspects[0].likely]
