"""What values can be: slips and what they get, as the page tells; a range for every quantity, none too narrow."""

from __future__ import annotations

import json
import types
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from firmware_host.errors import ImplausibleError, InputError
from firmware_host.model import Job, Machine, job_from, load_job, load_machine, load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.model.plausible.check import findings
from firmware_host.model.plausible.jobs import JOB_PAIRS, TOGETHER_PAIRS
from firmware_host.model.plausible.machines import MACHINE_PAIRS
from firmware_host.model.plausible.motors import MOTOR_PAIRS
from firmware_host.model.plausible.pair import Pair
from firmware_host.model.plausible.ranges import OTHER_UNITS, RANGES, Range
from firmware_host.units import KINDS, QuantityField, parse_quantity
from tests.cli.command import call
from tests.model.files.files_for_tests import write_all
from tests.model.plausible.slips import ACCEPTED, ERROR, PAGE, SLIPS, WARNING, Slip, page_with, table, what_it_gets

NOBODY = Path("/nonexistent")
#: Angles count from anywhere; zero and whole turns are usual.
WITHOUT_A_RANGE = {
    "axis.tilt", "axis.travel.lowest", "axis.travel.highest", "mark.angle", "mark.start_angle", "mark.start_edge",
    "part.bodies.angle", "part.keep_out.start", "part.keep_out.end", "part.mass_offset_angle",
}  # fmt: skip


@pytest.mark.parametrize("slip", SLIPS, ids=[f"{n}-{slip.new}" for n, slip in enumerate(SLIPS)])
def test_a_slip_gets_what_it_is_said_to(slip: Slip) -> None:
    gets, told = what_it_gets(slip)
    assert gets == slip.gets, told
    if gets != ACCEPTED:
        assert slip.old.partition(" = ")[0] in told or "part.mass" in told or "detent" in told


def test_there_are_forty_slips_of_all_three_kinds_and_the_page_tells_them() -> None:
    assert len(SLIPS) >= 40
    assert {slip.gets for slip in SLIPS} == {ERROR, WARNING, ACCEPTED}
    assert PAGE.read_text(encoding="utf-8") == page_with(table()), (
        "python -m tests.model.plausible.slips writes it anew"
    )


def quantity_keys(model: type[BaseModel], prefix: str = "") -> dict[str, str]:
    """Every key of a model that holds a quantity, with its kind."""
    found: dict[str, str] = {}
    for name, field in model.model_fields.items():
        inner = [*field.metadata, *_within(field.annotation)]
        found |= {f"{prefix}{name}": each.kind for each in inner if isinstance(each, QuantityField)}
        for each in inner:
            if isinstance(each, type) and issubclass(each, BaseModel):
                found |= quantity_keys(each, f"{prefix}{name}.")
    return found


def _within(annotation: Any) -> list[Any]:
    if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
        return [annotation]
    return [annotation, *(inner for each in get_args(annotation) for inner in _within(each))]


def test_every_key_with_a_unit_has_a_range_or_is_an_angle_from_anywhere() -> None:
    keys = quantity_keys(Machine) | quantity_keys(Job)
    assert len(keys) > 100
    ranged = [key for row in RANGES for key in row.keys]
    assert len(ranged) == len(set(ranged))
    assert set(keys) - set(ranged) == WITHOUT_A_RANGE
    for row in RANGES:
        for key in row.keys if row.unit else ():
            assert parse_quantity(f"1 {row.unit}", keys[key]).kind == keys[key]


@pytest.mark.parametrize("row", RANGES, ids=lambda row: row.keys[0])
def test_a_range_is_in_order_and_says_where_it_is_from(row: Range) -> None:
    assert row.least <= row.low < row.high <= row.most
    assert any(words in row.source for words in ("from memory", "no source"))


def test_other_units_are_those_of_their_kind() -> None:
    for kind, units in OTHER_UNITS.items():
        assert len({parse_quantity(f"1 {unit}", kind).exact for unit in units}) == len(units)
    assert set(OTHER_UNITS) <= set(KINDS)


