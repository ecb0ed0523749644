"""The profiles that ship with the package, the schemas that describe them, and what happens to a user's own."""

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from firmware_host.errors import InputError
from firmware_host.folders import shipped_folder
from firmware_host.model import Job, Machine, Motor, load_job, load_machine, load_motor, schema
from firmware_host.model.files.files import read_toml
from firmware_host.model.files.profiles import find_profile, list_profiles
from tests.model.files.files_for_tests import write_all

NOBODY = Path("/nonexistent")


def shipped(kind: Any) -> list[Any]:
    return [
        pytest.param(profile.path, id=profile.name) for profile in list_profiles(kind, user=NOBODY) if profile.shipped
    ]


@pytest.mark.parametrize("path", shipped("motors"))
def test_a_shipped_motor_loads_and_says_that_its_data_are_invented(path: Path) -> None:
    motor = load_motor(str(path))
    assert "invented" in motor.data
    assert motor.full_steps in (200, 400)
    assert motor.torque_curve is not None
    assert all(point.torque.si < motor.holding_torque.si for point in motor.torque_curve.points)


@pytest.mark.parametrize("path", shipped("machines"))
def test_a_shipped_machine_loads_and_drives_its_motor_within_its_rating(path: Path) -> None:
    machine = load_machine(str(path))
    assert machine.driver.current.exact <= machine.motor.rated_current.exact
    assert machine.steps_per_axis_unit > 0


@pytest.mark.parametrize("path", shipped("jobs"))
def test_a_shipped_job_loads_with_its_machine(path: Path) -> None:
    setup = load_job(str(path))
    assert Path(setup.machine_source).parent == shipped_folder() / "machines"
    assert Path(setup.machine_source).stem == setup.job.machine


def test_the_kinds_of_machines_and_motors_that_were_promised_are_there() -> None:
    machines = [load_machine(str(profile.path)) for profile in list_profiles("machines", user=NOBODY)]
    assert {(machine.drive.kind, machine.reduction) for machine in machines} == {
        ("chuck", Fraction(3)),
        ("chuck", Fraction(6)),
        ("chuck", Fraction(1)),
        ("chuck", Fraction(30)),
        ("rollers", Fraction(1)),
    }
    motors = [load_motor(str(profile.path)) for profile in list_profiles("motors", user=NOBODY)]
    assert {motor.frame for motor in motors} == {"NEMA 14", "NEMA 17", "NEMA 23", "NEMA 34"}
    assert len(motors) >= 8
    assert len(list_profiles("jobs", user=NOBODY)) >= 4


@pytest.mark.parametrize(
    ("kind", "model", "load"),
    [
        ("motors", Motor, load_motor),
        ("machines", Machine, load_machine),
        ("jobs", Job, lambda path: load_job(path).job),
    ],
    ids=["motors", "machines", "jobs"],
)
def test_a_model_written_out_and_read_back_is_the_same(kind: Any, model: type[BaseModel], load: Any) -> None:
    for profile in list_profiles(kind, user=NOBODY):
        described = load(str(profile.path))
        assert model.model_validate(described.model_dump(mode="json")) == described
        assert model.model_validate_json(described.model_dump_json()) == described


def described_by(node: dict[str, Any], document: dict[str, Any]) -> list[dict[str, Any]]:
    """The object schemas a schema node can stand for."""
    if "$ref" in node:
        return described_by(document["$defs"][node["$ref"].rpartition("/")[2]], document)
    branches = node.get("anyOf", []) + node.get("oneOf", [])
    if branches:
        return [found for branch in branches for found in described_by(branch, document)]
    return [node]


def fits(value: Any, node: dict[str, Any], document: dict[str, Any]) -> bool:
    """Whether a parsed TOML value fits a schema node: kinds of values, known keys, required keys, constants."""
    return any(_fits_one(value, option, document) for option in described_by(node, document))


def _fits_one(value: Any, node: dict[str, Any], document: dict[str, Any]) -> bool:
    if "const" in node:
        return bool(value == node["const"])
    if "enum" in node:
        return value in node["enum"]
    if isinstance(value, dict):
        known = node.get("properties", {})
        complete = set(node.get("required", [])) <= set(value)
        closed = node.get("additionalProperties") is True or set(value) <= set(known)
        return (
            node.get("type") == "object"
            and complete
            and closed
            and all(fits(inner, known.get(key, {}), document) for key, inner in value.items())
        )
    if isinstance(value, list):
        return node.get("type") == "array" and all(fits(inner, node["items"], document) for inner in value)
    names = {str: ("string",), bool: ("boolean",), int: ("integer", "number"), float: ("number",)}[type(value)]
    return node.get("type") in names


