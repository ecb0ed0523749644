"""Do the tests notice faults? Draws faults by a seed, puts each into a copy of the project, and runs the tests there.

python tests/mutate.py --seed 1 --count 60 --workers 2

The same number of faults is drawn in `planning`, `controller` and `station`, and in turn of each kind: a comparison
flipped, a sign flipped, a number off by one, a sync or close dropped, two arguments swapped. First the whole suite runs
once without a fault, and it is noted which tests come by each line (`--map FILE` keeps that for the next time). Then
each fault meets the tests that come by its line, the quickest first, then those that start processes, then the type
checker. A test that fails is run once more by itself: only one that fails again has caught the fault. The faults that
nothing noticed are listed at the end.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import os
import queue
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import coverage

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("planning", "controller", "station")
LONGEST_S = 5400.0
DROPPED = frozenset(
    {"sync", "fsync", "flush", "close", "release", "note", "check", "stop", "sync_folder", "take_back", "write"}
)

#: Functions whose first two arguments may change places.
COMMUTE = frozenset({"max", "min", "maximum", "minimum", "hypot", "gcd", "isinstance"})

#: Tests that start processes of their own: a fault there leaves no trace in the map.
PROCESSES = ("tests/cli", "tests/test_docs.py", "tests/test_public_api.py")

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
        if changed is None or not isinstance(node, ast.expr | ast.stmt):
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


def drawn(seed: int, count: int, rooms: Sequence[str] = ROOMS) -> list[Fault]:
    """Faults of each room and kind in turn; the same seed draws the same ones from the same sources of a room."""
    pairs = [(room, kind) for kind in KINDS for room in rooms]
    pools = {}
    for room, kind in pairs:
        paths = sorted((ROOT / "firmware_host" / room).rglob("*.py"))
        pools[room, kind] = [fault for path in paths for fault in faults_in(path, kind)]
        random.Random(f"{seed} {room} {kind}").shuffle(pools[room, kind])
    chosen: list[Fault] = []
    while len(chosen) < count and any(pools.values()):
        for pair in pairs:
            if pools[pair] and len(chosen) < count:
                chosen.append(pools[pair].pop())
    return chosen


@dataclass(frozen=True)
class Covered:
    """Which tests come by each line of each file, and how long each test takes (s)."""

    by_line: dict[str, dict[int, list[str]]]
    took_s: dict[str, float]

    def tests_of(self, fault: Fault) -> list[str]:
        """The tests that come by the fault's statement, the quickest first; those of its room if it runs on import."""
        lines = self.by_line.get(fault.path, {})
        names = {name for line in statement_lines(fault) for name in lines.get(line, ())}
        if "" in names or not names:
            return [
                f"tests/{fault.path.split('/')[1]}",
                *sorted(names - {""}, key=lambda name: self.took_s.get(name, 9)),
            ]
        return sorted(names, key=lambda name: self.took_s.get(name, 9.0))


def statement_lines(fault: Fault) -> range:
    """The lines of the innermost statement around a fault; of a statement with a body only its head."""
    best = range(fault.line, fault.line + 1)
    for node in ast.walk(ast.parse((ROOT / fault.path).read_text(encoding="utf-8"))):
        if isinstance(node, ast.stmt) and node.lineno <= fault.line <= (node.end_lineno or node.lineno):
            body = getattr(node, "body", None)
            end = body[0].lineno if body else (node.end_lineno or node.lineno) + 1
            if node.lineno >= best.start or best.start == fault.line:
                best = range(node.lineno, max(end, node.lineno + 1))
    return best


def map_of(tree: Path, workers: int, rooms: Sequence[str]) -> Covered:
    """Run every test once in an unchanged copy and see where each of them comes by."""
    report = tree / "times.xml"
    options = [
        "--hypothesis-profile=ci",
        *(f"--cov=firmware_host/{room}" for room in rooms),
        "--cov-context=test",
        "--cov-report=",
        "-n",
        str(workers),
    ]
    run_tests(tree, [*options, f"--junitxml={report}", "-o", "timeout=600", "-o", "junit_family=xunit1", "tests"])
    took = {}
    for case in ElementTree.parse(report).iter("testcase"):
        took[f"{case.get('file')}::{case.get('name')}"] = float(case.get("time", "0"))
    data = coverage.CoverageData(str(tree / ".coverage"))
    data.read()
    by_line: dict[str, dict[int, list[str]]] = {}
    for path in data.measured_files():
        names = {line: sorted({name.partition("|")[0] for name in contexts}) for line, contexts in
                 data.contexts_by_lineno(path).items()}  # fmt: skip
        by_line[str(Path(path).relative_to(tree))] = names
    return Covered(by_line, took)


def run_tests(tree: Path, arguments: list[str]) -> subprocess.CompletedProcess[str]:
    """Pytest in a copy of the project; raises `subprocess.TimeoutExpired`."""
    command = [sys.executable, "-m", "pytest", "-q", "--no-header", *arguments]
    environment = os.environ | {"PYTHONPATH": str(tree)}
    return subprocess.run(
        command, cwd=tree, env=environment, capture_output=True, text=True, timeout=LONGEST_S, check=False
    )


