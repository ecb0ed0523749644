"""The wheel, built as an installer builds it, works in an environment of its own, and holds what a user needs.

`pytest -m slow tests/test_wheel.py` installs it in an empty environment, with its dependencies from the package index.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest

ROOT = Path(__file__).resolve().parent.parent
PATIENCE_S = 600
FROM_THE_CHECKOUT = "opened from the checkout.txt"
#: Notes every file of the checkout that a program opens; where the libraries are is no part of it.
WATCH = """\
import os, sys
def noted(event, told, root={root!r} + os.sep, libraries={libraries!r} + os.sep, log={log!r}):
    if event in ("open", "os.listdir", "os.scandir") and isinstance(told[0], str):
        path = os.path.realpath(told[0])
        if path.startswith(root) and not (path + os.sep).startswith(libraries):
            descriptor = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
            os.write(descriptor, (path + "\\n").encode())
            os.close(descriptor)
sys.addaudithook(noted)
"""


def built(folder: Path, kind: str, source: Path = ROOT) -> Path:
    """What the build backend makes of a source tree: its wheel or its sdist."""
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", kind, "-d", str(folder)],
        cwd=source,
        check=True,
        capture_output=True,
        timeout=PATIENCE_S,
    )
    (path,) = folder.glob("circumstep-*")
    return path


def files_of(wheel: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(wheel) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return built(tmp_path_factory.mktemp("wheel"), "wheel")


@pytest.fixture(scope="module")
def names(wheel: Path) -> set[str]:
    return set(files_of(wheel))


def test_the_wheel_ships_every_profile_inside_the_package(names: set[str]) -> None:
    profiles = {path.relative_to(ROOT).as_posix() for path in (ROOT / "profiles").rglob("*.toml")}
    assert len(profiles) >= 16
    assert {name for name in names if name.endswith(".toml")} == {f"firmware_host/{name}" for name in profiles}


def test_the_wheel_ships_every_module_and_data_file_the_type_marker_and_the_licence(names: set[str]) -> None:
    package = ROOT / "firmware_host"
    kept = {path.relative_to(ROOT).as_posix() for path in package.rglob("*") if path.is_file()}
    kept = {name for name in kept if "__pycache__" not in name}
    assert any(not name.endswith(".py") for name in kept)
    assert kept <= names
    assert {"firmware_host/py.typed", "firmware_host/__init__.pyi"} <= names
    assert any(name.endswith("licenses/LICENSE") for name in names)


def test_the_wheel_ships_no_tests_and_no_docs(names: set[str]) -> None:
    assert {name.partition("/")[0] for name in names if ".dist-info/" not in name} == {"firmware_host"}


def test_the_wheel_makes_the_command_and_registers_dialects_and_gates(wheel: Path) -> None:
    (told,) = (text for name, text in files_of(wheel).items() if name.endswith(".dist-info/entry_points.txt"))
    assert b"circumstep = firmware_host.cli.main:main" in told
    assert b"[firmware_host.dialects]" in told
    assert b"[firmware_host.gates]" in told


@pytest.mark.slow
def test_the_wheel_that_is_built_from_the_sdist_is_the_same(wheel: Path, tmp_path: Path) -> None:
    sdist = built(tmp_path / "sdist", "sdist")
    with tarfile.open(sdist) as archive:
        archive.extractall(tmp_path, filter="data")
    again = built(tmp_path / "wheel", "wheel", tmp_path / sdist.name.removesuffix(".tar.gz"))
    assert files_of(again) == files_of(wheel)


class Installed:
    """The program in an environment of its own, in a folder outside the checkout."""

    def __init__(self, folder: Path) -> None:
        self.here = folder / "my jobs"
        self.here.mkdir()
        self.environment = folder / "environment"
        self.log = folder / FROM_THE_CHECKOUT
        venv.EnvBuilder(with_pip=False, symlinks=os.name != "nt").create(self.environment)
        self._bin = self.environment / ("Scripts" if os.name == "nt" else "bin")
        self.python = str(self._bin / ("python.exe" if os.name == "nt" else "python"))
        given = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "XDG_", "COV_"))}
        self._given = given | {"HOME": str(folder), "VIRTUAL_ENV": str(self.environment)}

    @property
    def packages(self) -> Path:
        """Where the environment keeps its packages."""
        scheme = {"base": str(self.environment), "platbase": str(self.environment)}
        return Path(sysconfig.get_path("purelib", "venv", vars=scheme))

    def run(self, *words: str) -> str:
        """What a program prints; it has to end well, and to say nothing of an error."""
        done = subprocess.run(
            words, cwd=self.here, env=self._given, capture_output=True, text=True, timeout=PATIENCE_S, check=False
        )
        assert done.returncode == 0, (words, done.stdout, done.stderr)
        assert "Traceback" not in done.stderr
        return done.stdout

    def circumstep(self, *words: str) -> str:
        """The command, as the environment has it."""
        return self.run(str(self._bin / "circumstep"), *words)


def unpacked(wheel: Path, folder: Path) -> Installed:
    """The wheel in a new environment that finds the libraries of this one, and nothing else of it."""
    made = Installed(folder)
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(made.packages)
    libraries = sysconfig.get_path("purelib")
    (made.packages / "libraries.pth").write_text(libraries + "\n", encoding="utf-8")  # a .pth of theirs is not read
    watch = WATCH.format(root=str(ROOT), libraries=libraries, log=str(made.log))
    (made.packages / "sitecustomize.py").write_text(watch, encoding="utf-8")
    script = made._bin / "circumstep"
    text = f"#!{made.python}\nfrom firmware_host.cli.main import main\nmain()\n"
    script.write_text(text, encoding="utf-8")
    script.chmod(0o755)
    return made


class Requested(HTMLParser):
    """What a page would ask for, and what pictures it holds."""

    def __init__(self) -> None:
        super().__init__()
        self.asks: list[str] = []
        self.pictures = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.pictures += tag == "img" and (given.get("src") or "").startswith("data:image/")
        self.asks += [given[key] or "" for key in ("src", "srcset", "data") if key in given]
        self.asks += [given["href"] or ""] if tag == "link" and "href" in given else []


def used_from_first_to_last(made: Installed, *reports: str) -> None:
    """The version, the demo with its run kept, a report of that run, a picture, a schema, what ships; more reports."""
    assert made.run(made.python, "-m", "firmware_host", "--version") == made.circumstep("--version")
    assert made.circumstep("--version").startswith("circumstep ")
    told = " ".join(made.circumstep("demo", "--keep", "kept").split())
    assert "done: 12 of 12 passes marked; the motor's step counter is the plan's at 12 of 12" in told
    (run,) = (path.parent for path in (made.here / "kept").glob("*/record.json"))
    for place, of in enumerate((str(run), *reports)):
        made.circumstep("report", of, "--output", f"{place}.html")
        text = (made.here / f"{place}.html").read_text(encoding="utf-8")
        page = Requested()
        page.feed(text)
        assert page.pictures >= 3
        assert [ask for ask in page.asks if not ask.startswith("data:")] == []
        assert str(ROOT) not in text
    made.circumstep("picture", "shaft-scale", "end-on", "--output", "part.svg")
    assert ElementTree.parse(made.here / "part.svg").getroot().tag == "{http://www.w3.org/2000/svg}svg"
    assert json.loads(made.circumstep("schema", "job"))["properties"]
    for profile in json.loads(made.circumstep("profile", "list", "--json")):
        assert Path(profile["file"]).resolve().is_relative_to(made.environment.resolve())


@pytest.mark.posix("a script that names its program")
def test_a_wheel_outside_the_checkout_runs_the_demo_and_makes_a_report_without_a_file_of_the_checkout(
    wheel: Path, tmp_path: Path
) -> None:
    made = unpacked(wheel, tmp_path)
    used_from_first_to_last(made)
    assert not made.log.exists(), made.log.read_text(encoding="utf-8")
    made.run(made.python, "-c", f"open({str(ROOT / 'README.md')!r}).close()")
    assert made.log.read_text(encoding="utf-8").splitlines() == [str(ROOT / "README.md")]  # the watch works


@pytest.mark.slow
@pytest.mark.timeout(900)
@pytest.mark.posix("a script that names its program")
def test_a_wheel_in_an_empty_environment_brings_its_dependencies(wheel: Path, tmp_path: Path) -> None:
    made = Installed(tmp_path)
    made.run(made.python, "-m", "ensurepip", "--default-pip")
    made.run(made.python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", str(wheel))
    used_from_first_to_last(made, "sleeve-label", "bottle-band")
