"""Which unit was probably meant by a text that is none."""

from __future__ import annotations

import difflib
import re

from firmware_host.units.kinds import KINDS, Kind
from firmware_host.units.table import SIZES

#: Said with a unit of mass where a force is meant, or with the factors the other way round, joints taken out.
_CUSTOMARY = {
    "kgm": "kgf*m",
    "kgcm": "kgf*cm",
    "kgmm": "kgf*mm",
    "ozin": "ozf*in",
    "inoz": "ozf*in",
    "lbin": "lbf*in",
    "inlb": "lbf*in",
    "inlbf": "lbf*in",
    "lbft": "lbf*ft",
    "ftlb": "lbf*ft",
    "ftlbf": "lbf*ft",
    "kg": "kgf",
    "lb": "lbf",
    "oz": "ozf",
    "c": "degC",
    "celsius": "degC",
}
_MASSES = frozenset({"ounce", "pound", "gram", "kilogram"})
_PREFIXES = (("mega", "m"), ("milli", "m"), ("kilo", "k"), ("centi", "c"), ("micro", "u"), ("nano", "n"))
_JOINTS = re.compile(r"[\s*.\u00b7\u22c5\u00d7^()_-]+")
#: Signs that stand for letters: both signs for micro, raised digits, both signs for ohm, the sign for inches.
_SIGNS = str.maketrans(
    {
        "\u00b5": "u",
        "\u03bc": "u",
        "\u00b2": "2",
        "\u00b3": "3",
        "\u2126": "ohm",
        "\u03a9": "ohm",
        '"': "in",
        "\u2033": "in",
    }
)


def advice(text: str, kind: Kind, names: frozenset[str] = frozenset()) -> str:
    """What to write instead of `text`, no unit of the kind; `names` are the plain names of its units, if it has any."""
    if kind.name == "temperature" and "kelvin" in names:
        return 'A temperature counts from 0 degC; write "80 degC"'
    if kind.name == "angular speed" and "hertz" in names:
        return 'A frequency is no speed of turning; write "rpm" or "deg/s"'
    meant = _nearest(text, kind, like=not names)
    remedy = f'Did you mean "{meant}"?' if meant else ""
    if kind.name in ("torque", "force") and names & _MASSES:
        return f'{text!r} counts mass; write the force unit, "ozf", "lbf" or "kgf", or newtons. {remedy}'.rstrip()
    if remedy:
        return remedy
    other = _kind_of(text)
    if other is not None and other is not kind:
        return f'That is a unit of {other.name}; write {kind.one} like "{kind.example}"'
    return f'Units of {kind.name}: {", ".join(_shortest(kind))}; like "{kind.example}"'


def _nearest(text: str, kind: Kind, *, like: bool) -> str:
    """The unit of `kind` with the same letters, in other cases or a prefix as a word; with `like`, or similar ones."""
    wanted = _bare(text)
    customary = _CUSTOMARY.get(wanted.casefold(), "")
    if customary in SIZES[kind.name]:
        return customary
    spelt: dict[str, str] = {}
    for fold in (str, str.casefold, _shortened):
        for unit in SIZES[kind.name]:
            spelt.setdefault(fold(_bare(unit)), unit)
        if fold(wanted) in spelt:
            return spelt[fold(wanted)]
        other = _kind_of(text)
        if other is not None and any(_bare(unit) == wanted for unit in other.usual):
            return ""  # "Nm" is a torque and no slip for "nm"
    close = difflib.get_close_matches(_shortened(wanted), spelt, n=1, cutoff=0.6) if like else []
    return spelt[close[0]] if close else ""


def _kind_of(text: str) -> Kind | None:
    """The kind that has a unit of just these letters, if there is one."""
    wanted = _bare(text)
    return next((KINDS[name] for name, sizes in SIZES.items() if any(_bare(unit) == wanted for unit in sizes)), None)


def _shortest(kind: Kind) -> list[str]:
    """The kind's units, each once, in its shortest spelling."""
    by_size: dict[tuple[int, int], list[str]] = {}
    for unit, size in SIZES[kind.name].items():
        by_size.setdefault(size, []).append(unit)
    return [min((unit for unit in units if unit.isascii()), key=len) for units in by_size.values()]


def _bare(unit: str) -> str:
    return _JOINTS.sub("", unit.translate(_SIGNS))


def _shortened(unit: str) -> str:
    """In small letters, prefixes as their letter: "megam" may be meant for mm."""
    unit = unit.casefold()
    for word, letter in _PREFIXES:
        if unit.startswith(word):
            return letter + unit.removeprefix(word)
    return unit
