"""Bad job, machine and motor files: one error each, with the file, the key, the line and what would be right."""

from pathlib import Path

import numpy as np
import pytest

from firmware_host.acts import ListProfiles, ShowSchema
from firmware_host.errors import InputError, QuantityError, UnknownKeyError, UnreadableFileError
from firmware_host.model import load_job, load_machine, load_motor
from tests.model.files.bad_lines import JOB_LINES, MACHINE_LINES, MOTOR_LINES, Bad
from tests.model.files.files_for_tests import JOB, MACHINE, MOTOR, TEXTS, write_all

CASES = [
    pytest.param(file, case, id=f"{file}-{case.name}")
    for file, cases in (("job", JOB_LINES), ("machine", MACHINE_LINES), ("motor", MOTOR_LINES))
    for case in cases
]


@pytest.mark.parametrize(("file", "case"), CASES)
def test_a_spoilt_line_gives_one_error_with_file_key_and_line(file: str, case: Bad, tmp_path: Path) -> None:
    text = TEXTS[file]
    assert text.count(case.old) >= 1
    spoilt = text.replace(case.old, case.new, 1)
    job = write_all(tmp_path, **{file: spoilt})
    with pytest.raises(InputError, match=case.words) as caught:
        load_job(str(job))
    error = caught.value
    assert type(error) is case.kind
    assert error.source == str(tmp_path / f"{file}.toml")
    assert error.key == case.key
    place = text.index(case.old) if case.at is None else spoilt.index(case.at)
    line = None if case.at == "" else spoilt[:place].count("\n") + 1
    assert error.line == line
    if "this key is missing" in str(error):
        assert error.acts == (ShowSchema(file),)
    else:
        assert error.acts == ((ListProfiles(),) if "profile has this name" in str(error) else ())
    where = error.source if line is None else f"{error.source}:{line}"
    assert str(error).startswith(f"{where}: {case.key}: ")
    assert error.exit_status == 2


def noise(size: int) -> bytes:
    return np.random.default_rng(7).bytes(size)


