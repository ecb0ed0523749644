"""The units of `units.txt`, read by pint: the only file that knows pint, and imported only for what is not usual."""

from __future__ import annotations

import re
import tokenize
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import pint

from firmware_host.units.kinds import KINDS, PI, Kind

_DEFINITIONS = Path(__file__).with_name("units.txt")
_NAME = re.compile(r"[A-Za-zµμΩ°_]+")
#: A name, a power, what joins two, a bracket.
_TOKEN = re.compile(rf"{_NAME.pattern}|(?:\^|\*\*) ?-?\d|[*/()1]")
#: What pint raises for a text that is no unit.
_NO_UNIT = (
    pint.errors.PintError,
    AttributeError,
    SyntaxError,
    TypeError,
    ValueError,
    ZeroDivisionError,
    tokenize.TokenError,
)
_ENERGY_UNITS = frozenset({"joule", "kilojoule", "watt_hour", "watt", "kilowatt", "volt", "millivolt"})


class NotAUnitError(ValueError):
    """A text that is no unit of the kind wanted: `problem` says why; `names` are the plain names of its units."""

    def __init__(self, problem: str, names: frozenset[str] = frozenset()) -> None:
        super().__init__(problem)
        self.problem, self.names = problem, names


@cache
def _registry() -> pint.UnitRegistry[Any]:
    lines = [line for line in _DEFINITIONS.read_text("utf-8").splitlines() if line and not line.startswith("#")]
    two_pi = f"two_pi = {2 * PI.numerator} / {PI.denominator}"
    registry: pint.UnitRegistry[Any] = pint.UnitRegistry([two_pi, *lines], non_int_type=Fraction, cache_folder=None)
    return registry


@cache
def all_names() -> dict[str, str]:
    """Every name and spelling of a unit, in the order of the definitions, with the unit's plain name."""
    names: dict[str, str] = {"°": "degree", "°C": "degree_celsius"}
    for line in _DEFINITIONS.read_text("utf-8").splitlines():
        if line and not line.startswith("#"):
            name, _, *spellings = (each.strip() for each in line.split("="))
            names |= dict.fromkeys((name, *spellings), name)
    return names


def size_of(text: str, kind: Kind) -> Fraction:
    """How many of the kind's own units one `text` is, exactly: `text` has the form of a product of named units.

    Raises `NotAUnitError` for an unknown name, a product that cancels in part, and a unit of another kind.
    """
    known = all_names()
    written = _NAME.findall(text)
    unknown = [name for name in written if name not in known]
    if unknown:
        which = f" ({unknown[0]!r})" if unknown[0] != text else ""
        raise NotAUnitError(f"unit {text!r} is not known{which}")
    names = frozenset(known[name] for name in written)
    registry = _registry()
    try:
        unit, wanted = registry.parse_units(text), registry.parse_units(kind.unit)
    except _NO_UNIT as error:
        raise NotAUnitError(f"unit {text!r} is not known", names) from error
    _refuse_what_cancels(text)
    if unit.dimensionality != wanted.dimensionality:
        raise NotAUnitError(f"{text!r} is not a unit of {kind.name}", names)
    if kind.name == "torque" and names & _ENERGY_UNITS:
        raise NotAUnitError(f"{text!r} is a unit of energy, not of torque", names)
    return Fraction(registry.convert(Fraction(1), unit, wanted))


def _refuse_what_cancels(text: str) -> None:
    """A length over a length is a bare number in disguise: whoever writes one means something else."""
    registry = _registry()
    sides: dict[bool, list[tuple[str, Any]]] = {True: [], False: []}
    for name, above in _factors(text):
        sides[above].append((name, registry.get_dimensionality(all_names()[name])))
    for name, dimension in sides[True]:
        for other, its_dimension in sides[False]:
            if dimension == its_dimension:
                raise NotAUnitError(f"in {text!r}, {name} and {other} cancel")


def _factors(text: str) -> Iterator[tuple[str, bool]]:
    """The names in a product of units, each with whether it stands above the line of the fraction."""
    tokens = _TOKEN.findall(text)
    outer, below = [False], False
    for token, after in zip(tokens, [*tokens[1:], ""], strict=True):
        if token == "(":
            outer.append(outer[-1] != below)
        elif token == ")":
            outer.pop()
        elif _NAME.fullmatch(token):
            yield token, (outer[-1] != below) == ("-" in after)
        below = token == "/"


def usual_sizes() -> dict[str, dict[str, tuple[int, int]]]:
    """What `table.py` holds: of each kind, its usual units with their sizes as numerator and denominator."""
    sizes: dict[str, dict[str, tuple[int, int]]] = {}
    for kind in KINDS.values():
        sizes[kind.name] = {}
        for text in (*kind.usual, *all_names()):
            try:
                size = size_of(text, kind)
            except NotAUnitError:
                continue
            sizes[kind.name][text] = (size.numerator, size.denominator)
    return sizes
