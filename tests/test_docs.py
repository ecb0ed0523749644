"""What README and docs say is run here: every Python block, every command, every table that names our own things."""

from __future__ import annotations

import ast
import importlib.util
import re
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import firmware_host
from firmware_host import errors
from firmware_host.cli.main import run
from firmware_host.clock import ScaledClock
from firmware_host.model.files.schemas import SCHEMA_KINDS
from tests.cli.command import MARK_NOW, PATIENCE_S, QUICKENED, Ended, Program, call, environment
from tests.cli.whole import every_command
from tests.support.three_segments import JOB

ROOT = Path(__file__).resolve().parent.parent
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs" / "pages").rglob("*.md"))]
_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
NEEDS_A_MACHINE = ("run", "resume", "jog", "align", "controller", "station")
ALWAYS_CARRIED_OUT = ("controller", "station")


@dataclass(frozen=True)
class Block:
    page: Path
    language: str
    text: str

    @property
    def name(self) -> str:
        return str(self.page.relative_to(ROOT))


def blocks(page: Path) -> list[Block]:
    return [Block(page, *found) for found in _BLOCK.findall(page.read_text(encoding="utf-8"))]


@pytest.fixture(autouse=True)
def own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("XDG_STATE_HOME", "XDG_CONFIG_HOME", "XDG_RUNTIME_DIR"):
        (tmp_path / name).mkdir(mode=0o700)
        monkeypatch.setenv(name, str(tmp_path / name))
    (tmp_path / "my work").mkdir()
    monkeypatch.chdir(tmp_path / "my work")


# --- Python ------------------------------------------------------------------------------------------------------

#: Pages whose blocks need another side to talk to, and the tests that run them.
RUN_ELSEWHERE = {
    "docs/pages/gate-tcp.md": "tests/joint/test_tcp_gate_scripts.py",
    "docs/pages/plugins.md": "tests/joint/test_plugins.py",
}
PYTHON_BLOCKS = [
    block for page in PAGES for block in blocks(page) if block.language == "python" and block.name not in RUN_ELSEWHERE
]
SHORT_RUNS = [block for block in PYTHON_BLOCKS if "fh.open_station" in block.text and "sys.argv" in block.text]
WHOLE_RUNS = [*SHORT_RUNS, *(block for block in PYTHON_BLOCKS if "run_job" in block.text)]


