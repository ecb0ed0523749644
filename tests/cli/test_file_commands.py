"""`profile` and `schema`: the files that ship, the user's own, and what a file may hold."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from firmware_host.model import Job, Machine, Motor
from tests.cli.conftest import Circumstep

ROOT = Path(__file__).resolve().parents[2]
KINDS = {"job": "jobs", "machine": "machines", "motor": "motors", "true-machine": "true-machines"}
USUAL = {
    "job": "shaft-scale",
    "machine": "belt-chuck",
    "motor": "nema23-short",
    "true-machine": "worn-belt-chuck",
}


def test_list_names_every_shipped_file(circumstep: Circumstep) -> None:
    ended = circumstep("profile", "list", "--json")
    assert ended.status == 0
    listed = {(entry["kind"], entry["name"]) for entry in json.loads(ended.out)}
    there = {(kind, path.stem) for kind, folder in KINDS.items() for path in (ROOT / "profiles" / folder).iterdir()}
    assert listed == there
    assert all(entry["shipped"] and Path(entry["file"]).is_file() for entry in json.loads(ended.out))
    lines = circumstep("profile", "list").out.splitlines()
    assert {tuple(line.split()[:2]) for line in lines[2:]} == there


@pytest.mark.parametrize("kind", KINDS)
def test_show_and_check_take_every_shipped_file(circumstep: Circumstep, kind: str) -> None:
    for path in (ROOT / "profiles" / KINDS[kind]).iterdir():
        assert circumstep("profile", "show", kind, path.stem).out == path.read_text(encoding="utf-8")
        checked = circumstep("profile", "check", kind, path.stem)
        assert (checked.status, checked.out) == (0, f"{kind} {path.stem}: well-formed\n")


@pytest.mark.parametrize("kind", ["job", "machine"])
def test_check_tells_a_dialect_that_there_is_not_and_names_those_there_are(
    circumstep: Circumstep, tmp_path: Path, kind: str
) -> None:
    assert circumstep("profile", "new", "job", "own.toml", "--from", "shaft-scale").status == 0
    assert circumstep("profile", "new", "machine", "m.toml", "--from", "printer-board-chuck").status == 0
    own, machine = tmp_path / "own.toml", tmp_path / "m.toml"
    own.write_text(own.read_text().replace('"belt-chuck"', '"m.toml"'))
    machine.write_text(machine.read_text().replace('"numbered-line"', '"numberd-line"'))
    ended = circumstep("profile", "check", kind, {"job": "own.toml", "machine": "m.toml"}[kind])
    assert (ended.status, ended.out) == (2, "")
    told = " ".join(ended.err.split())
    assert "m.toml: link.dialect: unknown dialect 'numberd-line'" in told
    assert "Did you mean 'numbered-line'? Known: numbered-line, status-query" in told


def test_there_is_a_machine_for_each_dialect_and_one_for_a_real_rotary_axis() -> None:
    machines = {path.stem: tomllib.loads(path.read_text()) for path in (ROOT / "profiles" / "machines").iterdir()}
    assert {machine["link"]["dialect"] for machine in machines.values()} == {"numbered-line", "status-query"}
    assert machines["fourth-axis-chuck"]["axis"]["letter"] == "A"


def test_check_finds_the_fault_of_a_machine_that_a_job_names(circumstep: Circumstep, tmp_path: Path) -> None:
    assert circumstep("profile", "new", "job", "own.toml", "--from", "shaft-scale").status == 0
    assert circumstep("profile", "new", "machine", "m.toml", "--from", "belt-chuck").status == 0
    own, machine = tmp_path / "own.toml", tmp_path / "m.toml"
    own.write_text(own.read_text().replace('"belt-chuck"', '"m.toml"'))
    assert circumstep("profile", "check", "job", "own.toml").status == 0
    wrong = machine.read_text().replace("driven_teeth = 60", "driven_teeth = 0")
    machine.write_text(wrong)
    line = wrong.splitlines().index("driven_teeth = 0") + 1
    ended = circumstep("profile", "check", "job", "own.toml")
    assert ended.status == 2
    assert ended.err.startswith(f"error: m.toml:{line}: gearing.0.driven_teeth: ")


@pytest.mark.parametrize("kind", KINDS)
def test_new_makes_a_file_that_is_well_formed_and_never_replaces_one(
    circumstep: Circumstep, tmp_path: Path, kind: str
) -> None:
    made = circumstep("profile", "new", kind, "mine", "--from", USUAL[kind])
    path = tmp_path / "xdg_config_home" / "circumstep" / KINDS[kind] / "mine.toml"
    assert (made.status, made.out) == (0, f"{path}\n")
    assert circumstep("profile", "check", kind, "mine").status == 0
    path.write_text("kept = true\n")
    again = circumstep("profile", "new", kind, "mine", "--from", USUAL[kind])
    assert (again.status, again.out) == (2, "")
    assert again.err.startswith(f"error: {path}: is there already")
    assert path.read_text() == "kept = true\n"


def test_a_new_job_is_for_the_machine_that_is_named(circumstep: Circumstep) -> None:
    assert circumstep("profile", "new", "machine", "my-rollers", "--from", "two-rollers").status == 0
    Path("drawings").mkdir()
    words = ("--from", "bottle-band", "--machine")
    assert circumstep("profile", "new", "job", "drawings/a.toml", *words, "my-rollers").status == 0
    shipped = "#:schema ./job.schema.json\n" + circumstep("profile", "show", "job", "bottle-band").out
    assert Path("drawings/a.toml").read_text("utf-8") == shipped.replace('"two-rollers"', '"my-rollers"')
    assert circumstep("profile", "check", "job", "drawings/a.toml").status == 0
    assert circumstep("profile", "new", "machine", "m.toml", "--from", "belt-chuck").status == 0
    for name in ("here.toml", "drawings/b.toml", "own"):  # a path is found from wherever the job's file is
        assert circumstep("profile", "new", "job", name, "--from", "shaft-scale", "--machine", "m.toml").status == 0
        assert circumstep("profile", "check", "job", name).status == 0
    assert 'machine = "m.toml"' in Path("here.toml").read_text("utf-8")
    for words in (("job", "c.toml", "--machine", "my-roller"), ("motor", "c.toml", "--machine", "my-rollers")):
        refused = circumstep("profile", "new", *words, "--from", "shaft-scale" if words[0] == "job" else "nema23-short")
        assert refused.status == 2
        assert "Did you mean 'my-rollers'?" in refused.err or "only a job names its machine" in refused.err
        assert not Path("c.toml").exists()


def test_new_starts_from_the_profile_named(circumstep: Circumstep, tmp_path: Path) -> None:
    assert circumstep("profile", "new", "machine", "m.toml", "--from", "two-rollers").status == 0
    assert tomllib.loads((tmp_path / "m.toml").read_text())["drive"]["kind"] == "rollers"
    ended = circumstep("profile", "new", "machine", "n.toml", "--from", "two-roler")
    assert ended.status == 2
    assert "Did you mean 'two-rollers'?" in ended.err
    assert not (tmp_path / "n.toml").exists()


def test_new_says_where_it_cannot_write(circumstep: Circumstep, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    ended = circumstep("profile", "new", "job", "file/own.toml", "--from", "shaft-scale")
    assert (ended.status, ended.out) == (2, "")
    assert ended.err.startswith("error: file/own.toml: ")


def test_a_users_own_file_hides_the_shipped_one_of_its_name(circumstep: Circumstep) -> None:
    assert circumstep("profile", "new", "job", "shaft-scale", "--from", "sleeve-label").status == 0
    listed = {entry["name"]: entry["shipped"] for entry in json.loads(circumstep("profile", "list", "--json").out)}
    assert listed["shaft-scale"] is False
    assert listed["bottle-band"] is True
    assert "brass sleeve" in circumstep("profile", "show", "job", "shaft-scale").out


# --- JSON Schema, checked with the package jsonschema (draft 2020-12) --------------------------------------------


def schema_of(circumstep: Circumstep, kind: str) -> dict[str, Any]:
    ended = circumstep("schema", kind)
    assert (ended.status, ended.err) == (0, "")
    document: dict[str, Any] = json.loads(ended.out)
    return document


@pytest.mark.parametrize("kind", ["job", "machine", "motor"])
def test_a_schema_is_well_formed_and_takes_every_shipped_file(circumstep: Circumstep, kind: str) -> None:
    schema = schema_of(circumstep, kind)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    for path in (ROOT / "profiles" / KINDS[kind]).iterdir():
        assert list(validator.iter_errors(tomllib.loads(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize(
    ("kind", "old", "new", "place"),
    [
        ("job", 'diameter = "50 mm"', "diameter = 50", ["part", "diameter"]),
        ("job", 'diameter = "50 mm"', 'diameter = "50"', ["part", "diameter"]),
        ("job", "passes = 2", "passes = 0", ["mark", "passes"]),
        ("job", "passes = 2", "pases = 2", ["mark"]),
        ("machine", "driven_teeth = 60", "driven_teeth = 0", ["gearing", 0, "driven_teeth"]),
        ("machine", 'letter = "A"', 'letter = "Q"', ["axis", "letter"]),
        ("motor", 'holding_torque = "1.10 N*m"', "holding_torque = 1.1", ["holding_torque"]),
    ],
    ids=["bare-number", "no-unit", "no-pass", "unknown-key", "no-teeth", "axis-letter", "bare-torque"],
)
def test_a_schema_refuses_what_the_program_refuses(
    circumstep: Circumstep, kind: str, old: str, new: str, place: list[str | int]
) -> None:
    name = {"job": "shaft-scale", "machine": "belt-chuck", "motor": "nema23-short"}[kind]
    text = circumstep("profile", "show", kind, name).out
    assert old in text
    errors = Draft202012Validator(schema_of(circumstep, kind)).iter_errors(tomllib.loads(text.replace(old, new)))
    leaves = [inner for error in errors for inner in (error, *(error.context or ()))]
    assert place in [list(error.absolute_path) for error in leaves]


@pytest.mark.parametrize(("kind", "model"), [("job", Job), ("machine", Machine), ("motor", Motor)])
def test_a_schema_names_every_key_of_the_model(
    circumstep: Circumstep, kind: str, model: type[Job] | type[Machine] | type[Motor]
) -> None:
    schema = schema_of(circumstep, kind)
    assert set(schema["properties"]) == set(model.model_fields)
    assert schema["additionalProperties"] is False
    needed = {name for name, field in model.model_fields.items() if field.is_required()}
    assert set(schema["required"]) == needed


# --- what editors show -------------------------------------------------------------------------------------------


def keys_of(node: dict[str, Any], tables: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every key of a schema with what stands behind it, in each of its tables once."""
    for name, table in {"": node, **tables}.items():
        yield from ((f"{name}.{key}", said) for key, said in table.get("properties", {}).items())


