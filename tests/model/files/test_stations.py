"""The stations of a user: kept, changed and forgotten in one file, whose comments stay and that only he may write."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
from filelock import FileLock

from firmware_host.errors import InputError, UnreadableFileError
from firmware_host.folders import shipped_folder, stations_file
from firmware_host.model.files.keeping import forget_station, keep_station, use_station
from firmware_host.model.files.stations import RememberedStation, kept_stations, remembered_station
from firmware_host.model.job.gate import CommandGateOptions, TcpGateOptions

BENCH = RememberedStation("bench", "belt-chuck", "/dev/ttyUSB0", 9600)
COMMAND = CommandGateOptions.model_validate({"kind": "command", "timeout": "5 min"})
MARKING = RememberedStation("laser", "two-rollers", gate=COMMAND, gate_program=("mark", "--quick"))


def text(user: Path) -> str:
    return stations_file(user=user).read_text(encoding="utf-8")


def test_where_no_station_is_kept_there_is_an_empty_one(tmp_path: Path) -> None:
    assert remembered_station(user=tmp_path) == RememberedStation()
    assert not stations_file(user=tmp_path).exists()


def test_what_is_kept_is_read_back_and_the_first_station_is_the_one_in_use(tmp_path: Path) -> None:
    gate = TcpGateOptions.model_validate({"kind": "tcp", "timeout": "10 min", "port": 4000})
    other = RememberedStation("table", "two-rollers", units="inch", gate=gate)
    keep_station(BENCH, user=tmp_path)
    keep_station(other, user=tmp_path)
    assert remembered_station(user=tmp_path) == BENCH
    assert remembered_station("table", user=tmp_path) == other
    use_station("table", user=tmp_path)
    assert remembered_station(user=tmp_path) == other


def test_a_station_that_is_alone_is_in_use_and_none_of_several_is_where_nobody_said(tmp_path: Path) -> None:
    for name in ("a", "b", "c"):
        keep_station(replace(BENCH, name=name), user=tmp_path)
    assert forget_station("a", user=tmp_path).in_use == ""
    assert remembered_station(user=tmp_path) == RememberedStation()
    assert forget_station("c", user=tmp_path).in_use == "b"
    assert remembered_station(user=tmp_path).name == "b"


def test_comments_and_order_of_the_file_stay(tmp_path: Path) -> None:
    written = (
        "# our workshop\nversion = 1\n\n[stations.bench] # by the window\nmachine = 'belt-chuck' # the small one\n"
        "port = '/dev/ttyUSB0'\n\n# the loan\n[stations.table]\nmachine = 'two-rollers'\n"
    )
    stations_file(user=tmp_path).write_text(written, encoding="utf-8")
    keep_station(replace(BENCH, port="COM3", baud=None), change=True, user=tmp_path)
    use_station("table", user=tmp_path)
    changed = written.replace("'/dev/ttyUSB0'", '"COM3"').replace("version = 1\n", 'version = 1\nuse = "table"\n')
    assert text(tmp_path) == changed


def test_a_machine_here_is_kept_by_its_whole_path_and_a_name_that_is_found_everywhere_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    shipped = (shipped_folder() / "machines/belt-chuck.toml").read_text(encoding="utf-8")
    for name in ("mine.toml", "user/machines/own.toml"):
        Path(name).parent.mkdir(parents=True, exist_ok=True)
        Path(name).write_text(shipped, encoding="utf-8")
    user, here = tmp_path / "user", str(Path("mine.toml").resolve())
    kept = {
        machine: keep_station(RememberedStation(name, machine), user=user).machine
        for name, machine in zip("abcd", ("mine.toml", "mine", "own", "belt-chuck"), strict=True)
    }
    assert kept == {"mine.toml": here, "mine": here, "own": "own", "belt-chuck": "belt-chuck"}


@pytest.mark.posix("links")
def test_words_of_the_program_that_are_files_here_are_kept_by_their_whole_paths(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("elsewhere").write_text("", encoding="utf-8")
    for name in ("mark", "mark.py"):  # a link stays one: a program may look where it was called from
        Path(name).symlink_to("elsewhere")
    whole = {name: str(tmp_path / name) for name in ("mark", "mark.py")}
    bare = keep_station(replace(MARKING, gate_program=("mark", "mark.py", "-q")), user=tmp_path)
    assert bare.gate_program == ("mark", whole["mark.py"], "-q")  # the system looks for a bare program elsewhere
    pathed = keep_station(replace(MARKING, name="b", gate_program=("./mark", "other.py")), user=tmp_path)
    assert pathed.gate_program == (whole["mark"], "other.py")


@pytest.mark.parametrize(
    ("station", "message"),
    [
        pytest.param(replace(BENCH, name="a b"), "'a b' is no name of a station", id="name"),
        pytest.param(replace(BENCH, machine="no-such"), "no machine profile has this name", id="machine"),
        pytest.param(replace(BENCH, gate_program=("mark",), gate=TcpGateOptions.model_validate(
            {"kind": "tcp", "timeout": "1 s"})), "the gate tcp starts no program", id="program"),
        pytest.param(replace(BENCH, baud=-1), r"stations\.bench\.baud", id="baud"),
    ],
)  # fmt: skip
def test_what_no_station_can_be_is_refused_and_nothing_is_written(
    tmp_path: Path, station: RememberedStation, message: str
) -> None:
    with pytest.raises(InputError, match=message):
        keep_station(station, user=tmp_path)
    assert [each for each in tmp_path.iterdir() if each.suffix != ".lock"] == []


def test_a_name_that_is_kept_is_not_overwritten_and_one_that_is_not_kept_not_changed(tmp_path: Path) -> None:
    keep_station(BENCH, user=tmp_path)
    before = text(tmp_path)
    with pytest.raises(InputError, match="bench: is kept already"):
        keep_station(replace(BENCH, port="COM9"), user=tmp_path)
    for act in (forget_station, use_station):
        with pytest.raises(InputError, match=r"no station has this name\. Did you mean 'bench'"):
            act("bensh", user=tmp_path)
    with pytest.raises(InputError, match="no station has this name"):
        keep_station(replace(BENCH, name="new"), change=True, user=tmp_path)
    assert text(tmp_path) == before


@pytest.mark.parametrize(
    ("written", "message"),
    [
        ("version = 2\n", r"stations\.toml:1: version"),
        ("version = 1\nuse = 'bench'\n", r"stations\.toml:2: use: there is no station 'bench'"),
        ("version = 1\n[stations.a]\nmachine = 'm'\nprot = 'COM3'\n", r":4: .*prot: unknown key"),
        ("version = 1\n[stations.a]\nmachine = 'm'\ngate = { kind = 'tcp' }\n", r"timeout: this key is missing"),
        ("version = 1\n[stations.'a b']\nmachine = 'm'\n", r"stations\.a b: is no name"),
        ("version = 1\n[stations.a\n", "is not valid TOML"),
    ],
    ids=["version", "use", "key", "gate", "name", "syntax"],
)
def test_a_file_that_is_not_right_is_told_with_its_line_and_never_written_over(
    tmp_path: Path, written: str, message: str
) -> None:
    stations_file(user=tmp_path).write_text(written, encoding="utf-8")
    with pytest.raises(InputError, match=message):
        remembered_station(user=tmp_path)
    with pytest.raises(InputError, match=message):
        keep_station(BENCH, user=tmp_path)
    assert text(tmp_path) == written


@pytest.mark.posix("rights of a file")
@pytest.mark.parametrize(("what", "told"), [("file", "the file"), ("folder", "its folder")], ids=["file", "folder"])
@pytest.mark.parametrize("right", [0o020, 0o002], ids=["group", "everybody"])
def test_a_program_of_a_file_that_others_may_write_is_refused(tmp_path: Path, what: str, told: str, right: int) -> None:
    keep_station(MARKING, user=tmp_path)
    assert remembered_station(user=tmp_path).gate_program == ("mark", "--quick")
    open_to_others = stations_file(user=tmp_path) if what == "file" else tmp_path
    open_to_others.chmod(open_to_others.stat().st_mode | right)
    with pytest.raises(UnreadableFileError, match=f"names a program that a run would start, and {told} may be written"):
        remembered_station(user=tmp_path)


@pytest.mark.posix("rights of a file")
def test_a_file_that_names_no_program_may_have_any_rights_and_a_new_one_is_for_its_user_alone(tmp_path: Path) -> None:
    tmp_path.chmod(0o775)
    keep_station(BENCH, user=tmp_path)
    assert stations_file(user=tmp_path).stat().st_mode & 0o777 == 0o600
    stations_file(user=tmp_path).chmod(0o666)
    assert remembered_station(user=tmp_path) == BENCH
    keep_station(MARKING, user=tmp_path)  # puts the rights in order with the first program
    assert kept_stations(user=tmp_path).named("laser").gate_program == ("mark", "--quick")


@pytest.mark.posix("links")
def test_a_link_to_the_file_stays_a_link(tmp_path: Path) -> None:
    kept = tmp_path / "elsewhere.toml"
    kept.write_text("version = 1\n", encoding="utf-8")
    stations_file(user=tmp_path).symlink_to(kept)
    keep_station(BENCH, user=tmp_path)
    assert stations_file(user=tmp_path).is_symlink()
    assert remembered_station(user=tmp_path) == BENCH


def test_a_change_waits_for_that_of_another_process_and_both_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = keep_station(replace(BENCH, name="first"), user=tmp_path)
    with FileLock(f"{stations_file(user=tmp_path)}.lock"):
        monkeypatch.setattr("firmware_host.model.files.keeping._PATIENCE_S", 0.0)
        with pytest.raises(InputError, match="another process is changing it"):
            keep_station(BENCH, user=tmp_path)
    assert kept_stations(user=tmp_path).by_name == {"first": other}
    monkeypatch.undo()
    with ThreadPoolExecutor(8) as threads:
        names = [f"bench-{number}" for number in range(24)]
        list(threads.map(lambda name: keep_station(replace(BENCH, name=name), user=tmp_path), names))
    assert set(kept_stations(user=tmp_path).by_name) == {"first", *names}
