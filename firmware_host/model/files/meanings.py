"""What each key of a user's file means and takes, in words: for the schemas' hover texts and the reference in the docs.

What a key means is said in its model, or here where the model's own words are enough for a programmer but not for a
reader.
"""

from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from firmware_host.model.plausible.ranges import RANGES
from firmware_host.units import KINDS, Quantity, QuantityField

#: What the keys mean that the models leave to their names, by "model.key".
MEANINGS = {
    "Job.version": "version of the file's form; this release knows 1",
    "Job.name": "shown in tables and records; names the run folder",
    "Job.part": "the round part",
    "Job.mark": "what is to be marked",
    "Job.window": "how far from the focal plane the laser still marks",
    "Job.segments": "how the mark is split; left out, into the fewest equal segments",
    "Job.index": "the move from segment to segment",
    "Job.gate": "how a pass is started and known to be done; left out, a person says so",
    "RoundPart.length": "along the axis",
    "ConePart.large_diameter": "at the thick end",
    "ConePart.small_diameter": "at the thin end",
    "SteppedPart.cylinders": "the cylinders, from one end to the other",
    "Cylinder.diameter": "outside",
    "Cylinder.length": "along the axis",
    "SideCylinder.diameter": "of the cylinder",
    "SideCylinder.length": "along its own axis",
    "RoundPart.density": "of the material; the mass follows from it if nothing was weighed",
    "RoundPart.keep_out": "arcs that must not be marked (a handle, a weld)",
    "TubePart.inner_diameter": "bore",
    "Arc.start": "where the arc begins, from the job's zero",
    "Arc.end": "where it ends, further in the positive direction; 325 deg to 35 deg crosses zero",
    "Mark.passes": "how often each segment is marked",
    "Mark.gaps": "gaps in the artwork, in which a seam cannot be seen",
    "ArtworkGap.width": "width of the gap along the arc",
    "Window.half_depth": "how far the surface may be from the focal plane, to either side",
    "Window.beam": "a beam from which the half-depth follows, instead of half_depth",
    "Window.focus": "crown: focal plane at the crown. balanced: half the sag below it, for wider segments",
    "Beam.wavelength": "of the laser",
    "SegmentRequest.count": "this many equal segments",
    "IndexRequest.speed": "highest speed of the part",
    "IndexRequest.acceleration": "acceleration of the part",
    "IndexRequest.finish": "where the part ends: as it stands, back at zero, or on to the next whole turn",
    "IndexRequest.approach": "one-side takes up lost motion before each mark; auto does so where the seams need it",
    "TimedGateOptions.duration": "time that each pass is given",
    "ExtensionGateOptions.kind": "name of a gate from a plug-in",
    "ExtensionGateOptions.options": "its options; the plug-in checks them",
    "Machine.version": "version of the file's form; this release knows 1",
    "Machine.name": "shown in tables and records",
    "Machine.motor": "name of a motor profile, path of a motor file, or a table with a motor's keys",
    "Machine.driver": "the driver between controller and motor",
    "Machine.gearing": "gearing stages, motor side first; none for a direct drive",
    "Machine.drive": "how the turning reaches the part",
    "Machine.support": "what carries the part besides the chuck",
    "Machine.swing": "natural frequency and damping as somebody measured them",
    "Machine.ramp": "the quickest ramp that lost no step when somebody tried it",
    "Machine.warming": "how the motor warms where it is mounted, as somebody measured it",
    "Machine.axis": "how the controller knows the axis",
    "Machine.link": "the serial line, and what the controller can do",
    "Driver.supply_voltage": "of the driver",
    "Driver.highest_step_rate": "the most steps per second the driver takes in",
    "Driver.smallest_pulse": "shortest step pulse the driver takes in",
    "GearingStage.name": "for people",
    "GearingStage.driven_teeth": "on the other side; teeth of a worm wheel",
    "GearingStage.ratio": 'instead of teeth: turns in per turn out, "60/20" or "40"',
    "GearingStage.efficiency": "part of the power that passes",
    "GearingStage.self_locking": "whether the load cannot turn it backwards",
    "Chuck.smallest_grip": "thinnest part the jaws hold",
    "Chuck.largest_grip": "thickest part the jaws hold",
    "Rollers.roller_diameter": "of every roller",
    "Rollers.driven_rows": "how many of the two rows the motor turns",
    "Support.tailstock": "whether a tailstock carries the free end",
    "Axis.letter": "the controller's letter for the axis",
    "Axis.home_switch": "whether a switch marks the axis's zero; then a run begins with homing",
    "Axis.travel": '"endless", or a table with the two ends of the travel',
    "Travel.lowest": "lower end, from machine zero",
    "Travel.highest": "upper end",
    "Link.baud": "line speed",
    "Link.dialect": "the language the controller speaks",
    "Motor.version": "version of the file's form; this release knows 1",
    "Motor.name": "for people",
    "Motor.full_steps_per_revolution": "give this or step_angle",
    "Motor.step_angle": "give this or full_steps_per_revolution",
    "Motor.detent_torque": "torque without current",
    "Motor.rotor_inertia": "of the rotor",
    "Motor.torque_curve": "pull-out torque against speed; or give resistance and inductance",
    "TorqueCurve.supply_voltage": "the voltage it was measured at",
    "TorqueCurve.current": "the phase current it was measured at; left out, the rated one",
    "TorqueCurve.points": "the points, speeds rising",
    "TorquePoint.speed": "of the motor's shaft",
    "TorquePoint.torque": "pull-out torque at that speed",
}

