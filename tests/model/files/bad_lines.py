"""Lines that spoil a correct file, with the error each must give."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.errors import InputError, QuantityError, UnknownKeyError


@dataclass(frozen=True)
class Bad:
    """One spoilt place: what stood there, what stands there now, and the error it must give.

    The line named is that of the spoilt place; or that of the text `at`; or none if `at` is empty.
    """

    name: str
    old: str
    new: str
    kind: type[InputError]
    key: str
    words: str
    at: str | None = None


E, Q, U = InputError, QuantityError, UnknownKeyError

JOB_LINES = [
    Bad("wrong-unit", '"50 mm"', '"50 kg"', Q, "part.diameter", r"not a unit of length.*48\.2 mm"),
    Bad("unknown-unit", '"50 mm"', '"50 ell"', Q, "part.diameter", r"'ell' is not known.*48\.2 mm"),
    Bad("bare-number", '"50 mm"', "50", Q, "part.diameter", r"bare number 50.*unit.*48\.2 mm"),
    Bad("number-as-text", '"50 mm"', '"50"', Q, "part.diameter", r"'50' has no unit.*48\.2 mm"),
    Bad("zero-diameter", '"50 mm"', '"0 mm"', Q, "part.diameter", "must be greater than zero"),
    Bad("negative-diameter", '"50 mm"', '"-50 mm"', Q, "part.diameter", "must be greater than zero"),
    Bad("nan-diameter", '"50 mm"', '"nan mm"', Q, "part.diameter", "finite number"),
    Bad("infinite-window", '"0.5 mm"', '"inf mm"', Q, "window.half_depth", "finite number"),
    Bad("a-table-for-a-length", '"50 mm"', "{ mm = 50 }", Q, "part.diameter", "dict instead of a length"),
    Bad("missing-key", 'length = "100 mm"', "", E, "part.length", "this key is missing. Add it", "[part]"),
    Bad("missing-table", '[window]\nhalf_depth = "0.5 mm"', "", E, "window", "missing", ""),
    Bad("no-version", "version = 1", "", E, "version", "missing", ""),
    Bad("version-of-the-future", "version = 1", "version = 2", E, "version", "input should be 1.*found '2'"),
    Bad("version-true", "version = 1", "version = true", E, "version", "input should be 1.*found 'True'"),
    Bad("misspelt-key", 'diameter = "50', 'diametre = "50', U, "part.diametre", "Did you mean 'diameter'"),
    Bad("misspelt-table", "[window]", "[windw]", U, "windw", "Did you mean 'window'"),
    Bad("key-of-nothing", "passes = 2", "zzz = 2", U, "mark.zzz", "Known here: angle, arc, gaps, "),
    Bad("key-in-an-item", '"20 mm", width', '"20 mm", widht', U, "mark.gaps.1.widht", "mean 'width'"),
    Bad("unit-in-an-item", '"20 mm"', '"20 s"', Q, "mark.gaps.1.at", "not a unit of length"),
    Bad("text-for-a-count", "passes = 2", 'passes = "2"', E, "mark.passes", "whole number.*found '2'"),
    Bad("half-a-pass", "passes = 2", "passes = 1.5", E, "mark.passes", "whole number.*found '1.5'"),
    Bad("no-pass", "passes = 2", "passes = 0", E, "mark.passes", "greater than or equal to 1.*found '0'"),
    Bad("arc-and-angle", "passes = 2", 'angle = "90 deg"', E, "mark.arc", "either arc or angle", 'arc = "60'),
    Bad("neither-arc-nor-angle", 'arc = "60 mm"', "", E, "mark.arc", "either arc or angle", "[mark]"),
    Bad("more-than-a-turn", 'arc = "60 mm"', 'angle = "361 deg"', E, "mark.angle", "at most 360 deg"),
    Bad("no-wall", '"44 mm"', '"50 mm"', E, "part.inner_diameter", "50 mm must be less than diameter 50 mm"),
    Bad("no-mass", 'density = "7860 kg/m^3"', "", E, "part.mass", "mass.*density, or both", "[part]"),
    Bad("part-kind", 'kind = "tube"', 'kind = "cube"', E, "part", "kind = one of 'solid', 'tube'", "[part]"),
    Bad("a-word-for-a-table", '[gate]\nkind = "timed"\nduration = "2 s"', "gate = 3", U, "window.gate", "Known here"),
    Bad("negative-gate-time", '"2 s"', '"-2 s"', Q, "gate.duration", "greater than zero"),
    Bad("gate-without-time", 'duration = "2 s"', "", E, "gate.duration", "missing", "[gate]"),
    Bad("two-window-depths", 'half_depth = "0.5 mm"', "", E, "window.half_depth", "half_depth or beam", "[window]"),
    Bad(
        "incidence-90",
        "[gate]",
        'incidence_limit = "90 deg"\n[gate]',
        E,
        "window.incidence_limit",
        "less than 90 deg",
        "incidence_limit",
    ),
    Bad(
        "keep-out-of-one-place",
        "[mark]",
        '[[part.keep_out]]\nstart = "20 deg"\nend = "380 deg"\n[mark]',
        E,
        "part.keep_out.0.end",
        "380 deg is the same place as start 20 deg",
        "end =",
    ),
    Bad(
        "keep-out-of-more-than-a-turn",
        "[mark]",
        '[[part.keep_out]]\nstart = "20 deg"\nend = "400 deg"\n[mark]',
        E,
        "part.keep_out.0.end",
        "400 deg is more than one turn from start 20 deg",
        "end =",
    ),
    Bad("no-size", 'diameter = "50 mm"', "", E, "part.diameter", "give diameter, or circumference", "[part]"),
    Bad(
        "two-sizes",
        'diameter = "50 mm"',
        'diameter = "50 mm"\ncircumference = "157 mm"',
        E,
        "part.circumference",
        "give diameter or circumference, not both",
        "circumference =",
    ),
    Bad("a-wrong-size", 'diameter = "50 mm"', 'circumference = "157"', Q, "part.circumference", "has no unit"),
    Bad(
        "two-beginnings",
        "passes = 2",
        'start_angle = "0 deg"\nstart_edge = "5 deg"',
        E,
        "mark.start_edge",
        "not both",
        "start_edge =",
    ),
    Bad(
        "gaps-that-are-not-there",
        "[gate]",
        '[segments]\ncount = 3\nseams = "in-gaps"\n[gate]',
        E,
        "segments.seams",
        "at most one",
        "seams =",
    ),
    Bad("unknown-machine", '"machine.toml"', '"belt-chuk"', E, "machine", "'belt-chuk'.*Did you mean 'belt-chuck'"),
    Bad("empty-name", '"test job"', '""', E, "name", "at least 1 character"),
]

MACHINE_LINES = [
    Bad("current-above-rated", '"1.5 A"', '"2.5 A"', E, "driver.current", "2.5 A is above.*2 A.*lower"),
    Bad("ratio-by-zero", '"60/1"', '"60/0"', E, "gearing.1.ratio", "divides by zero.*60/0"),
    Bad("ratio-zero", '"60/1"', '"0"', E, "gearing.1.ratio", "greater than zero.*found '0'"),
    Bad("ratio-in-words", '"60/1"', '"sixty"', E, "gearing.1.ratio", "found 'sixty'"),
    Bad("ratio-as-a-number", '"60/1"', "60", E, "gearing.1.ratio", "text in quotes.*found '60'"),
    Bad(
        "teeth-and-ratio",
        'ratio = "60/1"',
        'ratio = "60"\ndriven_teeth = 60',
        E,
        "gearing.1.ratio",
        "driving_teeth and driven_teeth, or ratio",
        'ratio = "60"',
    ),
    Bad(
        "no-teeth",
        "driving_teeth = 20",
        "driving_teeth = 0",
        E,
        "gearing.0.driving_teeth",
        "greater than or equal to 1",
    ),
    Bad(
        "efficiency-above-one",
        "driven_teeth = 60",
        "driven_teeth = 60\nefficiency = 1.2",
        E,
        "gearing.0.efficiency",
        "less than or equal to 1.*1.2",
        "efficiency",
    ),
    Bad(
        "efficiency-nan",
        "driven_teeth = 60",
        "driven_teeth = 60\nefficiency = nan",
        E,
        "gearing.0.efficiency",
        "finite number|less than",
        "efficiency",
    ),
    Bad("chuck-in-mm", 'unit = "deg"', 'unit = "mm"', E, "axis.unit", 'no meaning for this drive; write unit = "deg"'),
    Bad("axis-letter", 'letter = "A"', 'letter = "Q"', E, "axis.letter", "'A', 'B' or 'C'.*found 'Q'"),
    Bad(
        "travel-word",
        'unit = "deg"',
        'unit = "deg"\ntravel = "short"',
        E,
        "axis.travel",
        "'endless'.*found 'short'",
        "travel =",
    ),
    Bad(
        "travel-without-end",
        'unit = "deg"',
        'unit = "deg"\ntravel = { lowest = "0 deg" }',
        E,
        "axis.travel.highest",
        "missing",
        "travel =",
    ),
    Bad(
        "travel-reversed",
        'unit = "deg"',
        'unit = "deg"\ntravel = { lowest = "9 deg", highest = "1 deg" }',
        E,
        "axis.travel.lowest",
        "9 deg must be less than highest 1 deg",
        "travel =",
    ),
    Bad("unknown-motor", '"motor.toml"', '"nema23-shrt"', E, "motor", "'nema23-shrt'.*Did you mean 'nema23-short'"),
    Bad("motor-as-a-number", '"motor.toml"', "5", E, "motor", "table with keys.*found '5'"),
    Bad("drive-kind", 'kind = "chuck"', 'kind = "wheel"', E, "drive", "kind = one of 'chuck', 'rollers'", "[drive]"),
    Bad(
        "microsteps-too-many",
        "microsteps = 16",
        "microsteps = 512",
        E,
        "driver.microsteps",
        "less than or equal to 256.*found '512'",
    ),
    Bad(
        "one-stage-for-a-list",
        '[[gearing]]\nname = "belt"\ndriving_teeth = 20\ndriven_teeth = 60\n\n[[gearing]]',
        "[gearing]",
        E,
        "gearing",
        "array",
        "[gearing]",
    ),
]

MOTOR_LINES = [
    Bad("torque-in-joules", '"1 N*m"', '"1 J"', Q, "holding_torque", r"energy, not of torque.*0\.45 N\*m"),
    Bad("ounce-inches", '"1 N*m"', '"140 oz*in"', Q, "holding_torque", "'oz\\*in' counts mass.*ozf"),
    Bad("mass-for-inertia", '"200 g*cm^2"', '"200 g"', Q, "rotor_inertia", "not a unit of inertia"),
    Bad("speeds-fall", '"300 rpm"', '"60 rpm"', E, "torque_curve.points", "speeds.*must rise", "points ="),
    Bad(
        "one-torque-point",
        '  { speed = "300 rpm", torque = "0.5 N*m" },\n',
        "",
        E,
        "torque_curve.points",
        "needs at least 2 items, has 1",
        "points =",
    ),
    Bad("torque-point-in-hertz", '"300 rpm"', '"5 Hz"', Q, "torque_curve.points.1.speed", 'write "rpm"'),
    Bad("steps-not-by-four", "= 200\n", "= 202\n", E, "full_steps_per_revolution", "multiple of 4"),
    Bad(
        "step-angle-not-whole",
        "full_steps_per_revolution = 200",
        'step_angle = "1.7 deg"',
        E,
        "step_angle",
        "1.7 deg does not divide",
    ),
    Bad(
        "steps-and-step-angle",
        'name = "test motor"',
        'name = "m"\nstep_angle = "1.8 deg"',
        E,
        "step_angle",
        "either full_steps_per_revolution or step_angle",
        "step_angle",
    ),
]
