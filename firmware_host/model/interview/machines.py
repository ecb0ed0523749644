"""What is asked about a machine, as one walks along it: drive, motor, gearing, driver, axis, link."""

from __future__ import annotations

from firmware_host.model.interview.forms import chuck_inertia, gearing, travel
from firmware_host.model.interview.motors import motor_questions
from firmware_host.model.interview.question import Answers, Question, is_kind, said, text_of

LABEL = "label"
"""The answer for a motor that no file describes."""

_chuck, _rollers = is_kind("drive.kind", "chuck"), is_kind("drive.kind", "rollers")


def _by_label(answers: Answers) -> bool:
    return text_of(answers, "motor") == LABEL


def _most_of_rated(answers: Answers) -> str:
    """A driver set to four fifths of what the motor bears."""
    from firmware_host.model.files.loading import load_motor
    from firmware_host.units import parse_quantity

    given = answers.get("motor")
    if given is None:
        return ""
    if given.text == LABEL:
        rated = text_of(answers, "motor.rated_current") or "1 A"
        return f"{parse_quantity(rated, 'current').si * 0.8:.3g} A"
    return f"{load_motor(str(given.values['motor'])).rated_current.si * 0.8:.3g} A"


def _steps_of_board(answers: Answers) -> str:
    return "8 kHz" if text_of(answers, "link.dialect") == "numbered-line" else "20 kHz"


_DRIVE = (
    Question(
        "drive.kind",
        "What turns the part: a chuck, or rollers that it lies on?",
        "a chuck grips it and turns with it; on rollers it rolls",
        "On rollers the roller's diameter decides how far the surface travels; in a chuck the part's own does.",
        needed=True,
        filler="chuck",
        choices=("chuck", "rollers"),
        reads=lambda text: {"drive.kind": _kind_of_drive(text)},
    ),
    Question(
        "motor",
        "Which motor? A name of the library, a motor's file, or label",
        "label: you are asked for what stands on it",
        "The library's figures are those of a usual motor of the size, not of yours: take label where you have one.",
        needed=True,
        filler="nema23-short",
    ),
    *motor_questions("motor.", when=_by_label),
    Question(
        "gearing",
        "Gearing from the motor on: DRIVING:DRIVEN teeth and kind of each stage, or none",
        "20:60 belt is a pulley of 20 teeth that drives a wheel of 60; 1:30 worm; 40:1 planetary",
        "Stages with commas between: 20:60 belt, 18:72 gears. Count the teeth: a wrong tooth count spoils every seam. "
        "Kinds: belt, gears, worm, planetary, coupling.",
        needed=True,
        filler="none",
        reads=gearing,
    ),
)

_CHUCK = (
    Question(
        "drive.inertia",
        "Inertia of the chuck with jaws and spindle; or its mass and diameter",
        "weigh it and measure across: 2.5 kg 100 mm is taken as a solid cylinder",
        "It has to be sped up with the part. Mass times diameter squared over eight, or as the maker states it.",
        needed=True,
        filler="2000 g*cm^2",
        when=_chuck,
        reads=chuck_inertia,
        fills=("drive.inertia",),
    ),
    Question("drive.smallest_grip", "Thinnest diameter that the jaws hold", when=_chuck),
    Question("drive.largest_grip", "Thickest diameter that the jaws hold", when=_chuck),
)

_ROLLERS = (
    Question(
        "drive.roller_diameter",
        "Diameter of the driven roller, with its cover",
        "measure it with a caliper, not a rule: an error of 1 % is 1 % at every seam",
        needed=True,
        filler="25 mm",
        when=_rollers,
    ),
    Question(
        "drive.roller_diameter_uncertainty",
        "How well is that diameter known, plus-minus?",
        "what the caliper shows when it is measured at several places",
        when=_rollers,
    ),
    Question(
        "drive.centre_distance",
        "Between the axes of the two rows of rollers",
        "how far the part sinks between them, and which is the thinnest that does not fall through",
        needed=True,
        filler="40 mm",
        when=_rollers,
    ),
    Question(
        "drive.driven_rows",
        "How many of the two rows are driven?",
        "2 where a belt or gears turn both",
        usual=said("1"),
        choices=("1", "2"),
        when=_rollers,
    ),
    Question("drive.rollers", "How many rollers turn, driven and idle?", usual=said("2"), when=_rollers),
)