@pytest.mark.parametrize("kind", ["job", "machine", "motor"])
def test_an_editor_shows_of_every_key_what_it_means_and_a_unit_where_it_takes_one(
    circumstep: Circumstep, kind: str
) -> None:
    schema = schema_of(circumstep, kind)
    keys = dict(keys_of(schema, schema["$defs"]))
    assert len(keys) > 20
    for key, said in keys.items():
        assert re.fullmatch(r"[A-Z\"].+\. Takes .+\.", said.get("description", "")), key
        if "pattern" in json.dumps(said) and "examples" in json.dumps(said):
            example = re.search(r'as `"([^"]+)"`', said["description"])
            assert example, (key, said["description"])
            assert re.search(r"\d ?\S*[A-Za-z]", example[1]), key  # a number with its unit
    ranged = [said["description"] for said in keys.values() if "Usually" in said["description"]]
    assert len(ranged) > 10
    assert {"job": "Usually 0.5 to 1,000 mm.", "machine": "Usually 4 to 150 V.", "motor": "Usually 0.003 to 50 N*m."}[
        kind
    ] in " ".join(ranged)


@pytest.mark.parametrize("start", ["", "\ufeff", "#:schema https://elsewhere/x.json\n"], ids=["plain", "mark", "old"])
def test_a_file_is_given_the_line_by_which_editors_find_its_schema(
    circumstep: Circumstep, tmp_path: Path, start: str
) -> None:
    text = circumstep("profile", "show", "job", "shaft-scale").out
    file = tmp_path / "my job.toml"
    for end in ("\n", "\r\n"):
        file.write_bytes((start + text).replace("\n", end).encode())
        for _ in range(2):  # a second time changes nothing
            ended = circumstep("schema", "job", "--beside", str(file))
            assert (ended.status, ended.err) == (0, "")
            assert ended.out == f"{tmp_path / 'job.schema.json'}\n"
            mark = "\ufeff" if start == "\ufeff" else ""
            assert file.read_bytes() == (f"{mark}#:schema ./job.schema.json\n{text}").replace("\n", end).encode()
    referred = file.read_text(encoding="utf-8-sig").partition("\n")[0].strip().removeprefix("#:schema ")
    schema = json.loads((tmp_path / referred).read_text(encoding="utf-8"))
    Draft202012Validator(schema).validate(tomllib.loads(file.read_text(encoding="utf-8-sig")))
    assert circumstep("profile", "check", "job", str(file)).status == 0


def test_no_line_is_put_into_what_is_no_file_of_a_user(circumstep: Circumstep, tmp_path: Path) -> None:
    ended = circumstep("schema", "job", "--beside", str(tmp_path / "none.toml"))
    assert ended.status == 2
    assert "no such file" in ended.err
    (tmp_path / "broken.toml").write_text("[part\n", encoding="utf-8")
    assert circumstep("schema", "job", "--beside", str(tmp_path / "broken.toml")).status == 2
    assert (tmp_path / "broken.toml").read_text(encoding="utf-8") == "[part\n"
    assert circumstep("schema", "state", "--beside", str(tmp_path / "broken.toml")).status == 2
    assert sorted(path.name for path in tmp_path.glob("*.json")) == []


def test_a_new_file_has_that_line(circumstep: Circumstep, tmp_path: Path) -> None:
    made = circumstep("profile", "new", "motor", str(tmp_path / "mine.toml"), "--from", "nema17-short")
    assert made.status == 0, made.err
    assert (tmp_path / "mine.toml").read_text(encoding="utf-8").startswith("#:schema ./motor.schema.json\n")
    assert json.loads((tmp_path / "motor.schema.json").read_text(encoding="utf-8"))["title"] == "Motor"
