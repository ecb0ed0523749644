"""Collects every text that a person may read into a gettext template, so that it can be translated.

`python docs/messages.py FILE.pot` writes it. The source is read and not run: a text is a literal with a blank and a
word of ordinary language; a single word is one where its place says that it is shown (a label, a heading). What is
filled in stands as `{name}`; what one expression adds up is one message. The words of HTML pages come from `markup.py`.

`python docs/messages.py FILE.po COMMAND ...` runs a command with the messages that FILE.po translates: the source is
rewritten as it is imported, so that a translator sees each message where it is printed. The package does not know.
"""

from __future__ import annotations

import ast
import re
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from importlib.machinery import PathFinder, SourceFileLoader
from pathlib import Path
from typing import Any, TypeAlias, cast

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po
from markup import words_of_markup

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "firmware_host"

Place: TypeAlias = "tuple[str, int]"
Told: TypeAlias = Callable[[str, int], str]
"""What to write in the place of a text; its line."""

#: What a board says to a program, and a table of units by name: no person reads them.
_WIRE = re.compile(r"simulator/(status_query|numbered_line)/\w+\.py$|units/table\.py$")

#: Here a word that is chosen by a condition is put on a screen.
_SCREENS = re.compile(r"firmware_host/(cli|reporting|page|commissioning)/")

#: Where a single word is shown: what is called, and which of its arguments.
_SHOWN: Mapping[str, tuple[int, ...]] = {
    "Figure": (1,),
    "Column": (1,),
    "Table": (1,),
    "Section": (1,),
    "Cell": (1,),
    "_told": (1,),
    "_number": (1,),
    "counted": (1, 2),
    "StoppedError": (0, 1, 2),
    "Profile": (3,),
}
_SHOWN_BY_NAME = {"label", "title", "words", "remedy", "problem", "text"}
_SHOWN_CLASSES = {"Verdict"}
_SHOWN_ALWAYS = {"and", "or"}
_SHOWN_NEVER = {"DejaVu Sans", "use strict", "station page token"}
_NOT_SHOWN_BY_NAME = {"loc", "strict", "pattern"}
_FOR_PROGRAMS = {"compile", "fullmatch", "TypeVar", "cast", "search", "sub", "strftime", "import_module"} | {
    "Kind",
    "QuantityField",
    "parse_quantity",
}
_SLOT = re.compile(r"\{(\w*)\}")
_WORD = re.compile(r"(?<![\w.'-])(?:[A-Z][a-z]+|[a-z]{2,})(?![\w'(-])")
_QUANTITY = re.compile(r"[\d.]+ \S+")


def collected() -> dict[str, list[Place]]:
    """Every text with the places where it stands, in the order of the files."""
    found: defaultdict[str, list[Place]] = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*")):
        name = path.relative_to(ROOT).as_posix()
        if path.suffix == ".py" and not _WIRE.search(name):
            texts = words_of_source(path.read_text(encoding="utf-8"), name)
        elif path.suffix in {".jinja", ".html", ".js"}:
            texts = words_of_markup(path.read_text(encoding="utf-8"), path.suffix)
        else:
            continue
        for line, text in texts:
            found[text].append((name, line))
    return dict(found)


def catalogue() -> Catalog:
    """All of it as a gettext template."""
    made = Catalog(project="circumstep", charset="utf-8", fuzzy=False)
    for text, places in collected().items():
        made.add(text, locations=places, flags=["python-brace-format"] if _SLOT.search(text) else [])
    return made


def words_of_source(source: str, name: str) -> list[tuple[int, str]]:
    """The texts of a Python file, each with its line. `name`: where it lies, from the top of the tree."""
    found: list[tuple[int, str]] = []

    def told(text: str, line: int) -> str:
        found.append((line, text))
        return text

    rewritten(source, name, told)
    return sorted(found)


def rewritten(source: str | bytes, name: str, told: Told) -> ast.Module:
    """The file with what `told` says in the place of each of its texts."""
    return cast("ast.Module", Messages(told, name).visit(ast.parse(source)))


