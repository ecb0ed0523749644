"""What is seen without measuring, in words, and which causes it speaks for: common practice, no source."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType


class Symptom(Enum):
    """What a mark looks like where it is wrong; the value is the word to say it with."""

    FADED_AT_BOTH_EDGES = "faded-both-edges"
    FADED_AT_ONE_EDGE = "faded-one-edge"
    FADED_AT_ONE_END = "faded-one-end"
    CHOPPY = "choppy"
    SKEWED_LINE = "skewed-line"
    ONLY_THE_CLOSING_SEAM = "only-closing"
    GROWING = "growing"


@dataclass(frozen=True)
class WordsOnly:
    """A cause that no reading of a seam shows, only the look of the mark.

    `remedy`: what to do about it; `shown_by`: the key of what is to be done to know whether it is this.
    """

    key: str
    name: str
    remedy: str
    shown_by: str


SAID: Mapping[Symptom, str] = MappingProxyType(
    {
        Symptom.FADED_AT_BOTH_EDGES: "each segment is faded at both of its edges around the part",
        Symptom.FADED_AT_ONE_EDGE: "each segment is faded at one edge around the part",
        Symptom.FADED_AT_ONE_END: "the mark is faded at one end along the axis",
        Symptom.CHOPPY: "the mark looks choppy: many seams, or waves beside each",
        Symptom.SKEWED_LINE: "a line around the part steps sideways at each seam",
        Symptom.ONLY_THE_CLOSING_SEAM: "only the closing seam is wrong",
        Symptom.GROWING: "the error is the same way at every seam and grows along the mark",
    }
)

WORDS_ONLY: tuple[WordsOnly, ...] = (
    WordsOnly(
        "segment-too-wide",
        "segments too wide for the marking window",
        "Ask for more segments (segments.count), or measure the window anew (window.half_depth)",
        "ladder",
    ),
    WordsOnly(
        "focus-height",
        "the focal plane does not lie where the plan has it",
        "Set the focal plane anew: the card for the marking side says how far from the crown",
        "ladder",
    ),
    WordsOnly(
        "window-off-centre",
        "the laser does not stand above the crown",
        "Move the field's middle above the highest line of the part, and mark again",
        "ladder",
    ),
    WordsOnly(
        "axis-not-level",
        "the axis is not level with the marking field",
        "Level the axis: measure the height of a true bar at both ends of the mark",
        "both-ends",
    ),
    WordsOnly(
        "too-many-segments",
        "more segments than the marking window needs",
        "Ask for fewer, wider segments (leave segments.count out), or use a balanced focus",
        "waiting",
    ),
    WordsOnly(
        "not-settled",
        "the part still rings when the pass begins",
        "Wait longer before each pass (index.settle), or turn more gently (index.acceleration)",
        "waiting",
    ),
)
"""What is told by its look alone."""

SHOWS: Mapping[str, str] = MappingProxyType(
    {
        "ladder": "Mark the window ladder: it shows how deep the window is, where the focus lies, and whether the "
        "laser stands above the crown.",
        "both-ends": "Measure the part's height and its diameter at both ends of the mark: a cone differs in both, an "
        "axis that is not level in height alone.",
        "waiting": "Mark one segment once more, half a minute after it was turned to: waves that are gone then were "
        "swings.",
    }
)
"""What shows which of the causes it is that only the look tells."""

_SPEAKS_FOR: Mapping[Symptom, frozenset[str]] = MappingProxyType(
    {
        Symptom.FADED_AT_BOTH_EDGES: frozenset({"segment-too-wide", "focus-height", "part-diameter"}),
        Symptom.FADED_AT_ONE_EDGE: frozenset({"window-off-centre", "run-out"}),
        Symptom.FADED_AT_ONE_END: frozenset({"axis-not-level", "cone"}),
        Symptom.CHOPPY: frozenset({"too-many-segments", "not-settled", "lost-motion"}),
        Symptom.SKEWED_LINE: frozenset({"skew"}),
        Symptom.ONLY_THE_CLOSING_SEAM: frozenset({"part-diameter", "lost-motion"}),
        Symptom.GROWING: frozenset({"part-diameter", "roller-diameter", "ratio", "slip", "marked-width"}),
    }
)
_SEEN, _UNSEEN = 0.8, 0.05
"""How often a symptom shows where it should, and where it shouldn't: common practice, no source."""


def speaks_for(key: str, symptoms: Iterable[Symptom]) -> float:
    """What `symptoms` add to the evidence (natural logarithm) for the cause `key`."""
    return sum(math.log(_SEEN if key in _SPEAKS_FOR[symptom] else _UNSEEN) for symptom in symptoms)
