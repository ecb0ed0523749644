"""A run's folder: never one of an earlier run, and what it keeps of job and machine comes back as it was."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from firmware_host.errors import InputError, JournalError
from firmware_host.model import load_job
from firmware_host.station.runs.folder import RunFolder

NOW = datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)


def test_folders_of_the_same_second_and_name_are_different(tmp_path: Path) -> None:
    names = [RunFolder.create(tmp_path / "runs", "Shaft, 60 mm", NOW).path.name for _ in range(3)]
    assert names == ["20260304-050607-shaft-60-mm", "20260304-050607-shaft-60-mm-2", "20260304-050607-shaft-60-mm-3"]


@pytest.mark.parametrize(
    ("name", "slug"),
    [("../../etc", "etc"), ("///", "job"), ("\u00e9\u00e8", "job"), ("x" * 200, "x" * 40), ("a\nb\x00c", "a-b-c")],
    ids=["dots", "slashes", "accents", "long", "control"],
)
def test_no_job_name_leads_out_of_the_folder_of_runs(name: str, slug: str, tmp_path: Path) -> None:
    folder = RunFolder.create(tmp_path / "runs", name, NOW)
    assert folder.path == tmp_path / "runs" / f"20260304-050607-{slug}"


def test_a_place_where_no_folder_can_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "runs").write_bytes(b"a file in the folder's place")
    with pytest.raises(JournalError, match="cannot be made"):
        RunFolder.create(tmp_path / "runs", "job", NOW)


@pytest.mark.parametrize("job", ["shaft-scale", "heavy-shaft", "sleeve-label", "bottle-band"])
def test_job_and_machine_come_back_as_they_were_with_their_sources(job: str, tmp_path: Path) -> None:
    setup = load_job(job)
    folder = RunFolder.create(tmp_path, job, NOW)
    digest = folder.save_setup(setup)
    assert folder.load_setup() == setup
    assert folder.setup_digest() == digest


def test_the_digest_tells_any_change_of_the_kept_job(tmp_path: Path) -> None:
    folder = RunFolder.create(tmp_path, "job", NOW)
    digest = folder.save_setup(load_job("shaft-scale"))
    text = folder.setup.read_text("utf-8")
    folder.setup.write_text(text.replace('"50 mm"', '"51 mm"'), encoding="utf-8")
    assert folder.setup_digest() != digest


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"[]", b'{"job": {}}', b"\xff", b"[" * 100_000, b" " * 4_000_001],
    ids=["empty", "torn", "list", "half", "no-text", "nested", "huge"],
)
def test_a_kept_job_that_is_not_whole_is_told_as_such(content: bytes, tmp_path: Path) -> None:
    folder = RunFolder.create(tmp_path, "job", NOW)
    folder.setup.write_bytes(content)
    with pytest.raises(JournalError, match=r"setup\.json: (cannot be read|is larger)"):
        folder.load_setup()


def test_a_kept_job_with_an_impossible_value_is_told_with_its_key(tmp_path: Path) -> None:
    folder = RunFolder.create(tmp_path, "job", NOW)
    folder.save_setup(load_job("shaft-scale"))
    text = folder.setup.read_text("utf-8").replace('"50 mm"', '"-50 mm"', 1)
    folder.setup.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"part\.diameter"):
        folder.load_setup()


def test_a_folder_without_a_journal_is_no_run(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is no run folder"):
        RunFolder.existing(tmp_path)
    (tmp_path / "journal.jsonl").write_bytes(b"")
    assert RunFolder.existing(tmp_path).journal == tmp_path / "journal.jsonl"
    link = tmp_path.parent / "link"
    link.symlink_to(tmp_path)
    with pytest.raises(InputError, match="is no run folder"):
        RunFolder.existing(link)


def test_a_kept_job_above_the_bound_is_refused_by_its_size_alone(tmp_path: Path) -> None:
    folder = RunFolder.create(tmp_path, "job", NOW)
    folder.save_setup(load_job("shaft-scale"))
    with folder.setup.open("a", encoding="utf-8") as file:
        file.write(" " * 4_000_000)
    with pytest.raises(JournalError, match=r"setup\.json: is larger than 4000000 bytes"):
        folder.load_setup()