class Messages(ast.NodeTransformer):
    """Walks a file and puts in the place of each text what `told` says; what is filled in stays as it is."""

    def __init__(self, told: Told, name: str) -> None:
        self._told = told
        self._models = "/model/" in name  # what a model says of itself is shown in the schemas
        self._choices = _SCREENS.search(name) is not None
        self._single = False

    def visit_Expr(self, node: ast.Expr) -> ast.AST:
        return node if isinstance(node.value, ast.Constant) else self.generic_visit(node)  # a docstring

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        if self._models and (about := ast.get_docstring(node)):
            self._replaced(about.partition("\n")[0].rstrip("."), node.lineno)
        before, self._single = self._single, node.name in _SHOWN_CLASSES
        self.generic_visit(node)
        self._single = before
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        node.returns, kept = None, node.returns  # an annotation is for programs, but for what is called in it
        self.generic_visit(node)
        node.returns = kept
        if node.decorator_list and ".command(" in ast.unparse(node.decorator_list[0]) and ast.get_docstring(node):
            node.body[0] = ast.Expr(cast("ast.expr", self.visit(cast("ast.Expr", node.body[0]).value)))  # its help
            ast.fix_missing_locations(ast.copy_location(node.body[0], node))
        return node

    def visit_arg(self, node: ast.arg) -> ast.AST:
        self._calls_in(node.annotation)
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        self._calls_in(node.annotation)
        is_text = isinstance(node.value, ast.Constant | ast.JoinedStr | ast.BinOp)
        if node.value is not None and not (is_text and "TypeAlias" in ast.unparse(node.annotation)):
            node.value = self.visit(node.value)
        return node

    def visit_MatchValue(self, node: ast.MatchValue) -> ast.AST:
        return node

    def visit_Call(self, node: ast.Call) -> ast.AST:
        called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if called in _FOR_PROGRAMS:
            return node
        node.func = self.visit(node.func)
        shown = _SHOWN.get(called, ())
        node.args = [self._inside(part, number in shown) for number, part in enumerate(node.args)]
        for word in (each for each in node.keywords if each.arg not in _NOT_SHOWN_BY_NAME):
            word.value = self._inside(word.value, word.arg in _SHOWN_BY_NAME)
        return node

    def visit_IfExp(self, node: ast.IfExp) -> ast.AST:
        node.test = self._inside(node.test, False)
        node.body, node.orelse = (
            self._inside(node.body, self._single or self._choices),
            self._inside(node.orelse, self._single or self._choices),
        )
        return node

    def visit_Dict(self, node: ast.Dict) -> ast.AST:
        node.keys = [key and self._inside(key, False) for key in node.keys]
        by_choice = self._choices and all(isinstance(key, ast.Attribute) for key in node.keys)  # a word for each
        node.values = [self._inside(value, by_choice) for value in node.values]
        return node

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        node.left = self._inside(node.left, False)  # what it is compared with is for programs
        return node

    def visit_Subscript(self, node: ast.Subscript) -> ast.AST:
        node.value = self._inside(node.value, self._single)
        self._calls_in(node.slice)  # as in `Annotated[str, Option(help="...")]`
        return node

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        if isinstance(node.value, str):
            return ast.copy_location(ast.Constant(self._replaced(node.value, node.lineno)), node)
        return node

    def visit_JoinedStr(self, node: ast.JoinedStr) -> ast.AST:
        return self._whole(node)

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        if isinstance(node.op, ast.Add) and any(isinstance(part, str) for part in _parts(node)):
            return self._whole(node)
        return self.generic_visit(node)

    def _calls_in(self, node: ast.expr | None) -> None:
        for each in ast.walk(node) if node is not None else ():
            if isinstance(each, ast.Call):
                self._inside(each, False)

    def _inside(self, node: ast.expr, single: bool) -> ast.expr:
        before, self._single = self._single, single
        node = cast("ast.expr", self.visit(node))
        self._single = before
        return node

    def _whole(self, node: ast.expr) -> ast.AST:
        text, slots = _with_slots(_parts(node))
        text = self._replaced(text, node.lineno)
        for slot in slots.values():
            slot.value = self._inside(slot.value, True)  # "is" or "are", put into a sentence
        values: list[ast.expr] = []
        for number, piece in enumerate(_SLOT.split(text)):
            whole = slots.get(piece) if number % 2 else None
            values.append(whole or ast.Constant(f"{{{piece}}}" if number % 2 else piece))
        made = ast.JoinedStr(values)
        return ast.fix_missing_locations(ast.copy_location(made, node))

    def _replaced(self, text: str, line: int) -> str:
        if not (self._single or text in _SHOWN_ALWAYS or re.search(r"\s", text.strip("\n"))) or _QUANTITY.fullmatch(
            text
        ):
            return text
        words = text not in _SHOWN_NEVER and _WORD.search(_SLOT.sub(" ", text))
        return self._told(text, line) if words else text


