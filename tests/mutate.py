"""Do the tests notice faults? Draws faults by a seed, puts each into a copy of the project, and runs the tests there.

python tests/mutate.py --seed 1 --count 60 --workers 2

The same number of faults is drawn in `planning`, `controller` and `station`, and in turn of each kind: a comparison
flipped, a sign flipped, a number off by one, a sync or close dropped, two arguments swapped. A fault is caught if a
test fails, or if the type checker refuses the file. The faults that nothing noticed are listed at the end.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("planning", "controller", "station")
LONGEST_S = 1500.0
DROPPED = frozenset(
    {"sync", "fsync", "flush", "close", "release", "note", "check", "stop", "sync_folder", "take_back", "write"}
)

#: Functions whose first two arguments may change places.
COMMUTE = frozenset({"max", "min", "maximum", "minimum", "hypot", "gcd", "isinstance"})

#: Cheap tests first: most faults are caught by those of their own room.
ORDER = {
    "planning": ("tests/planning", "tests/reporting", "tests/joint", "tests/station", "tests/cli", "tests"),
    "controller": ("tests/controller", "tests/contract", "tests/joint", "tests/faults", "tests/cli", "tests"),
    "station": ("tests/station", "tests/joint", "tests/faults", "tests/cli", "tests"),
}

FLIPPED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
SIGNS: dict[type[ast.operator], type[ast.operator]] = {ast.Add: ast.Sub, ast.Sub: ast.Add}


@dataclass(frozen=True)
class Fault:
    """One change of one node: its file, kind, line, and the text before and after."""

    path: str
    kind: str
    line: int
    before: str
    after: str
    text: str


def flip_comparison(node: ast.AST) -> ast.AST | None:
    """One comparison the other way round, or its edge moved."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in FLIPPED:
        changed = copy.deepcopy(node)
        changed.ops = [FLIPPED[type(node.ops[0])]()]
        return changed
    return None


def flip_sign(node: ast.AST) -> ast.AST | None:
    """Plus for minus, or a minus lost. Texts and tuples that are added are left alone."""
    if isinstance(node, ast.BinOp) and type(node.op) in SIGNS:
        if any(isinstance(side, ast.JoinedStr | ast.Tuple | ast.List) for side in (node.left, node.right)):
            return None
        if any(isinstance(side, ast.Constant) and not isinstance(side.value, int | float)
               for side in (node.left, node.right)):  # fmt: skip
            return None
        changed = copy.deepcopy(node)
        changed.op = SIGNS[type(node.op)]()
        return changed
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return copy.deepcopy(node.operand)
    return None


def off_by_one(node: ast.AST) -> ast.AST | None:
    """A whole number one larger."""
    if isinstance(node, ast.Constant) and type(node.value) is int:
        return ast.Constant(node.value + 1)
    return None


def drop_call(node: ast.AST) -> ast.AST | None:
    """A statement that only syncs, closes, checks or notes something is left out."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
        called = node.value.func
        name = called.attr if isinstance(called, ast.Attribute) else called.id if isinstance(called, ast.Name) else ""
        if name.lstrip("_") in DROPPED:
            return ast.Pass()
    return None


def swap_arguments(node: ast.AST) -> ast.AST | None:
    """The first two arguments of a call change places."""
    if isinstance(node, ast.Call) and len(node.args) >= 2:
        first, second = node.args[:2]
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if isinstance(first, ast.Starred) or isinstance(second, ast.Starred) or ast.dump(first) == ast.dump(second):
            return None
        if name in COMMUTE:
            return None
        changed = copy.deepcopy(node)
        changed.args[0], changed.args[1] = changed.args[1], changed.args[0]
        return changed
    return None


KINDS: dict[str, Callable[[ast.AST], ast.AST | None]] = {
    "comparison": flip_comparison,
    "sign": flip_sign,
    "off by one": off_by_one,
    "dropped call": drop_call,
    "swapped arguments": swap_arguments,
}


def code_nodes(tree: ast.AST) -> Iterator[ast.AST]:
    """Every node that runs: no annotation, no default of what a type is called."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.AnnAssign):
            if node.value is not None:
                yield node.value
                yield from code_nodes(node.value)
            continue
        if isinstance(node, ast.arg):
            continue
        if isinstance(node, ast.FunctionDef):
            for statement in node.body:
                yield statement
                yield from code_nodes(statement)
            continue
        yield node
        yield from code_nodes(node)


