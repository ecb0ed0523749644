"""Lists that are made from the code each time the site is built: every option, the public API, errors and their fixes.

A line `<!-- list: options -->` of a page becomes that list. What a function takes and says of itself is read from it;
only the errors need words from here: an example of each, and what to do about it.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from pathlib import Path
from typing import Any, get_args

from faults import FAULTS
from typer.main import get_group

import firmware_host as fh
from firmware_host import errors

MARKER = re.compile(r"^<!-- list: (\w+) -->$", re.MULTILINE)


def on_page_markdown(text: str, **_: object) -> str:
    """Called by mkdocs for every page: fill in the lists."""
    return MARKER.sub(lambda found: LISTS[found[1]](), text)


def _in_a_cell(text: str) -> str:
    """As it stands in a table: one line, no bar, no tag."""
    return " ".join(text.split()).replace("|", "\\|").replace("<", "&lt;")


# --- commands -----------------------------------------------------------------------------------------------------


def commands() -> Iterator[tuple[str, Any]]:
    """Every command that does something, by its words, with what the command line knows of it."""
    from firmware_host.cli.commands import Commands
    from firmware_host.cli.main import app

    group = get_group(app)
    assert isinstance(group, Commands)
    for name in list(group.commands):
        group.load(name)
    yield from _leaves(group, ())


def _leaves(node: Any, path: tuple[str, ...]) -> Iterator[tuple[str, Any]]:
    inner = getattr(node, "commands", None)
    if inner is None:
        yield " ".join(path), node
        return
    for name, command in inner.items():
        yield from _leaves(command, (*path, name))


def options() -> str:
    """Every command with its arguments and options, as the command line has them."""
    parts: list[str] = []
    for words, command in commands():
        shown = [param for param in command.params if not getattr(param, "hidden", False) and param.name != "help"]
        arguments = [_metavar(param) for param in shown if param.param_type_name == "argument"]
        usage = " ".join(["circumstep", words, *arguments])
        told = (command.help or "").partition("\f")[0].replace("<", "&lt;")
        parts += [f"## {words}", "", f"`{usage}`", "", told, ""]
        if shown:
            parts += ["| | | without it |", "| --- | --- | --- |", *map(_option, shown), ""]
    return "\n".join(parts)


def _metavar(param: Any) -> str:
    name = param.metavar or param.name.upper()
    bare = f"[{name}]" if not param.required and not name.startswith("[") else name
    return f"{bare}..." if param.nargs == -1 and not bare.endswith("...") else bare


def _option(param: Any) -> str:
    if param.param_type_name == "argument":
        name = f"`{_metavar(param)}`"
    else:
        takes = "" if param.is_flag else f" {param.metavar or _kind(param)}"
        several = ", may be given again" if param.multiple else ""
        name = ", ".join(f"`{each}{takes}`" for each in param.opts) + several
    default = param.default
    without = "required" if param.required else "" if default in (None, "", False, (), []) else f"`{_plain(default)}`"
    return f"| {_in_a_cell(name)} | {_in_a_cell(param.help or '')} | {_in_a_cell(without)} |"


def _kind(param: Any) -> str:
    taken = param.type_descriptor.annotation
    taken = next(iter(get_args(taken)), taken)
    if issubclass(taken, Enum):
        return "/".join(_plain(each) for each in taken)
    return {int: "INTEGER", float: "NUMBER", Path: "FILE"}.get(taken, "TEXT")


def _plain(value: object) -> str:
    return str(value.value) if isinstance(value, Enum) else str(value)


# --- the public API -----------------------------------------------------------------------------------------------

_ROOMS = (
    ("model", "Files and what they describe"),
    ("planning", "Plans"),
    ("reporting", "In a notebook"),
    ("station", "Runs"),
    ("controller", "Controllers"),
    ("errors", "Errors"),
)


def api() -> str:
    """Every public name with its signature and its own words, by the room that it comes from."""
    by_room: dict[str, list[str]] = {room: [] for room, _ in _ROOMS}
    for name in sorted(fh.__all__):
        by_room[getattr(fh, name).__module__.split(".")[1]].append(name)
    parts: list[str] = []
    for room, title in _ROOMS:
        parts += [f"## {title}", ""]
        for name in by_room[room]:
            parts += [*_described(name, getattr(fh, name))]
    return "\n".join(parts)


def _described(name: str, thing: Any) -> Iterator[str]:
    yield from (f"### `{name}`", "")
    if inspect.isclass(thing):
        yield from (*_code(f"class {name}({_bases(thing)})"), *_words(thing))
        rows = [*_fields(thing), *_members(thing)]
        if rows:
            yield from ("| | |", "| --- | --- |", *rows, "")
    else:
        yield from (*_code(f"{name}{_signature(thing)}"), *_words(thing))


def _signature(function: Any) -> str:
    """As it is written in the code: types without quotes, functions by their names."""
    found = inspect.signature(function)
    named = [
        each
        if not callable(each.default) or each.default is each.empty
        else each.replace(default=_Bare(each.default.__name__))
        for each in found.parameters.values()
    ]
    return re.sub(r"'([^']+)'(?=[,)]| =|$)", r"\1", str(found.replace(parameters=named)))


class _Bare(str):
    """A text that shows itself without quotes."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)


