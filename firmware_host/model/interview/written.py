"""The file that the answers make: each value with what it means above it, and where it came from behind it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from firmware_host.model.files.profiles import write_new
from firmware_host.model.interview.fields import leaves
from firmware_host.model.interview.interview import Interview
from firmware_host.model.interview.question import Given

_ORIGINS = {
    "answered": "answered",
    "usual": "usual",
    "assumed": "assumed, a usual value: measure it, or look it up",
    "found": "asked of the controller",
    "not known": "",
}


def text_of_file(interview: Interview, today: date) -> str:
    """The whole file. Raises `InputError` where it would not load."""
    import tomlkit  # takes a while, and only this needs it

    interview.described()
    tables, meanings = interview.tables(), _meanings(interview)
    origins = dict(_origins(interview.given))
    document = tomlkit.document()
    document.add(tomlkit.comment(f"{interview.kind[:1].upper()}{interview.kind[1:]}, described {today} by answers."))
    document.add(tomlkit.comment("Behind each value: where it is from. What is not stated is planned with as unkind."))
    _fill(document, tables, "", meanings, origins)
    return tomlkit.dumps(document)


def write_file(interview: Interview, today: date) -> Path:
    """Write it to its target, which no file may be yet; returns that. Raises `InputError`; nothing is written then."""
    text, target = text_of_file(interview, today), interview.target
    write_new(target, text)
    return target


def _meanings(interview: Interview) -> dict[str, str]:
    """What each key means, by its schema, else by the words that it was asked for with."""
    asked = {each.key: each.asks if _is_phrase(each.asks) else "" for each in interview.questions()}
    found = leaves(type(interview.described()), interview.tables())
    return {key: field.description or asked.get(key, "") for key, field in found}


def _is_phrase(asks: str) -> bool:
    """Whether the words of a question say what the value is; a whole question does not."""
    return not asks.startswith(("What", "Which", "Is ", "How", "For ", "Who", "After", "Of "))


def _origins(given: Mapping[str, Given]) -> Iterator[tuple[str, str]]:
    for question, each in given.items():
        for key, value in each.values.items():
            origin = _ORIGINS[each.how]
            if (key != question and question not in key) or (key == "drive.inertia" and value != each.text):
                origin = f"{origin}: {each.text}"
            yield key, origin
            if key == "gearing":
                yield from ((f"gearing.{number}", f"{origin}: {each.text}") for number in range(len(value)))


def _fill(table: Any, values: Mapping[str, Any], above: str, meanings: Mapping[str, str], origins: Any) -> None:
    """Values first, tables behind them, in their order in the schema."""
    import tomlkit

    order = [*meanings]
    for key in sorted(values, key=lambda key: (_is_table(values[key]), _place(f"{above}{key}", order))):
        value, whole = values[key], f"{above}{key}"
        if isinstance(value, dict) and whole != "axis.travel":
            below = tomlkit.table()
            _fill(below, value, f"{whole}.", meanings, origins)
            table.add(tomlkit.nl()) if not above else None
            table.add(key, below)
        elif key == "gearing":
            if value:
                table.add(tomlkit.nl())
                table.add(key, _stages(value, meanings, origins))
        else:
            if meanings.get(whole):
                table.add(tomlkit.comment(meanings[whole]))
            item = _item(value)
            if origin := origins.get(whole, origins.get(above.rstrip("."), "")):
                item.comment(origin)
            table.add(key, item)


def _place(key: str, order: Sequence[str]) -> int:
    """Where a key, or the first below it, stands in the schema; keys that it leaves out (kind, version) come first."""
    return next((place for place, other in enumerate(order) if f"{other}.".startswith(f"{key}.")), -1)


def _is_table(value: Any) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and value != [] and isinstance(value[0], dict))


def _stages(stages: list[dict[str, Any]], meanings: Mapping[str, str], origins: Any) -> Any:
    import tomlkit

    array = tomlkit.aot()
    for number, stage in enumerate(stages):
        below = tomlkit.table()
        _fill(below, stage, f"gearing.{number}.", meanings, origins)
        array.append(below)
    return array


def _item(value: Any) -> Any:
    """A value as a file holds it; a list of tables with a line for each."""
    import tomlkit

    if isinstance(value, list):
        array = tomlkit.array()
        for each in value:
            array.append(_inline(each) if isinstance(each, dict) else each)
        return array.multiline(_is_table(value))
    return _inline(value) if isinstance(value, dict) else tomlkit.item(value)


def _inline(values: Mapping[str, Any]) -> Any:
    import tomlkit

    table = tomlkit.inline_table()
    table.update(values)
    return table