@pytest.mark.parametrize(
    ("data", "words", "line"),
    [
        pytest.param(b"", "is empty", None, id="empty"),
        pytest.param(b"\n# only a comment\n\n", "is empty", None, id="only-a-comment"),
        pytest.param(b'version = 1\nname = "caf\xe9"\n', "is not UTF-8.*Save the file as UTF-8", 2, id="latin-1"),
        pytest.param("name = 1\n".encode("utf-16"), "is not UTF-8", 1, id="utf-16"),
        pytest.param(noise(10_000_000), "is larger than 1000000 bytes", None, id="ten-megabytes-of-noise"),
        pytest.param(noise(5_000), "is not UTF-8|not valid TOML", 1, id="noise"),
        pytest.param(b"version = 1\nname\n", "is not valid TOML", 2, id="no-value"),
        pytest.param(b"version = 1\nversion = 1\n", "is not valid TOML.*overwrite", 2, id="a-key-twice"),
        pytest.param(b'version = 1\nname = "open\n', "is not valid TOML", 2, id="open-string"),
        pytest.param(b"version = 1\n[part\n", "is not valid TOML", 2, id="open-header"),
        pytest.param(b"{\"version\": 1}\n", "is not valid TOML", 1, id="json"),
        pytest.param(b"a = " + b"[" * 50_000, "nested too deeply", 1, id="deep-nesting"),
        pytest.param(b"a = 1\x00\n", "is not valid TOML", 1, id="nul-byte"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("load", [load_job, load_machine, load_motor], ids=["job", "machine", "motor"])
def test_a_file_that_is_no_toml_is_refused(
    load: object, data: bytes, words: str, line: int | None, tmp_path: Path
) -> None:
    path = tmp_path / "bad.toml"
    path.write_bytes(data)
    assert callable(load)
    with pytest.raises(UnreadableFileError, match=words) as caught:
        load(str(path))
    assert caught.value.source == str(path)
    assert caught.value.line == line or (line == 1 and caught.value.line is not None)
    assert caught.value.remedy
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("load", [load_job, load_machine, load_motor], ids=["job", "machine", "motor"])
def test_what_is_no_plain_file_is_refused(load: object, tmp_path: Path) -> None:
    assert callable(load)
    folder = tmp_path / "folder.toml"
    folder.mkdir()
    with pytest.raises(UnreadableFileError, match=r"folder\.toml: is not a plain file"):
        load(str(folder))
    with pytest.raises(
        UnreadableFileError, match=r"none\.toml: no such file\. Name a TOML file, or a profile"
    ) as caught:
        load(str(tmp_path / "none.toml"))
    assert caught.value.acts == (ListProfiles(),)
    with pytest.raises(UnreadableFileError, match=r"cannot be read \(File name too long\)"):
        load(str(tmp_path / ("x" * 300 + ".toml")))


@pytest.mark.parametrize(
    ("load", "reference", "words"),
    [
        (load_job, "shaft-scal", "no job profile has this name.*Did you mean 'shaft-scale'"),
        (load_machine, "two-roller", "no machine profile has this name.*Did you mean 'two-rollers'"),
        (load_motor, "nema17", "no motor profile has this name.*Did you mean 'nema17"),
        (load_motor, "qqqq", r"no motor profile.*A path ends in \.toml"),
    ],
    ids=["job", "machine", "motor", "nothing-near"],
)
def test_an_unknown_profile_suggests_the_nearest(load: object, reference: str, words: str) -> None:
    assert callable(load)
    with pytest.raises(UnreadableFileError, match=words):
        load(reference)


def test_a_machine_file_that_the_job_names_but_is_not_there_is_named(tmp_path: Path) -> None:
    job = write_all(tmp_path, job=JOB.replace("machine.toml", "gone.toml"))
    with pytest.raises(UnreadableFileError, match=r"gone\.toml: no such file"):
        load_job(str(job))


def test_an_error_counts_the_further_problems_in_the_file(tmp_path: Path) -> None:
    spoilt = JOB.replace('"50 mm"', '"0 mm"').replace('"0.5 mm"', '"1 s"').replace('"2 s"', '"2 m"')
    with pytest.raises(QuantityError, match=r"\(2 more problems in this file\)"):
        load_job(str(write_all(tmp_path, job=spoilt)))


def test_a_misspelt_key_is_named_before_wrong_values_and_missing_keys(tmp_path: Path) -> None:
    spoilt = JOB.replace('diameter = "50', 'diametre = "50', 1).replace("version = 1", "version = 3")
    with pytest.raises(
        UnknownKeyError, match=r"part\.diametre: unknown key\. Did you mean 'diameter'\?.*2 more problems"
    ):
        load_job(str(write_all(tmp_path, job=spoilt)))


def test_an_error_in_the_motor_file_names_that_file_and_not_the_machine(tmp_path: Path) -> None:
    job = write_all(tmp_path, motor=MOTOR.replace('"2 A"', '"2 V"'))
    with pytest.raises(QuantityError, match=r"motor\.toml:3: rated_current"):
        load_job(str(job))


def test_a_file_with_a_byte_order_mark_and_windows_line_ends_is_read(tmp_path: Path) -> None:
    job = write_all(tmp_path)
    for name, text in (("job", JOB), ("machine", MACHINE)):
        (tmp_path / f"{name}.toml").write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    setup = load_job(str(job))
    assert setup.job.name == "test job"
    assert setup.machine.reduction == 180
    assert setup.machine_source == str(tmp_path / "machine.toml")


def test_lines_are_right_in_a_file_with_windows_line_ends(tmp_path: Path) -> None:
    job = write_all(tmp_path)
    job.write_bytes(JOB.replace('"50 mm"', '"50 kg"').replace("\n", "\r\n").encode())
    with pytest.raises(QuantityError, match=r"job\.toml:8: part\.diameter"):
        load_job(str(job))