def _parts(node: ast.expr) -> Iterator[str | ast.FormattedValue]:
    """What a text is made of, in order: pieces of it, and what is filled in."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.JoinedStr):
        for each in node.values:
            yield from _parts(each)
    elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        yield from _parts(node.left)
        yield from _parts(node.right)
    elif isinstance(node, ast.FormattedValue):
        yield node
    else:
        yield ast.FormattedValue(node, -1)


def _with_slots(parts: Iterator[str | ast.FormattedValue]) -> tuple[str, dict[str, ast.FormattedValue]]:
    """The text with `{name}` for what is filled in, and what each name is; a name that comes again is numbered."""
    slots: dict[str, ast.FormattedValue] = {}
    text = ""
    for part in parts:
        if isinstance(part, str):
            text += part
            continue
        name = first = _name(part.value)
        number = 1
        while name in slots:
            number += 1
            name = f"{first}{number}"
        slots[name] = part
        text += f"{{{name}}}"
    return text, slots


def _name(node: ast.expr) -> str:
    """A short name for what is filled in, as near to the source as one word can be."""
    if isinstance(node, ast.Name):
        return node.id.strip("_")
    if isinstance(node, ast.Attribute):
        return node.attr.strip("_")
    if isinstance(node, ast.Subscript):
        return _name(node.value)
    if isinstance(node, ast.Call):
        inner = (each for each in node.args if isinstance(each, ast.Name | ast.Attribute))
        return next(map(_name, inner), "") or _name(node.func)
    return next((_name(each) for each in ast.walk(node) if isinstance(each, ast.Name | ast.Attribute)), "words")


class Translated(SourceFileLoader):
    """Imports a file of the package with its texts replaced."""

    told: Told

    def source_to_code(self, data: Any, path: Any, *, _optimize: int = -1) -> Any:
        name = Path(path).relative_to(ROOT).as_posix()
        if _WIRE.search(name):
            return super().source_to_code(data, path)
        tree = rewritten(data, name, self.told)
        return compile(tree, path, "exec", dont_inherit=True, optimize=_optimize)

    def get_code(self, fullname: str) -> Any:
        path = self.get_filename(fullname)
        return self.source_to_code(self.get_data(path), path)  # neither read from a cache nor kept in one


def translate_imports(told: Told) -> None:
    """From now on whatever is imported of the package says what `told` makes of its texts."""

    class Finder(PathFinder):
        @classmethod
        def find_spec(cls, fullname: str, path: Any = None, target: Any = None) -> Any:
            spec = super().find_spec(fullname, path, target) if fullname.startswith("firmware_host") else None
            if spec is None or not isinstance(spec.loader, SourceFileLoader):
                return None
            spec.loader = Translated(fullname, cast("str", spec.origin))
            return spec

    Translated.told = staticmethod(told)
    sys.path.insert(0, str(ROOT))
    sys.meta_path.insert(0, Finder)  # type: ignore[arg-type]


def _command(file: Path, words: list[str]) -> int:
    with file.open("rb") as opened:
        said = {str(each.id): str(each.string) for each in read_po(opened) if each.id and each.string}
    translate_imports(lambda text, _: said.get(text, text))
    from firmware_host.cli.main import run

    return run(words)


if __name__ == "__main__":
    if sys.argv[2:]:
        sys.exit(_command(Path(sys.argv[1]), sys.argv[2:]))
    with Path(sys.argv[1]).open("wb") as file:
        write_po(file, catalogue(), width=100, sort_by_file=True)
