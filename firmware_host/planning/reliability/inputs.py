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
from firmware_host.planning.assume.assumption import Assumption, Value
from firmware_host.planning.assume.complete import complete
from firmware_host.planning.load.case import LoadCase
from firmware_host.units import Quantity

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

    A job's `[tolerances]` beat a machine's. Then come: the range of what nobody stated, the tabulated
    range of a named material or pair of surfaces
    (the checks use a material's middle and the pair's low end), `segments.diameter_uncertainty`, and
    `DEFAULT_TOLERANCES`.
    """
    given = setup.machine.tolerances.given() | setup.job.tolerances.given()
    ranges = _tabulated(setup) | _assumed(setup)
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
        "efficiency": bool(setup.machine.gearing),
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


def _assumed(setup: Setup) -> dict[str, UncertainInput]:
    """Ranges of what nobody stated, by name, where all data of that name are assumed.

    As factors of the unkind end, which the load has; where only some are assumed they stay at that end.
    """
    assumptions, found = complete(setup.machine, setup.job).assumptions, dict[str, UncertainInput]()
    for name in ("efficiency", "friction", "friction_torque", "rolling_resistance", "mass_offset"):
        of_name = [each for each in assumptions if each.path[-1] == name]
        if not of_name or any(value is not None for value in _stated(setup, name)):
            continue
        lowest, highest = min(map(_least_factor, of_name)), max(map(_largest_factor, of_name))
        sources = "; ".join(dict.fromkeys(each.source for each in of_name))
        found[name] = UncertainInput(name, FactorRange(lowest, highest), f"not stated: {sources}")
    return found


def _stated(setup: Setup, name: str) -> Iterator[object]:
    """What machine and job say of a datum, None where they don't, in every place that has it."""
    machine, part = setup.machine, setup.job.part
    for place in (*machine.gearing, machine.drive, machine.support, part):
        if name in type(place).model_fields and (place is not machine.support or machine.support.tailstock):
            yield getattr(place, name)


def _least_factor(assumption: Assumption) -> float:
    return min(1.0, _size(assumption.low) / _size(assumption.unkind))


def _largest_factor(assumption: Assumption) -> float:
    return max(1.0, _size(assumption.high) / _size(assumption.unkind))


def _size(value: Value) -> float:
    return value.si if isinstance(value, Quantity) else float(value)


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