PAIRS = (*MOTOR_PAIRS, *MACHINE_PAIRS, *JOB_PAIRS, *TOGETHER_PAIRS)


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: "-".join(pair.keys[:2]))
def test_a_pair_is_in_order(pair: Pair) -> None:
    assert pair.least <= pair.low < pair.high < pair.most
    jobs = [load_job(name).job for name in ("shaft-scale", "bottle-band")]
    for low, high, told in pair.slips:
        assert low < high
        for text in [told] if isinstance(told, str) else [told(job) for job in jobs]:
            assert text.endswith("?")


def test_nothing_is_remarked_on_what_ships_and_what_tests_begin_with(tmp_path: Path) -> None:
    for profile in list_profiles("motors", user=NOBODY):
        assert findings(load_motor(str(profile.path))) == []
    for profile in list_profiles("machines", user=NOBODY):
        assert findings(load_machine(str(profile.path))) == []
    for profile in list_profiles("jobs", user=NOBODY):
        assert load_job(str(profile.path)).remarks == ()
    assert load_job(str(write_all(tmp_path))).remarks == ()


def test_values_set_in_python_are_held_to_the_same_ranges() -> None:
    setup = load_job("shaft-scale")
    with pytest.raises(ImplausibleError, match=r'with_values: part\.diameter: 50 m is more than.*"50 mm"'):
        setup.with_values({"part.diameter": "50 m"})
    with pytest.raises(ImplausibleError, match=r'motor\.rotor_inertia: 3 kg\*m\^2 is more than.*"3 g\*cm\^2"'):
        setup.with_values({"motor.rotor_inertia": "3 kg*m^2"})
    tables = setup.job.model_dump(mode="json", exclude_none=True)
    tables["part"]["mass"] = "1850 kg"
    with pytest.raises(ImplausibleError, match=r"job_from: part\.mass: 1850 kg weighed.*Grams for kilograms"):
        job_from(tables, machine=setup.machine)


def test_what_does_not_go_together_yet_is_remarked_on_where_values_are_set_one_by_one() -> None:
    thick = load_job("shaft-scale").with_values({"part.diameter": "500 mm"})
    assert any("part.mass: 1.85 kg weighed" in line and "1/100" in line for line in thick.remarks)


def test_several_values_that_cannot_be_are_told_at_once(tmp_path: Path) -> None:
    job = write_all(tmp_path)
    text = job.read_text(encoding="utf-8").replace('"50 mm"', '"50 m"').replace('"44 mm"', '"44 m"')
    job.write_text(text.replace('half_depth = "0.5 mm"', 'half_depth = "0.5 m"'), encoding="utf-8")
    with pytest.raises(InputError, match="more than any has") as caught:
        load_job(str(job))
    lines = str(caught.value).splitlines()
    assert lines[0].startswith(f"{job}:8: part.diameter: 50 m is more than any has")
    assert "line 9: part.inner_diameter" in str(caught.value)
    assert "line 22: window.half_depth" in str(caught.value)


@pytest.mark.some(1)
@pytest.mark.parametrize("command", ["segments", "moves", "limits", "motors"])
def test_a_remark_is_on_standard_error_and_in_the_json_of_each_command(tmp_path: Path, command: str) -> None:
    job = write_all(tmp_path)
    text = job.read_text(encoding="utf-8").replace("[gate]", 'spot_diameter = "5 mm"\n\n[gate]')
    job.write_text(text, encoding="utf-8")
    ended = call(command, str(job), "--json")
    (line,) = json.loads(ended.out)["remarks"]
    words = 'window.spot_diameter: 5 mm is more than usual (hardly ever above 1,000 um). Did you mean "5 um"?'
    assert line == f"{job}: {words}"
    assert f"warning: {line}" in ended.err
    assert "warning" not in call(command, str(job)).out


def test_checking_a_file_tells_what_is_hardly_so(tmp_path: Path) -> None:
    write_all(tmp_path)
    motor = tmp_path / "motor.toml"
    motor.write_text(motor.read_text(encoding="utf-8").replace('"1 N*m"', '"110 N*m"'), encoding="utf-8")
    ended = call("profile", "check", "motor", str(motor))
    assert ended.status == 0
    assert (
        f"warning: {motor}: holding_torque: 110 N*m is more than usual (hardly ever above 50 N*m). Did you" in ended.err
    )
    assert ended.out == f"motor {motor}: well-formed\n"