def faults_in(path: Path, kind: str) -> list[Fault]:
    """Every fault of a kind that a file has room for."""
    source = path.read_text(encoding="utf-8")
    lines = source.encode().split(b"\n")
    starts = [0]
    for line in lines:
        starts.append(starts[-1] + len(line) + 1)
    found = []
    for node in code_nodes(ast.parse(source)):
        changed = KINDS[kind](node)
        if changed is None or not hasattr(node, "lineno"):
            continue
        begin = starts[node.lineno - 1] + node.col_offset
        end = starts[(node.end_lineno or node.lineno) - 1] + (node.end_col_offset or 0)
        before, after = source.encode()[begin:end].decode(), ast.unparse(changed)
        inner = f"({after})" if not isinstance(changed, ast.Pass) else after
        text = (source.encode()[:begin] + inner.encode() + source.encode()[end:]).decode()
        try:
            ast.parse(text)
        except SyntaxError:
            continue
        found.append(Fault(str(path.relative_to(ROOT)), kind, node.lineno, before, after, text))
    return found


def drawn(seed: int, count: int) -> list[Fault]:
    """Faults of each room and kind in turn; the same seed draws the same ones from the same sources."""
    chance = random.Random(seed)
    pairs = [(room, kind) for kind in KINDS for room in ROOMS]
    pools = {}
    for room, kind in pairs:
        paths = sorted((ROOT / "firmware_host" / room).rglob("*.py"))
        pools[room, kind] = [fault for path in paths for fault in faults_in(path, kind)]
        chance.shuffle(pools[room, kind])
    chosen: list[Fault] = []
    while len(chosen) < count and any(pools.values()):
        for pair in pairs:
            if pools[pair] and len(chosen) < count:
                chosen.append(pools[pair].pop())
    return chosen


def caught_by(fault: Fault, copies: Path) -> str:
    """The first thing that notices the fault, or "" if nothing does."""
    folder = Path(tempfile.mkdtemp(dir=copies))
    try:
        shutil.copytree(ROOT, folder / "tree", ignore=shutil.ignore_patterns(".venv*", ".git", "__pycache__", "site"))
        tree = folder / "tree"
        (tree / fault.path).write_text(fault.text, encoding="utf-8")
        environment = os.environ | {"PYTHONPATH": str(tree)}
        for where in ORDER[fault.path.split("/")[1]]:
            command = [sys.executable, "-m", "pytest", "-q", "-x", "--no-header", "--hypothesis-profile=ci", where]
            try:
                done = subprocess.run(
                    command, cwd=tree, env=environment, capture_output=True, text=True, timeout=LONGEST_S, check=False
                )
            except subprocess.TimeoutExpired:
                return f"{where} did not come to an end"
            if done.returncode:
                failed = re.findall(r"^(?:FAILED|ERROR) (\S+)", done.stdout, re.MULTILINE)
                return failed[0] if failed else f"{where}: status {done.returncode}"
        checked = subprocess.run(
            [sys.executable, "-m", "mypy"], cwd=tree, env=environment, capture_output=True, text=True, check=False
        )
        return "the type checker" if checked.returncode else ""
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def main() -> int:
    """Draw, try and tell; status 1 if fewer are caught than `--least`."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--least", type=int, default=0, help="how many must be caught")
    options = parser.parse_args()
    faults = drawn(options.seed, options.count)
    start = time.perf_counter()
    survivors = []
    with tempfile.TemporaryDirectory() as copies, ThreadPoolExecutor(options.workers) as pool:
        for number, (fault, by) in enumerate(
            zip(faults, pool.map(lambda each: caught_by(each, Path(copies)), faults), strict=True), 1
        ):
            change = f"{fault.before!r} -> {fault.after!r}"
            print(f"{number:3d} {fault.path}:{fault.line} {fault.kind}: {change}: {by or 'SURVIVED'}", flush=True)
            if not by:
                survivors.append(fault)
    kinds = Counter(fault.kind for fault in survivors)
    caught = len(faults) - len(survivors)
    print(f"{caught} of {len(faults)} caught in {time.perf_counter() - start:.0f} s; survivors by kind: {dict(kinds)}")
    return 0 if caught >= options.least else 1


if __name__ == "__main__":
    sys.exit(main())
