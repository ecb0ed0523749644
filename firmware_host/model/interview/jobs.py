"""What is asked about a job: its machine, the part, the mark, the window, the gate."""

from __future__ import annotations

from firmware_host.model.interview.forms import BEAM, made_of, mark_size, pairs, part_size, window_size
from firmware_host.model.interview.question import Answers, Question, is_kind, said, text_of

PART_KINDS = ("solid", "tube", "cone", "stepped", "mesh", "measured")
GATE_KINDS = ("operator", "timed", "command", "tcp", "modem-lines", "controller-output")

_tube, _cone = is_kind("part.kind", "tube"), is_kind("part.kind", "cone")


def _stepped(answers: Answers) -> bool:
    return is_kind("part.kind", "stepped")(answers)


def _weighed(answers: Answers) -> bool:
    given = answers.get("part.mass")
    return given is not None and bool(given.values)


def _by_pin(answers: Answers) -> bool:
    given = answers.get("gate.pin")
    return given is not None and bool(given.values)


def _by_beam(answers: Answers) -> bool:
    return text_of(answers, "window.half_depth") == BEAM


def _takes_a_fixed_time(answers: Answers) -> bool:
    by_output = is_kind("gate.kind", "controller-output")(answers)
    return is_kind("gate.kind", "timed")(answers) or (by_output and not _by_pin(answers))


def _waits_for_done(answers: Answers) -> bool:
    return is_kind("gate.kind", "command", "tcp", "modem-lines")(answers) or _by_pin(answers)


_PART = (
    Question(
        "machine",
        "For which machine? Its name or its file",
        needed=True,
        filler="belt-chuck",
    ),
    Question(
        "part.kind",
        "What is the part?",
        "solid or tube; a cone; stepped, a shaft of several diameters; mesh, from a drawing; measured, by its inertia",
        needed=True,
        filler="solid",
        choices=PART_KINDS,
        reads=lambda text: {"part.kind": _one_of(text, PART_KINDS)},
    ),
    Question(
        "part.diameter",
        "Its diameter where it is marked; or what a tape shows around it",
        "80 mm, or 251 mm around; in a chuck an error of 1 % is 1 % at every seam",
        needed=True,
        filler="50 mm",
        reads=part_size,
        fills=("part.diameter", "part.circumference"),
    ),
    Question(
        "part.length",
        "Its length, end to end",
        needed=True,
        filler="100 mm",
        when=is_kind("part.kind", "solid", "tube", "cone", "mesh", "measured"),
    ),
    Question("part.inner_diameter", "Its inner diameter", needed=True, filler="1 mm", when=_tube),
    Question("part.large_diameter", "Diameter of its thick end", needed=True, filler="60 mm", when=_cone),
    Question("part.small_diameter", "Diameter of its thin end", needed=True, filler="40 mm", when=_cone),
    Question("part.wall", "Its wall", "across the radius; Enter where it is solid", when=_cone),
    Question(
        "part.contact_from",
        "Where the rollers touch it, from the thick end",
        "commas between; Enter where a chuck holds it",
        when=_cone,
    ),
    Question(
        "part.cylinders",
        "Its cylinders, one after the other: diameter and length of each",
        "50 mm x 80 mm, 30 mm x 40 mm",
        needed=True,
        filler="50 mm x 100 mm",
        when=_stepped,
        reads=pairs("part.cylinders", ("diameter", "length")),
    ),
    Question(
        "part.file",
        "File of its mesh",
        "STL, OBJ or PLY, beside the job's file",
        needed=True,
        filler="part.stl",
        when=is_kind("part.kind", "mesh"),
    ),
    Question(
        "part.inertia",
        "Its inertia about the axis that it turns on",
        needed=True,
        filler="1000 g*cm^2",
        when=is_kind("part.kind", "measured"),
    ),
    Question(
        "part.mass",
        "Its mass, as weighed",
        "Enter where it was not weighed: then its density is asked",
        "A part of measured inertia has to be weighed.",
        filler="1 kg",
    ),
    Question(
        "part.density",
        "Its density, or its material",
        "7860 kg/m^3, or the name of a material in the table of densities, like steel",
        needed=True,
        filler="7860 kg/m^3",
        when=lambda answers: (
            "part.mass" in answers and not _weighed(answers) and not is_kind("part.kind", "measured")(answers)
        ),
        reads=made_of,
        fills=("part.density", "part.material"),
    ),
    Question("part.mass_offset", "How far its centre of mass lies off the axis", "Enter where nobody measured it"),
    Question("part.overhang", "From the chuck's face to its centre of mass", "Enter where rollers carry it"),
)

