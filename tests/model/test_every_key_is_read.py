"""Every key of every file is read by something outside its own model: a key without effect misleads whoever writes it.

By name: an attribute or a text of the key's name, in the package, other than in the checks of the model itself.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import firmware_host
from firmware_host.model.base import Described
from firmware_host.model.files.schemas import SCHEMA_KINDS

PACKAGE = Path(firmware_host.__file__).parent

FOR_THE_FORM = {"version"}
"""Checked when a file is read: there is one so far."""
AS_A_WHOLE = {"options"}
"""Handed to a gate of another package as they are."""


def models(of: type[Described]) -> Iterator[type[Described]]:
    for each in of.__subclasses__():
        yield each
        yield from models(each)


def is_check(node: ast.AST) -> bool:
    """Whether it is a check of a model, which refuses a value but gives it no effect."""
    return isinstance(node, ast.FunctionDef) and any(
        "validator" in ast.unparse(decorator) for decorator in node.decorator_list
    )


def read_names(path: Path) -> set[str]:
    found: set[str] = set()
    waiting: list[ast.AST] = [ast.parse(path.read_text("utf-8"))]
    while waiting:
        node = waiting.pop()
        if is_check(node):
            continue
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Load):
            found.add(node.attr)
        if (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and not path.is_relative_to(PACKAGE / "model")
        ):
            found.add(node.value)
        waiting.extend(ast.iter_child_nodes(node))
    return found


def test_every_key_of_every_file_is_read() -> None:
    assert set(SCHEMA_KINDS)  # the models are loaded
    read = set().union(*(read_names(path) for path in PACKAGE.rglob("*.py")))
    unread = {
        f"{model.__name__}.{key}"
        for model in models(Described)
        if model.__module__.startswith("firmware_host.")
        for key in model.model_fields
        if key not in read | FOR_THE_FORM | AS_A_WHOLE
    }
    assert unread == set()