@pytest.mark.parametrize("kind", ["job", "machine", "motor"])
def test_the_published_schema_fits_every_shipped_file(kind: str) -> None:
    document = schema(kind)
    assert document["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    files = list_profiles(f"{kind}s", user=NOBODY)  # type: ignore[arg-type]
    assert files
    for profile in files:
        tables, _ = read_toml(profile.path)
        assert fits(tables, document, document), profile.name
        assert not fits({**tables, "unheard_of": 1}, document, document)
        assert not fits({key: value for key, value in tables.items() if key != "name"}, document, document)


def test_the_schema_of_an_unknown_kind_is_refused() -> None:
    with pytest.raises(InputError, match=r"no file kind 'gate'\. Known kinds: job, machine, motor"):
        schema("gate")


def test_a_users_own_profile_hides_the_shipped_one_of_the_same_name(tmp_path: Path) -> None:
    folder = tmp_path / "motors"
    folder.mkdir()
    own = folder / "nema17-long.toml"
    own.write_text("", encoding="utf-8")
    (folder / "notes.txt").write_text("", encoding="utf-8")
    assert find_profile("motors", "nema17-long", user=tmp_path) == own
    listed = {profile.name: profile for profile in list_profiles("motors", user=tmp_path)}
    assert not listed["nema17-long"].shipped
    assert listed["nema17-short"].shipped
    assert "notes" not in listed


def test_a_name_is_looked_for_in_the_users_folder_then_here_then_among_the_shipped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    here, own = Path("nema17-long.toml"), tmp_path / "user" / "motors" / "nema17-long.toml"
    shipped = shipped_folder() / "motors" / "nema17-long.toml"
    own.parent.mkdir(parents=True)
    for path, hides in ((shipped, ()), (here, ("shipped",)), (own, ("here", "shipped"))):
        if path is not shipped:
            path.write_bytes(shipped.read_bytes())
        assert find_profile("motors", "nema17-long", user=tmp_path / "user") == path
        (listed,) = (each for each in list_profiles("motors", user=tmp_path / "user") if each.name == "nema17-long")
        assert (listed.path, listed.hides) == (path, hides)
    assert load_machine("belt-chuck").motor == load_motor("nema23-short")


@pytest.mark.parametrize(
    ("written", "error"),
    [
        pytest.param("[project]\nname = 'x'\n", None, id="of another program"),
        pytest.param("[driver]\n", None, id="of another kind"),
        pytest.param("rated_current = '2 A'\n", "this key is missing", id="half of a motor"),
        pytest.param("rated_current = \n", "is not valid TOML", id="damaged"),
    ],
)
def test_a_file_here_is_taken_for_what_its_keys_say_and_a_damaged_one_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: str, error: str | None
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("nema17-long.toml").write_text(written, encoding="utf-8")
    if error is None:
        assert load_motor("nema17-long") == load_motor(str(shipped_folder() / "motors" / "nema17-long.toml"))
    else:
        with pytest.raises(InputError, match=error):
            load_motor("nema17-long")


def test_every_shipped_file_is_known_by_its_keys(tmp_path: Path) -> None:
    for kind in ("jobs", "machines", "motors"):
        for other in ("jobs", "machines", "motors"):
            listed = list_profiles(kind, user=NOBODY, here=shipped_folder() / other)  # type: ignore[arg-type]
            assert [each.origin for each in listed].count("here") == (len(listed) if kind == other else 0)


def test_for_a_name_that_lies_beside_the_file_its_path_is_advised(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = write_all(tmp_path)
    text = job.read_text(encoding="utf-8")
    job.write_text(text.replace('machine = "machine.toml"', 'machine = "machine"'), encoding="utf-8")
    monkeypatch.chdir(shipped_folder())
    with pytest.raises(InputError, match=r"'machine': no machine profile .* Write 'machine\.toml' for the file beside"):
        load_job(str(job))


def test_a_relative_path_in_a_file_starts_beside_that_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "jobs"
    folder.mkdir()
    job = write_all(folder)
    monkeypatch.chdir(tmp_path)
    setup = load_job(str(job))
    assert setup.machine.motor.name == "test motor"
    assert setup.machine.motor.full_steps * setup.machine.driver.microsteps == 3200
    # 200 full steps x 16 x 60/20 x 60/1 = 576000 microsteps per turn, 1600 per degree of the chuck.
    assert setup.machine.microsteps_per_shaft_turn == 576_000
    assert setup.machine.steps_per_axis_unit == 1600