def _bases(kind: type) -> str:
    return ", ".join(base.__name__ for base in kind.__bases__ if base is not object)


def _code(text: str) -> Iterator[str]:
    """A signature, folded so that no line is long."""
    text = text.replace("()", "") if text.startswith("class ") else text
    if len(text) > 76:
        head, _, rest = text.partition("(")
        inside, _, result = rest.rpartition(")")
        text = "\n".join([f"{head}(", *(f"    {each}," for each in _parted(inside)), f"){result}"])
    yield from ("```pycon", text, "```", "")


def _parted(inside: str) -> list[str]:
    """The arguments, parted at the commas that stand in no bracket."""
    parts, depth, start = [], 0, 0
    for place, sign in enumerate(inside):
        depth += (sign in "[({") - (sign in "])}")
        if sign == "," and depth == 0:
            parts.append(inside[start:place].strip())
            start = place + 1
    return [*parts, inside[start:].strip()]


def _words(thing: Any) -> Iterator[str]:
    for paragraph in (inspect.getdoc(thing) or "").split("\n\n"):
        yield from (" ".join(paragraph.split()).replace("<", "&lt;"), "")


def _fields(kind: type) -> Iterator[str]:
    if is_dataclass(kind) and not issubclass(kind, Exception):
        yield from (
            f"| `{_in_a_cell(f'{each.name}: {each.type}')}` | |" for each in fields(kind) if each.name[0] != "_"
        )


def _members(kind: type) -> Iterator[str]:
    """Methods and properties that the class itself has, with the first sentence of each."""
    own = kind.__name__
    for name, member in vars(kind).items():
        if name.startswith("_") or not inspect.getdoc(member):
            continue
        first = _in_a_cell((inspect.getdoc(member) or "").partition("\n\n")[0])
        bare = getattr(member, "__func__", member)
        if isinstance(member, property):
            yield f"| `{own}.{name}` | {first} |"
        elif inspect.isfunction(bare):
            taken = ", ".join(list(inspect.signature(bare).parameters)[1:])
            yield f"| `{own}.{name}({taken})` | {first} |"


# --- errors -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Told:
    """An error as the page tells it."""

    name: str
    what: str
    status: int
    message: str
    fix: str


def every_error() -> list[Told]:
    """Each error that is raised on purpose, in the order of `errors.py`; the root is none."""
    kinds = [
        kind
        for kind in vars(errors).values()
        if inspect.isclass(kind) and issubclass(kind, errors.FirmwareHostError) and kind is not errors.FirmwareHostError
    ]
    return [
        Told(
            kind.__name__,
            (inspect.getdoc(kind) or "").partition("\n\n")[0],
            kind.exit_status,
            FAULTS[kind].example.message(),
            FAULTS[kind].fix,
        )
        for kind in kinds
    ]


def errors_list() -> str:
    """Each error: what it says, for example, what to do, and the status that a command ends with."""
    parts: list[str] = []
    for each in every_error():
        message = "\n".join(f"    {line}" for line in _folded(f"error: {each.message}"))
        what = " ".join(each.what.split())
        parts += [f"### {each.name}", "", what, "", message, "", f"**Fix** {each.fix} Status {each.status}.", ""]
    return "\n".join(parts)


def _folded(text: str, width: int = 76) -> Iterator[str]:
    for line in text.splitlines():
        shown = ""
        for word in line.split(" "):
            if shown and len(shown) + 1 + len(word) > width:
                yield shown
                shown = f"  {word}"
            else:
                shown = f"{shown} {word}" if shown else word
        yield shown


LISTS: dict[str, Callable[[], str]] = {"options": options, "api": api, "errors": errors_list}
