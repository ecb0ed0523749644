"""What is seen without measuring: each word speaks for the causes that the trade knows, also beside readings."""

from __future__ import annotations

import pytest

from firmware_host.commissioning.seam.diagnosis import diagnose
from firmware_host.commissioning.seam.marked import marked_part
from firmware_host.commissioning.seam.readings import SeamReading
from firmware_host.commissioning.seam.symptoms import SAID, WORDS_ONLY, Symptom
from firmware_host.errors import InputError
from tests.commissioning.seam.cases import parts


@pytest.mark.parametrize(
    ("symptom", "keys", "to_do"),
    [
        (Symptom.FADED_AT_BOTH_EDGES, {"segment-too-wide", "focus-height", "part-diameter"}, ["ladder"]),
        (Symptom.FADED_AT_ONE_EDGE, {"window-off-centre", "run-out"}, ["ladder"]),
        (Symptom.FADED_AT_ONE_END, {"axis-not-level", "cone"}, ["both-ends"]),
        (Symptom.CHOPPY, {"too-many-segments", "not-settled", "lost-motion"}, ["waiting"]),
        (Symptom.SKEWED_LINE, {"skew"}, []),
        (Symptom.ONLY_THE_CLOSING_SEAM, {"part-diameter", "lost-motion"}, []),
        (Symptom.GROWING, {"part-diameter", "ratio", "slip", "marked-width"}, []),
    ],
    ids=lambda value: value.value if isinstance(value, Symptom) else "-",
)
def test_a_word_alone_names_what_it_speaks_for(symptom: Symptom, keys: set[str], to_do: list[str]) -> None:
    setup, layout = parts()[0]
    found = diagnose(setup, marked_part(setup, layout), (), (symptom,))
    assert set(found.alike) == keys
    assert found.by_look
    assert [each.key for each in found.next_readings] == to_do


def test_a_word_decides_between_causes_that_the_readings_cannot_tell_apart() -> None:
    setup, layout = parts()[0]
    part = marked_part(setup, layout)
    readings = [SeamReading(5e-5, 0.3e-3, seam) for seam in range(1, part.pitches.size + 1)]
    alone = diagnose(setup, part, readings)
    seen = diagnose(setup, part, readings, (Symptom.FADED_AT_BOTH_EDGES,))
    assert set(alone.alike) == set(seen.alike) == {"part-diameter", "marked-width"}
    likely = {each.key: each.likely for each in seen.suspects}
    before = {each.key: each.likely for each in alone.suspects}
    assert likely["part-diameter"] / likely["marked-width"] > 5 * before["part-diameter"] / before["marked-width"]


def test_nothing_said_and_nothing_measured_is_refused() -> None:
    setup, layout = parts()[0]
    with pytest.raises(InputError, match="nothing was read from the mark"):
        diagnose(setup, marked_part(setup, layout), ())


def test_a_mark_of_one_segment_has_no_seam() -> None:
    setup, _ = parts()[2]
    from firmware_host.planning.plan import plan_layout

    one = setup.with_values({"segments.count": 1, "mark.arc": "5 mm", "mark.angle": None})
    with pytest.raises(InputError, match="one segment and no seam"):
        marked_part(one, plan_layout(one))


def test_every_symptom_is_explained_and_every_remedy_is_a_sentence() -> None:
    assert set(SAID) == set(Symptom)
    assert all(each.remedy[0].isupper() and not each.remedy.endswith(".") for each in WORDS_ONLY)
