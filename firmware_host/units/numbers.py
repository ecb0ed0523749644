"""What is wrong with a number: only the digits 0 to 9 with a decimal point are one, and nothing stands between them."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass


@dataclass(frozen=True)
class Wrong:
    """What is wrong with a text's number (words that follow the text), and how it is written; maybe empty."""

    problem: str
    remedy: str = ""


#: What some people put between the thousands.
_BETWEEN = " \u00a0\u2009\u202f'\u2019"
_GROUPED = re.compile(rf"[+-]?[0-9]{{1,3}}(?:[{_BETWEEN}][0-9]{{3}})+(?![0-9])")
_UNDERSCORED = re.compile(r"[+-]?[0-9]+(?:_+[0-9]+)+")
_MIXED = re.compile(r"([0-9]{1,9}) +([0-9]{1,9})/([0-9]{1,9})(?![0-9])")
_WITH_COMMA = re.compile(r"[+-]?[0-9.]*,[0-9.,]*")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_DOTTED = re.compile(r"[+-]?[0-9]*\.[0-9]*\.")
#: Dashes and the like that look as a sign does.
_DASHES = "\u2010\u2011\u2012\u2013\u2014\u2212\ufe63\uff0d"


def what_is_wrong(text: str) -> Wrong | None:
    """What is wrong with the number that `text` begins with; None if nothing is, or nothing that is known here."""
    if text[:1] and text[0] in _DASHES:
        return Wrong("begins with a dash that is no minus", _meant("-" + text[1:]))
    if foreign := [sign for sign in text if sign.isdecimal() and not sign.isascii()]:
        plain = "".join(str(unicodedata.decimal(sign)) if sign in foreign else sign for sign in text)
        return Wrong("has digits other than 0 to 9", _meant(plain))
    for form, problem, between in (
        (_UNDERSCORED, "has an underscore in its number", "_"),
        (_GROUPED, "has a gap in its number", _BETWEEN),
    ):
        if found := form.match(text):
            digits = "".join(sign for sign in found.group() if sign not in between)
            return Wrong(problem, _meant(digits + text[found.end() :]))
    if found := _MIXED.match(text):
        whole, above, below = map(int, found.groups())
        return Wrong(
            "has a whole number beside a fraction", _meant(f"{whole * below + above}/{below}{text[found.end() :]}")
        )
    if found := _WITH_COMMA.match(text):
        return Wrong("has a comma in its number", _without_comma(found.group(), text[found.end() :]))
    if _DOTTED.match(text):
        return Wrong("has more than one decimal point")
    return None


def _without_comma(number: str, rest: str) -> str:
    """A comma may stand for a decimal point, or between thousands: where both may be, both are told."""
    if number.count(",") > 1 or "." in number:
        return "Write a decimal point, and nothing between the thousands"
    point = number.replace(",", ".")
    if _THOUSANDS.fullmatch(number):
        return f'Write "{number.replace(",", "")}{rest}" or "{point}{rest}"'
    return _meant(point + rest)


def _meant(text: str) -> str:
    return f'Did you mean "{text}"?' if text.isascii() else ""