_RANGES = {key: row for row in RANGES for key in row.keys}
_BOUNDS = (("ge", "at least"), ("gt", "more than"), ("le", "at most"), ("lt", "less than"))
_PLAIN = {int: "whole number", float: "number", str: "text", bool: "`true` or `false`"}


def hover_text(model: type[BaseModel], key: str, path: str) -> str:
    """What an editor shows of a key: what it means, what it takes, and how large it usually is.

    `path`: the key as it stands below its file, with its tables before it.
    """
    field = model.model_fields[key]
    row = _RANGES.get(path)
    usual = f"Usually {row.low:,.10g} to {row.high:,.10g} {row.unit}".rstrip() + "." if row is not None else ""
    said = meaning(model, key)
    return " ".join(filter(None, (f"{said[:1].upper()}{said[1:]}.", f"Takes {takes(field)}.", usual)))


def meaning(model: type[BaseModel], key: str) -> str:
    """What a key means; empty where nobody has said so."""
    if text := model.model_fields[key].description:
        return text
    for ancestor in model.__mro__:
        if text := MEANINGS.get(f"{ancestor.__name__}.{key}"):
            return text
    return about(model)[0].lower() + about(model)[1:] if key == "kind" else ""


def about(model: type[BaseModel]) -> str:
    """The first sentence of the model's own description."""
    return (model.__doc__ or "").strip().partition("\n")[0].rstrip(".")


def literal(value: object) -> str:
    """A value as a file has it, in Markdown."""
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    return f'`"{value}"`' if isinstance(value, str) else f"`{value}`"


def takes(field: FieldInfo) -> str:
    """What may stand behind a key: the kind of value, an example of its unit, its bounds."""
    for note in field.metadata:
        if isinstance(note, QuantityField):
            return _quantity(note)
    words = _takes_annotation(field.annotation)
    bounds = [
        f"{word} {getattr(note, name)}" for note in field.metadata for name, word in _BOUNDS if hasattr(note, name)
    ]
    return ", ".join([words, *bounds])


def _quantity(note: QuantityField) -> str:
    kind = KINDS[note.kind]
    sign = {"positive": "", "non-negative": ", may be zero", "any": ", may be negative"}[note.sign]
    return f'{kind.name}, as `"{kind.example}"`{sign}'


def _takes_annotation(annotation: Any) -> str:
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        notes = [note for note in inner[1:] if isinstance(note, QuantityField)]
        return _quantity(notes[0]) if notes and inner[0] is Quantity else _takes_annotation(inner[0])
    if origin is Literal:
        return " or ".join(literal(value) for value in inner)
    if origin in (Union, UnionType):
        words = dict.fromkeys(_takes_annotation(part) for part in inner if part is not NoneType)
        return " or ".join(words)
    if origin is tuple:
        return f"list of {_takes_annotation(inner[0])}s"
    if origin is dict:
        return "table"
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return "table"
    return _PLAIN[annotation]


def models_in(annotation: Any) -> list[type[BaseModel]]:
    """The models that a key may hold."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if get_origin(annotation) in (Annotated, Union, UnionType, tuple):
        return [model for inner in get_args(annotation) for model in models_in(inner)]
    return []
