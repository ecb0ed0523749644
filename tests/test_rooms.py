"""Rooms within rooms: no folder of the package is a long list, no prefix is a room that was not built."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "firmware_host"
FOLDERS = sorted({path.parent for path in PACKAGE.rglob("*.py")})
MOST_FILES = 14


def stems(folder: Path) -> list[str]:
    return sorted(path.stem for path in folder.glob("*.py") if path.stem != "__init__")


def crowded(folder: Path) -> bool:
    return len(stems(folder)) > MOST_FILES


def shared_prefixes(names: list[str]) -> list[str]:
    """Prefixes, up to an underscore or a whole name, that three names or more begin with."""
    counted = Counter(name.partition("_")[0] for name in names)
    return sorted(prefix for prefix, count in counted.items() if count >= 3)


def test_no_folder_of_the_package_holds_more_than_fourteen_files_beside_its_rooms() -> None:
    assert [str(folder.relative_to(ROOT)) for folder in FOLDERS if crowded(folder)] == []


def test_no_prefix_is_shared_by_three_files_of_a_folder() -> None:
    found = {str(folder.relative_to(ROOT)): shared_prefixes(stems(folder)) for folder in FOLDERS}
    assert {folder: prefixes for folder, prefixes in found.items() if prefixes} == {}


def test_the_search_for_prefixes_finds_what_it_looks_for() -> None:
    assert shared_prefixes(["index_caps", "index_moves", "index_search", "steps", "limits"]) == ["index"]
    assert shared_prefixes(["gate", "gate_command", "gate_timed"]) == ["gate"]
    assert shared_prefixes(["run", "runs", "run_folder", "resume"]) == []


def test_every_folder_of_the_package_is_a_room_with_a_sentence_about_it() -> None:
    silent = [
        str(folder.relative_to(ROOT))
        for folder in FOLDERS
        if not (folder / "__init__.py").read_text(encoding="utf-8").startswith('"""')
    ]
    assert silent == []
