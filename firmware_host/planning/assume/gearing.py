"""What a gearing stage is assumed to be where its maker did not say: by its kind."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType

from firmware_host.mechanics.tables import TableRange
from firmware_host.model.machine.gearing import GearingStage
from firmware_host.planning.assume.assumption import COMMON, MEMORY, Assumption, Together, quantity, solid_steel_inertia

_CDA = "Engineering Guide CDA3000 (Lust Antriebstechnik), tables 2.15 and 2.16"

UNKNOWN_STAGE = "unknown"
LOCKING_WORM = "self-locking worm"
FREE_WORM = "worm that is not self-locking"

EFFICIENCIES: Mapping[str, TableRange] = MappingProxyType(
    {
        "toothed-belt": TableRange(0.95, 0.98, "", f"toothed belts, handbook tables, {MEMORY}"),
        "spur-gears": TableRange(0.93, 0.98, "", f"one pair of spur gears, {_CDA}"),
        LOCKING_WORM: TableRange(0.2, 0.5, "", f"self-locking worms, handbook tables, {MEMORY}"),
        FREE_WORM: TableRange(0.5, 0.9, "", f"worms that are not self-locking, handbook tables, {MEMORY}"),
        "worm": TableRange(0.2, 0.9, "", f"worms of either sort, handbook tables, {MEMORY}"),
        "planetary": TableRange(0.85, 0.97, "", f"planetary gears, {MEMORY}"),
        "coupling": TableRange(0.98, 1.0, "", f"couplings, {MEMORY}"),
        UNKNOWN_STAGE: TableRange(0.2, 1.0, "", "any kind of stage: state its kind"),
    }
)
"""Part of the power that passes a stage."""

LOST_MOTIONS: Mapping[str, TableRange] = MappingProxyType(
    {
        "toothed-belt": TableRange(0.0, 0.1, "deg", f"toothed belts, {COMMON}"),
        "spur-gears": TableRange(0.0, 40 / 60, "deg", f"at most 40 arcmin, standard gears, {_CDA}"),
        "worm": TableRange(0.0, 40 / 60, "deg", f"at most 40 arcmin, standard gears, {_CDA}"),
        "planetary": TableRange(0.0, 10 / 60, "deg", f"at most 10 arcmin, planetary gears, {_CDA}"),
        "coupling": TableRange(0.0, 0.1, "deg", f"couplings, {COMMON}"),
        UNKNOWN_STAGE: TableRange(0.0, 1.0, "deg", f"any kind of stage, {COMMON}: state its kind"),
    }
)
"""Lost motion (backlash) at the driven shaft, in degrees."""

DRIVING_SHARE, DRIVEN_SHARE = 1.0, 3.0
"""Most that the wheels count at the motor, over the rotor's own inertia: common practice, no source."""


def gearing_assumptions(stages: tuple[GearingStage, ...], rotor_inertia: float) -> Iterator[Assumption]:
    """What the stages leave open; `rotor_inertia` kg m^2, the largest that the motor may have."""
    names = [stage.name for stage in stages]
    turns = 1.0
    for number, stage in enumerate(stages):
        label = stage.name if names.count(stage.name) == 1 and "." not in stage.name else str(number)
        yield from _stage(stage, number, f"gearing.{label}", rotor_inertia * turns**2)
        turns *= float(stage.reduction)


def _stage(stage: GearingStage, number: int, key: str, rotor_inertia: float) -> Iterator[Assumption]:
    """Of one stage; `rotor_inertia` kg m^2 as the stage's driving shaft feels it."""
    if stage.efficiency is None:
        row = EFFICIENCIES[efficiency_row(stage)]
        path = ("gearing", number, "efficiency")
        yield Assumption(f"{key}.efficiency", path, row.low, row.high, Together.EFFICIENCY, row.source, True)
    if stage.lost_motion is None:
        row = LOST_MOTIONS[stage.kind or UNKNOWN_STAGE]
        ends = quantity(row.low, row.unit, "angle"), quantity(row.high, row.unit, "angle")
        yield Assumption(f"{key}.lost_motion", ("gearing", number, "lost_motion"), *ends, Together.ALONE, row.source)
    wheels = (
        ("driving_inertia", stage.driving_inertia, DRIVING_SHARE, stage.driving_pitch_diameter),
        (
            "driven_inertia",
            stage.driven_inertia,
            DRIVEN_SHARE * float(stage.reduction) ** 2,
            stage.driven_pitch_diameter,
        ),
    )
    for name, stated, share, diameter in wheels:
        if stated is not None:
            continue
        most, source = share * rotor_inertia, f"up to {share:.4g} times the rotor's inertia, {COMMON}"
        if diameter is not None and stage.width is not None:
            most = solid_steel_inertia(diameter, stage.width.si)
            source = "nothing to a wheel of solid steel of its diameter and width"
        ends = quantity(0.0, "kg*m^2", "inertia"), quantity(most, "kg*m^2", "inertia")
        yield Assumption(f"{key}.{name}", ("gearing", number, name), *ends, Together.INERTIA, source)


def efficiency_row(stage: GearingStage) -> str:
    """Which row of `EFFICIENCIES` a stage belongs to."""
    if stage.kind == "worm" and stage.self_locking is not None:
        return LOCKING_WORM if stage.self_locking else FREE_WORM
    if stage.kind is None:
        return LOCKING_WORM if stage.self_locking else UNKNOWN_STAGE
    return stage.kind
