"""Densities of common materials, from a published table."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from firmware_host.mechanics.tables import TableRange, look_up

_SOURCE = "Engineering Guide CDA3000 (Lust Antriebstechnik), Appendix A, table 7.23"


def _row(low: float, high: float) -> TableRange:
    return TableRange(low, high, "kg/m^3", _SOURCE)


DENSITIES: Mapping[str, TableRange] = MappingProxyType(
    {
        "aluminium": _row(2700.0, 2700.0),
        "brass": _row(8400.0, 8900.0),
        "copper": _row(8960.0, 8960.0),
        "grey_cast_iron": _row(7600.0, 7600.0),
        "steel": _row(7860.0, 7860.0),
        "zinc": _row(7130.0, 7130.0),
    }
)
"""Density ranges in kg/m^3 by material."""


def density_of(material: str) -> TableRange:
    """The tabulated density (kg/m^3) of `material`; `InputError` if the table doesn't have it."""
    return look_up(DENSITIES, material, "density")