_MARK = (
    Question(
        "mark.arc",
        "How far does the mark go around? A length on the surface, or an angle",
        "60 mm, or 360 deg for a full wrap",
        needed=True,
        filler="10 mm",
        reads=mark_size,
        fills=("mark.arc", "mark.angle"),
    ),
    Question("mark.width", "How wide is it along the axis?"),
    Question("mark.passes", "How many passes?", usual=said("1")),
    Question(
        "mark.gaps",
        "Gaps in the artwork, where a seam can't be seen: middle and width of each",
        "9 mm 1.2 mm, 17 mm 1.5 mm, from the mark's beginning; Enter for none",
        reads=pairs("mark.gaps", ("at", "width")),
    ),
    Question(
        "window.half_depth",
        "Half-depth of the marking window; or beam, to have it computed",
        "how far above or below the focus the laser still marks well; commissioning's focus measures it",
        "beam: from the spot, the wavelength and the beam quality (ISO 11146-1).",
        needed=True,
        filler="0.5 mm",
        reads=window_size,
    ),
    Question("window.beam.waist_diameter", "Spot diameter in focus", needed=True, filler="0.05 mm", when=_by_beam),
    Question("window.beam.wavelength", "Wavelength", needed=True, filler="1064 nm", when=_by_beam),
    Question(
        "window.beam.beam_quality",
        "Beam quality (M squared)",
        "1 is a perfect beam; the laser's datasheet says it",
        needed=True,
        filler="1.5",
        when=_by_beam,
    ),
    Question(
        "window.focus",
        "Where is the focus set?",
        "crown: on the highest line; balanced: half the sag below it, so that segments get wider",
        usual=said("crown"),
        choices=("crown", "balanced"),
    ),
    Question("window.lens_field", "Width of the lens's field across the axis", "Enter where it does not matter"),
    Question("window.spot_diameter", "Diameter of the spot in focus", "to judge whether a seam shows"),
    Question("segments.diameter_uncertainty", "How well is the part's diameter known, plus-minus?"),
    Question(
        "gate.kind",
        "Who says that a pass is done?",
        "operator: a key; timed: a fixed time; the others are wires and programs",
        usual=said("operator"),
        choices=GATE_KINDS,
        reads=lambda text: {"gate.kind": _one_of(text, GATE_KINDS)},
    ),
    Question(
        "gate.pin",
        "Letter of the controller's input that says done",
        "as its status report shows it; Enter where a pass takes a fixed time",
        when=is_kind("gate.kind", "controller-output"),
    ),
    Question("gate.duration", "How long does a pass take?", needed=True, filler="10 s", when=_takes_a_fixed_time),
    Question("gate.timeout", "After how long has a pass failed?", needed=True, filler="10 min", when=_waits_for_done),
)


def _one_of(text: str, words: tuple[str, ...]) -> str:
    from firmware_host.model.interview.reading import choose

    return choose(text, words)


def job_questions(name: str) -> tuple[Question, ...]:
    """All of them, for a job whose file is called `name`."""
    title = Question("name", "What do you call the job?", "as reports name it", usual=said(name), needed=True)
    return (title, *_PART, *_MARK)