def run_script(text: str, *arguments: str) -> str:
    Path("script.py").write_text(QUICKENED + text, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-W", "error", "script.py", *arguments],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        env=environment(),
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize(("page", "test"), RUN_ELSEWHERE.items(), ids=RUN_ELSEWHERE)
def test_a_page_whose_blocks_are_not_run_here_is_read_by_the_test_that_runs_them(page: str, test: str) -> None:
    assert Path(page).name in (ROOT / test).read_text(encoding="utf-8")


@pytest.mark.parametrize("block", PYTHON_BLOCKS, ids=lambda block: block.name)
def test_a_python_block_runs_as_it_stands(block: Block) -> None:
    if "sys.argv" not in block.text:
        assert run_script(block.text)
        return
    with Program("controller", "simulate", "--clock", "20") as board:
        port = board.wait_for("out", "\n").strip()
        if "reopen_station" in block.text:
            stop_in_the_second_segment(port)
            with Program("-c", QUICKENED + block.text, port, command=(sys.executable,), enters_at=MARK_NOW) as script:
                assert script.end().out == "done 12\n"
            return
        if block in SHORT_RUNS:
            with Program("-c", QUICKENED + block.text, port, command=(sys.executable,), enters_at=MARK_NOW) as script:
                ended = script.end()
            assert ended.err.count(MARK_NOW) == 12  # the job's own gate: somebody pressed Enter at each pass
            printed = ended.out
        else:
            printed = run_script(block.text, port)
    if "open_hand" in block.text:
        assert printed == "30.0 True\n"
        return
    if "start_run" in block.text:
        told = printed.splitlines()
        assert told[-2:] == ["ended done", "done"]
        assert sum(line.startswith("tell STANDSTILL: mark") for line in told) == 12
        return
    assert printed == f"done 12 {(0,) * 12}\n"
    assert [path.name for path in Path("runs").glob("*/record.json")] == ["record.json"]


def stop_in_the_second_segment(port: str) -> None:
    """Leave a run behind that was stopped while the second segment was marked."""
    run = firmware_host.start_run(firmware_host.load_job("shaft-scale"), port, clock=ScaledClock(3))
    for event in run.events():
        if event.text.startswith("STANDSTILL: mark segment 2"):
            run.stop()
        elif event.text.startswith("STANDSTILL: mark"):
            run.answer()
    with pytest.raises(errors.RunStoppedError, match="by the program"):
        run.join(PATIENCE_S)


@pytest.mark.parametrize("block", SHORT_RUNS, ids=lambda block: block.name)
def test_a_whole_run_takes_six_lines(block: Block) -> None:
    assert len([line for line in block.text.splitlines() if line]) <= 6


def test_readme_and_docs_show_the_same_run_and_the_docs_the_long_way_as_well() -> None:
    assert [block.name for block in SHORT_RUNS] == ["README.md", "docs/pages/python.md"]
    assert len({block.text for block in SHORT_RUNS}) == 1
    assert [block.name for block in WHOLE_RUNS if block not in SHORT_RUNS] == ["docs/pages/python.md"]


# --- commands ----------------------------------------------------------------------------------------------------


def commands(block: Block) -> Iterator[list[str]]:
    for line in block.text.splitlines():
        if line.startswith(("circumstep ", "sed ")):
            yield shlex.split(line)


def node_of(words: list[str]) -> tuple[Any, list[str]]:
    """The command that the words name, and what is left of them."""
    node, rest = every_command(), words
    while rest and rest[0] in getattr(node, "commands", {}):
        node, rest = node.commands[rest[0]], rest[1:]
    return node, rest


def check_words(words: list[str]) -> None:
    """Parse a command without running it: known command, known options, the right number of arguments."""
    node, rest = node_of(words)
    assert not hasattr(node, "commands"), f"{words} names no command"
    options = {name: param for param in node.params for name in param.opts if name.startswith("--")}
    arguments = [param for param in node.params if param.param_type_name == "argument"]
    plain = 0
    while rest:
        word = rest[0]
        if word == "--":
            plain, rest = plain + len(rest) - 1, []
        elif word.startswith("--"):
            assert word in options, f"{words}: no option {word}"
            rest = rest[1:] if options[word].is_flag else rest[2:]
        else:
            plain, rest = plain + 1, rest[1:]
    most = len(arguments) if all(param.nargs != -1 for param in arguments) else plain
    assert sum(param.required for param in arguments) <= plain <= most, words


class Workshop:
    """What the commands of a page find: simulated boards, and what the words in capitals stand for."""

    def __init__(self, stack: ExitStack) -> None:
        self._stack = stack
        self._ports: dict[str, str] = {}

    def do(self, words: list[str]) -> None:
        """Carry out a command at the board of the machine that it is about; it has to end well."""
        machine = words[words.index("--machine") + 1] if "--machine" in words else "belt-chuck"
        if words[:2] == ["controller", "simulate"]:
            self._port(machine)
            return
        by_hand = {"--parts", "--state"} & set(words)
        meant = {"24": "2"} if "--parts" in words else {}  # a batch of 24 takes too long here
        meant |= {"JOB": JOB_BY_HAND if by_hand else JOB_PROGRAM, "RUN": "", "runs/FOLDER": ""}
        if words[0] == "resume":
            meant["RUN"] = meant["runs/FOLDER"] = self._stopped_run()
        if "PORT" in words:
            meant["PORT"] = self._port(machine)
        elif words[0] == "run" and "--rehearse" not in words and not firmware_host.remembered_station().port:
            call("station", "new", "docs", "--machine", machine, "--port", self._port(machine))  # as README does once
        known = words[0] != "run" or "--parts" not in words or "--zero" in words
        where = (
            [] if known else ["--zero", "here"]
        )  # the lines of a page are alternatives, and here one follows another
        ended = self._carried_out([*(meant.get(word, word) for word in words), *where])
        assert ended.status in ((0, 1) if "compare" in words else (0,)), (words, ended)

    def _carried_out(self, words: list[str]) -> Ended:
        if words[0] not in ("run", "resume"):
            return call(*words)
        with Program(*words, enters_at=(MARK_NOW, *BETWEEN_PARTS)) as program:
            if words[0] == "resume" and "--assume" not in words:
                program.wait_for("err", "Was segment 2, pass 1 finished?")
                program.say("n\n")
            return program.end()

    def _port(self, machine: str) -> str:
        if machine not in self._ports:
            board = self._stack.enter_context(Program("controller", "simulate", "--machine", machine, "--clock", "20"))
            self._ports[machine] = board.wait_for("out", "\n").strip()
        return self._ports[machine]

    def _stopped_run(self) -> str:
        with Program("run", JOB_BY_HAND, "--port", self._port("belt-chuck"), "--zero", "here") as program:
            program.wait_for("err", f"{MARK_NOW} 1 ")
            program.say("\n")
            program.wait_for("err", f"{MARK_NOW} 2 ")
            program.interrupt()
            assert program.end().status == 4
        return str(max(Path("runs").iterdir()))


JOB_BY_HAND, JOB_PROGRAM = "by hand.toml", "with a program.toml"
BETWEEN_PARTS = ("STANDSTILL: mark part", "then Enter: the axis turns", "Enter: good")


@pytest.fixture
def workshop(monkeypatch: pytest.MonkeyPatch) -> Iterator[Workshop]:
    monkeypatch.setattr("firmware_host.cli.set_up.controller.list_devices", lambda: ())  # no port of this computer
    Path(JOB_BY_HAND).write_text(JOB, encoding="utf-8")
    Path(JOB_PROGRAM).write_text(JOB + '[gate]\nkind = "command"\ntimeout = "20 s"\n', encoding="utf-8")
    Path("parts.csv").write_text("serial,diameter\nA-001,50.01 mm\nA-002,49.98 mm\n", encoding="utf-8")
    Path("mark-one-pass").write_text("#!/bin/sh\n", encoding="utf-8")
    Path("mark-one-pass").chmod(0o755)
    with ExitStack() as stack:
        yield Workshop(stack)


COMMAND_PAGES = [page for page in PAGES if any(list(commands(block)) for block in blocks(page))]


#: Runs of README are carried out each time, those of the other pages where there is time.
WALKS = [pytest.param(page, page.name == "README.md", id=str(page.relative_to(ROOT))) for page in COMMAND_PAGES]
WALKS += [
    pytest.param(page, True, id=f"{page.relative_to(ROOT)} with its runs", marks=pytest.mark.slow)
    for page in COMMAND_PAGES
    if page.name != "README.md"
]


@pytest.mark.parametrize(("page", "runs_too"), WALKS)
def test_the_commands_of_a_page_work_in_the_order_they_stand(
    page: Path, runs_too: bool, capsys: pytest.CaptureFixture[str], workshop: Workshop
) -> None:
    on_page = blocks(page)
    for place, block in enumerate(on_page):
        if block.language != "sh":
            continue
        shown = on_page[place + 1] if place + 1 < len(on_page) and on_page[place + 1].language == "text" else None
        printed = ""
        for program, *words in commands(block):
            if program == "sed":
                subprocess.run([program, *words], check=True, timeout=PATIENCE_S)
                continue
            check_words(words)
            measures = words[:2] == ["commission", "measure"]
            if words[0] in NEEDS_A_MACHINE or measures:
                if measures or words[0] in ALWAYS_CARRIED_OUT or (runs_too and words[0] in ("run", "resume")):
                    workshop.do(words)
            else:
                status = run(as_answered(words))
                out = capsys.readouterr()
                assert status == (1 if shown is not None and " fails" in shown.text else 0), (words, out.err)
                printed += out.out
        if shown is not None:
            for line in shown.text.splitlines():
                assert is_printed(line, printed), f"{line!r} is not printed"


def as_answered(words: list[str]) -> list[str]:
    """The words, with the answers of whoever is asked for a new file: those that a shipped one gives."""
    asks = words[:2] == ["profile", "new"] and not {"--from", "--answer"} & set(words)
    return [*words, "--from", {"machine": "belt-chuck", "job": "shaft-scale"}[words[2]]] if asks else words


def is_printed(line: str, printed: str) -> bool:
    """Whether a line was printed, spacing aside; "..." stands for more of the line, or for whole lines."""
    words = line.split()
    if words[-1] != "...":
        return words in [other.split() for other in printed.splitlines()]
    return any(other.split()[: len(words) - 1] == words[:-1] for other in printed.splitlines())


def leaves(node: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    inner = getattr(node, "commands", None)
    if inner is None:
        yield path, node
        return
    for name, command in inner.items():
        yield from leaves(command, (*path, name))


LEAVES = dict(leaves(every_command()))


@pytest.mark.parametrize("path", LEAVES, ids=" ".join)
def test_the_commands_page_names_every_command_and_every_option(path: tuple[str, ...]) -> None:
    page = (ROOT / "docs" / "pages" / "commands.md").read_text(encoding="utf-8")
    section = re.split(r"^## ", page, flags=re.MULTILINE)
    (text,) = (part for part in section if part.splitlines()[0] == path[0])
    assert f"`circumstep {' '.join(path)}" in text
    entry = text if len(path) == 1 else text.partition(f"`circumstep {' '.join(path)}")[2].partition("- `circumstep")[0]
    for param in LEAVES[path].params:
        for option in param.opts:
            if option.startswith("--") and option != "--help" and not getattr(param, "hidden", False):
                assert f"`{option}`" in entry, f"{option} is not described"


def test_the_commands_page_names_no_option_that_is_not_there() -> None:
    known = {option for node in LEAVES.values() for param in node.params for option in param.opts}
    known |= {"--debug", "--help", "--version", "--install-completion", "--show-completion"}
    page = (ROOT / "docs" / "pages" / "commands.md").read_text(encoding="utf-8")
    assert set(re.findall(r"--[a-z][a-z-]*", page)) <= known


def test_the_readme_keeps_the_two_commands_that_are_run_on_a_fresh_machine() -> None:
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    assert "python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/circumstep demo" in lines
    install = "python3 -m venv .venv-test && .venv-test/bin/pip install -q -e '.[dev]'"
    assert f"{install} && .venv-test/bin/python tests/verify.py" in lines


# --- the reference of the files ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def reference() -> ModuleType:
    spec = importlib.util.spec_from_file_location("docs_reference", ROOT / "docs" / "reference.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def defined_in(schema: dict[str, Any]) -> dict[str, set[str]]:
    tables = {schema["title"]: schema, **schema.get("$defs", {})}
    return {name: set(table["properties"]) for name, table in tables.items() if "properties" in table}


@pytest.mark.parametrize("kind", SCHEMA_KINDS)
def test_the_reference_has_every_key_of_the_schema_with_its_meaning(reference: ModuleType, kind: str) -> None:
    sections = reference.sections(kind)
    on_page = {section.model.__name__: {row.key for row in section.rows} for section in sections}
    wanted = defined_in(SCHEMA_KINDS[kind].model_json_schema())
    if kind == "machine":  # a motor inside a machine is described with the motor file
        wanted = {
            name: keys
            for name, keys in wanted.items()
            if name not in defined_in(SCHEMA_KINDS["motor"].model_json_schema())
        }
    assert on_page == wanted
    unexplained = [f"{s.model.__name__}.{row.key}" for s in sections for row in s.rows if not row.meaning]
    assert unexplained == [], "say what they mean: in the model's Field(description=...), or in model/files/meanings.py"


def test_the_reference_tells_unit_bounds_and_default(reference: ModuleType) -> None:
    job, motor = reference.markdown("job"), reference.markdown("motor")
    assert "| `passes` | whole number, at least 1, at most 1000 | `1` | how often each segment is marked |" in job
    assert '| `settle` | time, as `"150 ms"`, may be zero | none | wait after a move;' in job
    assert '| `start_angle` | angle, as `"1.8 deg"`, may be negative | none |' in job
    assert '| `finish` | `"stay"` or `"unwind"` or `"next-turn"` | `"stay"` |' in job
    assert '| `holding_torque` | torque, as `"0.45 N*m"` | required | both phases on at rated current |' in motor
    assert "### `[[part.keep_out]]`: An arc of the surface" in job


def test_the_files_page_asks_for_the_reference_of_every_kind(reference: ModuleType) -> None:
    page = (ROOT / "docs" / "pages" / "files.md").read_text(encoding="utf-8")
    assert set(reference.MARKER.findall(page)) == set(SCHEMA_KINDS)
    built = reference.on_page_markdown(page)
    assert "<!--" not in built
    assert built.count("| key | takes | without it | meaning |") == sum(map(len, map(reference.sections, SCHEMA_KINDS)))


# --- the physics -------------------------------------------------------------------------------------------------

OVERVIEW = ROOT / "docs" / "pages" / "physics.md"
PHYSICS = sorted((ROOT / "docs" / "pages" / "physics").glob("*.md"))
MARKS = ("common practice", "from memory")


def formulas() -> dict[str, str]:
    """Docstring of each public function of the room of physics, by name; its guards and arrays are no formulas."""
    return {
        node.name: ast.get_docstring(node) or ""
        for path in (ROOT / "firmware_host" / "mechanics").rglob("*.py")
        if path.stem not in {"guard", "groups", "__init__"}
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    }


def pages_on(name: str) -> list[str]:
    texts = (page.read_text(encoding="utf-8") for page in PHYSICS)
    return [text for text in texts if re.search(rf"`{name}`", text)]


@pytest.mark.parametrize("page", PHYSICS, ids=lambda page: page.stem)
def test_a_page_of_physics_has_symbols_sources_and_an_example_that_checks_itself(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    assert "| symbol | meaning |" in text
    assert "| what | formula | source | valid for |" in text
    example = text.partition("## Worked example")[2]
    (block,) = (block for block in blocks(page) if block.language == "python")
    assert block.text in example
    assert len(re.findall(r"^assert ", block.text, re.MULTILINE)) >= 5
    assert f"](physics/{page.name})" in OVERVIEW.read_text(encoding="utf-8")


def test_every_formula_is_on_a_page_with_the_mark_of_its_docstring() -> None:
    found = formulas()
    assert len(found) > 60
    assert [name for name in found if not pages_on(name)] == []
    unmarked = [
        (name, mark)
        for name, text in found.items()
        for mark in MARKS
        if mark in " ".join(text.split()) and not any(mark in page for page in pages_on(name))
    ]
    assert unmarked == []


def test_every_limit_of_the_shipped_jobs_is_in_the_overview() -> None:
    names = {
        check.name
        for path in (ROOT / "profiles" / "jobs").glob("*.toml")
        for check in firmware_host.plan_job(firmware_host.load_job(path.stem)).limits.checks
    }
    assert len(names) >= 20
    named = set(re.findall(r"`([a-z]+(?:-[a-z]+)*)`", OVERVIEW.read_text(encoding="utf-8")))
    assert names <= named


# --- tables that name our own things -----------------------------------------------------------------------------


def test_the_error_table_gives_each_error_its_own_status() -> None:
    page = (ROOT / "docs" / "pages" / "python.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+Error)` \| .* \| (\d) \|$", page, re.MULTILINE)
    assert {(name, int(status)) for name, status in rows} == {
        (name, getattr(errors, name).exit_status)
        for name in firmware_host.__all__
        if name.endswith("Error") and name != "FirmwareHostError"
    }


@pytest.mark.parametrize(("group", "page"), [("gates", "runs.md"), ("dialects", "files.md")])
def test_every_gate_and_every_dialect_is_described(group: str, page: str) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    text = (ROOT / "docs" / "pages" / page).read_text(encoding="utf-8")
    for name in project["entry-points"][f"firmware_host.{group}"]:
        assert f"`{name}`" in text


def test_every_room_and_file_that_a_page_names_is_there() -> None:
    named = re.compile(r"`(firmware_host(?:/\w+)+)`(?: \(((?:`\w+`(?:, )?)+)\))?")
    found = 0
    for page in PAGES:
        for path, files in named.findall(page.read_text(encoding="utf-8")):
            for file in re.findall(r"\w+", files) or [""]:
                place = ROOT / path / file if file else ROOT / path
                assert place.is_dir() or place.with_suffix(".py").is_file(), f"{page.name}: {path} {file}"
                found += 1
    assert found > 20


def test_every_test_file_that_the_docs_name_is_there() -> None:
    page = (ROOT / "docs" / "pages" / "checked.md").read_text(encoding="utf-8")
    named = re.findall(r"`(tests/[\w/]+\.py)`", page)
    assert len(named) > 10
    assert [path for path in named if not (ROOT / path).is_file()] == []


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_link_to_a_file_leads_to_one(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+?)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (page.parent / target).is_file(), target
