"""Which data of a job are uncertain, within what, and who says so."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from firmware_host.mechanics.body.density import DENSITIES
from firmware_host.mechanics.contact.friction import STATIC_FRICTION
from firmware_host.mechanics.uncertainty import FactorRange
from firmware_host.model.files.loading import Setup
from firmware_host.model.part.part import MeasuredPart
from firmware_host.planning.load.case import LoadCase

COMMON = "common practice, no source"

DEFAULT_TOLERANCES: Mapping[str, float] = MappingProxyType(
    {
        "torque": 0.10,
        "supply_voltage": 0.05,
        "efficiency": 0.10,
        "friction": 0.20,
        "friction_torque": 0.50,
        "rolling_resistance": 0.50,
        "mass": 0.02,
        "density": 0.03,
        "inertia": 0.05,
        "diameter": 0.005,
        "mass_offset": 0.50,
    }
)
"""Plus-minus part of each value where nobody states another and no table gives a range: common practice, no source."""


@dataclass(frozen=True, slots=True)
class UncertainInput:
    """One datum that is drawn: `name` as in `[tolerances]`, its value times a factor of `factors`, and who says so."""

    name: str
    factors: FactorRange
    source: str


def uncertain_inputs(setup: Setup, load: LoadCase) -> tuple[UncertainInput, ...]:
    """The uncertain data that the motor's torque or the grip of this job depends on, in the order of `Tolerances`.

    A job's `[tolerances]` beat a machine's. Then come: the tabulated range of a named material or pair of surfaces
    (the checks use a material's middle and the pair's low end), `segments.diameter_uncertainty`, and
    `DEFAULT_TOLERANCES`.
    """
    given = setup.machine.tolerances.given() | setup.job.tolerances.given()
    ranges = _tabulated(setup)
    found = []
    for name in _involved(setup, load):
        if name in given:
            found.append(UncertainInput(name, FactorRange.around(given[name]), "as stated"))
        elif name in ranges:
            found.append(ranges[name])
        else:
            found.append(UncertainInput(name, FactorRange.around(DEFAULT_TOLERANCES[name]), COMMON))
    return tuple(found)


def _involved(setup: Setup, load: LoadCase) -> Iterator[str]:
    part, rollers = setup.job.part, setup.machine.drive.cradle is not None
    measured = isinstance(part, MeasuredPart)
    involved = {
        "torque": True,
        "supply_voltage": True,
        "efficiency": any(stage.efficiency is not None for stage in setup.machine.gearing),
        "friction": rollers,
        "friction_torque": load.friction_torque > 0,
        "rolling_resistance": load.trough is not None and load.trough.lever_arm > 0,
        "mass": part.mass is not None,
        "density": part.mass is None,
        "inertia": measured,
        "diameter": setup.machine.drive.rolls_on_part or not measured,
        "mass_offset": load.imbalance_torque > 0,
    }
    yield from (name for name, counts in involved.items() if counts)


def _tabulated(setup: Setup) -> dict[str, UncertainInput]:
    """Ranges that stand in a table or in another key of the files, by name."""
    part, cradle, found = setup.job.part, setup.machine.drive.cradle, {}
    row = DENSITIES.get(part.material or "")
    if row is not None and row.low < row.high:
        factors = FactorRange(row.low / row.middle, row.high / row.middle)
        found["density"] = UncertainInput("density", factors, f"{part.material}, {row.source}")
    row = STATIC_FRICTION.get(cradle.surfaces or "") if cradle is not None and cradle.friction is None else None
    if row is not None:
        factors = FactorRange(1.0, row.high / row.low)
        found["friction"] = UncertainInput("friction", factors, f"range of the tabulated pair, {row.source}")
    known = setup.job.segments.diameter_uncertainty
    if known is not None and known.exact < part.diameter.exact:
        factors = FactorRange.around(float(known.exact / part.diameter.exact))
        found["diameter"] = UncertainInput("diameter", factors, "segments.diameter_uncertainty")
    return found