_DRIVER = (
    Question(
        "driver.microsteps",
        "Microsteps for a full step",
        "as the driver's switches, or its settings, have it",
        "A wrong switch turns the part twice or half as far. The procedure ratio of commissioning shows it.",
        usual=said("16"),
        guess=True,
        needed=True,
    ),
    Question(
        "driver.supply_voltage",
        "Supply voltage of the driver",
        "as the supply's label says; more of it leaves more torque at speed",
        needed=True,
        filler="24 V",
    ),
    Question(
        "driver.highest_step_rate",
        "The most steps per second that the driver takes in",
        "its datasheet says it; hardly ever what holds the axis back",
        usual=said("100 kHz"),
        guess=True,
        needed=True,
    ),
    Question(
        "driver.current",
        "Current that the driver is set to",
        "peak of the sine of one phase; not above the motor's rated current",
        "A driver that is set by its effective value says less: that times 1.41 is the peak.",
        usual=_most_of_rated,
        guess=True,
        needed=True,
    ),
    Question(
        "driver.standstill_current",
        "Which part of that current stays at standstill?",
        "1 where it all stays, 0.5 where a switch halves it; it holds the part while it is marked",
    ),
)

_AXIS = (
    Question(
        "support.tailstock",
        "Is there a tailstock?",
        "it carries the part's other end",
        usual=said("no"),
        choices=("yes", "no"),
        when=_chuck,
    ),
    Question(
        "support.largest_overhang_moment",
        "Which moment of a part that hangs out of the chuck may its bearings take?",
        "6 N*m is 6 kg of it 10 cm out; without it no part is turned that hangs out",
        "As the maker of the chuck or of its bearings states it. A tailstock takes most of it off.",
        when=_chuck,
    ),
    Question(
        "link.port",
        "Port of the controller",
        "Enter: it is said when it is used; find looks who answers at the ports",
        "Opening a port resets many boards: nothing may be moving.",
    ),
    Question(
        "link.dialect",
        "Which dialect does it speak?",
        "status-query: boards for machines; numbered-line: boards of printers",
        "find asks the board at its port.",
        usual=said("status-query"),
        guess=True,
        needed=True,
    ),
    Question("link.baud", "Its line speed (baud)", "what find found, or 115200", usual=said("115200")),
    Question(
        "link.highest_step_rate",
        "The most steps per second that the controller makes",
        "more only where it was measured on this board: some hang above",
        usual=_steps_of_board,
        guess=True,
        needed=True,
    ),
    Question(
        "axis.letter",
        "Letter of the axis that turns the part",
        "A where the board has a rotary axis; X or Y where its output was taken",
        usual=said("A"),
        choices=("X", "Y", "Z", "A", "B", "C"),
    ),
    Question(
        "axis.unit",
        "Unit that the controller counts this axis in",
        "degrees of the drive's shaft, or mm of roller surface",
        usual=said("deg"),
        choices=("deg", "mm"),
        when=_rollers,
    ),
    Question(
        "axis.home_switch",
        "Is there a home switch?",
        "with one a run can find its zero again after a power cut",
        usual=said("no"),
        choices=("yes", "no"),
    ),
    Question(
        "axis.travel",
        "Travel: endless, or its two ends from machine zero",
        "like -90 deg to 270 deg, where a cable or a stop ends it",
        usual=said("endless"),
        reads=travel,
    ),
)


def _kind_of_drive(text: str) -> str:
    from firmware_host.model.interview.reading import choose

    return choose(text, ("chuck", "rollers"))


def machine_questions(name: str) -> tuple[Question, ...]:
    """All of them, for a machine whose file is called `name`."""
    title = Question("name", "What do you call the machine?", "as reports name it", usual=said(name), needed=True)
    return (title, *_DRIVE, *_CHUCK, *_ROLLERS, *_DRIVER, *_AXIS)