def failing(tree: Path, names: list[str]) -> str:
    """The first test that fails, and fails again by itself; "" if there is none."""
    left = names
    while left:
        chosen = tree / "chosen.txt"
        chosen.write_text("\n".join(left), encoding="utf-8")
        done = run_tests(tree, ["-x", "--hypothesis-profile=ci", f"@{chosen}"])
        if not done.returncode:
            return ""
        if done.returncode == 4:  # a test that was named is not there any more: the others are still asked
            missing = set(re.findall(r"^ERROR: not found: .*?/(tests/.+)$", done.stdout + done.stderr, re.MULTILINE))
            if not missing & set(left):
                raise RuntimeError(done.stdout + done.stderr)
            left = [name for name in left if name not in missing]
            continue
        failed: list[str] = re.findall(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", done.stdout, re.MULTILINE)
        if not failed or "::" not in failed[0]:
            return failed[0] if failed else f"status {done.returncode}"
        chosen.write_text(failed[0], encoding="utf-8")
        if run_tests(tree, ["--hypothesis-profile=ci", f"@{chosen}"]).returncode:
            return failed[0]
        left = left[left.index(failed[0]) + 1 :] if failed[0] in left else []
    return ""


def caught_by(fault: Fault, covered: Covered, tree: Path) -> str:
    """The first thing that notices the fault in this copy, or "" if nothing does. The copy is put right again."""
    path = tree / fault.path
    right = path.read_text(encoding="utf-8")
    try:
        write_source(path, fault.text)
        for names in (covered.tests_of(fault), list(PROCESSES)):
            try:
                if by := failing(tree, names):
                    return by
            except subprocess.TimeoutExpired:
                return "the tests did not come to an end"
        checked = subprocess.run([sys.executable, "-m", "mypy"], cwd=tree, capture_output=True, text=True, check=False)
        return "the type checker" if checked.returncode else ""
    finally:
        write_source(path, right)


def write_source(path: Path, text: str) -> None:
    """Write a source file so that Python sees that it is another one, however quickly it changes."""
    before = path.stat().st_mtime
    path.write_text(text, encoding="utf-8")
    os.utime(path, (before + 2, before + 2))


def copied(to: Path) -> Path:
    """A copy of the project to put faults into."""
    shutil.copytree(ROOT, to, ignore=shutil.ignore_patterns(".venv*", ".git", "__pycache__", "site"))
    return to


def main() -> int:
    """Draw, try and tell; status 1 if fewer are caught than `--least`."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--least", type=int, default=0, help="how many must be caught")
    parser.add_argument("--map", type=Path, help="file that keeps which tests come by each line")
    parser.add_argument("--rooms", nargs="+", choices=ROOMS, default=ROOMS, help="where faults are drawn")
    parser.add_argument("--skip", type=int, default=0, help="how many of the drawn faults to leave out")
    options = parser.parse_args()
    faults = drawn(options.seed, options.count, options.rooms)[options.skip :]
    start = time.perf_counter()
    survivors = []
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(options.workers) as pool:
        trees: queue.SimpleQueue[Path] = queue.SimpleQueue()
        for number in range(options.workers):
            trees.put(copied(Path(folder) / str(number)))
        covered = kept_map(options.map, Path(folder) / "0", options.workers, options.rooms)

        def attempt(fault: Fault) -> str:
            tree = trees.get()
            try:
                return caught_by(fault, covered, tree)
            finally:
                trees.put(tree)

        for number, (fault, by) in enumerate(zip(faults, pool.map(attempt, faults), strict=True), 1 + options.skip):
            change = f"{fault.before!r} -> {fault.after!r}"
            print(f"{number:3d} {fault.path}:{fault.line} {fault.kind}: {change}: {by or 'SURVIVED'}", flush=True)
            if not by:
                survivors.append(fault)
    kinds = Counter(fault.kind for fault in survivors)
    caught = len(faults) - len(survivors)
    print(f"{caught} of {len(faults)} caught in {time.perf_counter() - start:.0f} s; survivors by kind: {dict(kinds)}")
    return 0 if caught >= options.least else 1


def kept_map(kept: Path | None, tree: Path, workers: int, rooms: Sequence[str]) -> Covered:
    """The map from its file, or made anew and kept there."""
    if kept is not None and kept.exists():
        read = json.loads(kept.read_text(encoding="utf-8"))
        by_line = {path: {int(line): names for line, names in lines.items()} for path, lines in read["by_line"].items()}
        return Covered(by_line, read["took_s"])
    covered = map_of(tree, workers, rooms)
    if kept is not None:
        kept.write_text(json.dumps({"by_line": covered.by_line, "took_s": covered.took_s}), encoding="utf-8")
    return covered


if __name__ == "__main__":
    sys.exit(main())
