"""One more kind of drive is one class and its place in the union: jobs with it load, plan, are checked and exported."""

from __future__ import annotations

import ast
import shutil
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
import pytest
from pydantic import Field

from firmware_host.cli.main import run
from firmware_host.mechanics.uncertainty import FactorRange
from firmware_host.model import Job, Machine, Setup, load_job
from firmware_host.model.machine.drives.base import AxisUnit, Drive, ShaftBody
from firmware_host.model.machine.drives.chuck import Chuck
from firmware_host.model.machine.drives.rollers import Rollers
from firmware_host.planning.assume.complete import complete
from firmware_host.planning.index.extremes import index_extremes
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.load.case import load_case
from firmware_host.planning.plan import plan_job
from firmware_host.planning.reliability.draws import IndexDraws
from firmware_host.planning.reliability.estimate import reliability
from firmware_host.units import InertiaOrZero, Length
from tests.planning.limits.workshop import MACHINE, ROLLERS, job

ROOT = Path(__file__).resolve().parents[2]
PROFILES, PACKAGE = ROOT / "profiles", ROOT / "firmware_host"


class RoundBelt(Drive):
    """A round belt from a pulley once around the part, which turns between centres."""

    sets_surface_travel = "roller"

    kind: Literal["round-belt"]
    pulley_diameter: Length
    pulley_inertia: InertiaOrZero

    def shaft_turns_per_part_turn(self, contact_diameter: Length) -> Fraction:
        return contact_diameter.exact / self.pulley_diameter.exact

    def axis_units_per_shaft_turn(self, unit: AxisUnit) -> Fraction | None:
        return Fraction(360) if unit == "deg" else None

    def surface_scale(self, part_ratio: float, true_roller_diameter: float | None) -> float:
        return 1.0

    def surface_uncertainty(self, diameter: Length, diameter_uncertainty: Length | None) -> float:
        return 0.0

    @property
    def shaft_body(self) -> ShaftBody:
        return ShaftBody("pulley", self.pulley_inertia.si)

    @property
    def shaft_friction(self) -> float | None:
        return 0.0


class SoftRollers(Rollers):
    """Rollers under another name: planning asks for the cradle, not for the kind."""

    kind: Literal["soft-rollers"]


class Workshop(Machine):
    """A machine file that knows the new kinds too."""

    drive: Annotated[Chuck | Rollers | RoundBelt | SoftRollers, Field(discriminator="kind")]


BELT = {"kind": "round-belt", "pulley_diameter": "30 mm", "pulley_inertia": "2e-6 kg*m^2"}
WORK = {"index": {"speed": "4 rad/s", "acceleration": "20 rad/s^2"}}


def belt(work: Job) -> Setup:
    return Setup(work, Workshop.model_validate(MACHINE | {"drive": BELT}))


def test_its_steps_and_its_load_follow_from_its_answers() -> None:
    setup = belt(job())
    plan, load = plan_job(setup), load_case(setup.machine, setup.job)
    # 60 mm part on a 30 mm pulley: two turns of the shaft for each turn of the part, times the belt of the gearing.
    assert setup.machine.microsteps_per_part_turn(setup.job.part.contact) == 2 * setup.machine.microsteps_per_shaft_turn
    assert load.stages[-1].ratio == 2.0
    assert {item.name: item.inertia for item in load.items}["pulley"] == 2e-6
    assert complete(setup.machine, setup.job).assumptions == ()
    assert plan.limits.motion.acceleration > 0


def test_it_is_checked_by_the_limits_that_concern_it() -> None:
    names = {check.name for check in plan_job(belt(job(**WORK))).limits.checks}
    assert {"torque-peak", "resonance", "radial-load", "power-off"} <= names
    assert names.isdisjoint({"grip", "seating", "creep", "falls-through"})


def test_a_kind_with_a_cradle_gets_the_limits_of_parts_on_rollers_with_the_same_figures() -> None:
    ours = Setup(job(**WORK), Workshop.model_validate(MACHINE | {"drive": ROLLERS | {"kind": "soft-rollers"}}))
    known = Setup(job(**WORK), Workshop.model_validate(MACHINE | {"drive": ROLLERS}))
    assert plan_job(ours).limits == plan_job(known).limits
    assert "grip-peak" in {check.name for check in plan_job(ours).limits.checks}
    assert reliability(ours, plan_job(ours), draws=1000) == reliability(known, plan_job(known), draws=1000)


def test_a_drawn_thicker_part_on_it_is_as_the_thicker_part_described_that_turns_less() -> None:
    thin = job(part__density="7860 kg/m^3", part__mass="2.2 kg", **WORK)
    slower = {"index": {"speed": f"{4 / 1.1:.12f} rad/s", "acceleration": f"{20 / 1.1:.12f} rad/s^2"}}
    thick = job(part__diameter="66 mm", part__mass="2.2 kg", **slower)
    setup, plan = belt(thin), plan_job(belt(thin))
    load = load_case(setup.machine, thin)
    extremes = index_extremes(load, index_moves(plan.route.index_turns, plan.route.purpose), plan.limits.motion)
    draws = IndexDraws(setup, load, extremes, FactorRange(1.0, 1.0))
    found = draws.margins({"diameter": np.array([1.1])})["torque-peak"]
    other = load_case(setup.machine, thick)
    a = plan_job(belt(thick)).limits.motion.acceleration
    peak = float(other.peak_torque(extremes.peak_pushing * a, extremes.peak_holding * a))
    assert float(found[0]) == pytest.approx(1 - peak / load.lowest_pull_out(extremes.peak_speed), abs=1e-9)
    assert abs(float(found[0]) - float(draws.margins({"diameter": np.ones(1)})["torque-peak"][0])) > 1e-5


def test_a_machine_file_with_it_is_read_planned_and_exported_by_the_commands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(PROFILES / "motors", tmp_path / "motors")
    text = (PROFILES / "machines" / "belt-chuck.toml").read_text("utf-8")
    before, _, rest = text.partition("[drive]")
    table = "".join(f'{key} = "{value}"\n' for key, value in BELT.items())
    (tmp_path / "belt.toml").write_text(f"{before}[drive]\n{table}\n[support]{rest.partition('[support]')[2]}", "utf-8")
    work = (PROFILES / "jobs" / "shaft-scale.toml").read_text("utf-8").replace('"belt-chuck"', '"belt.toml"')
    path = tmp_path / "scale.toml"
    path.write_text(work, "utf-8")
    assert run(["limits", str(path)]) == 2
    assert "drive" in capsys.readouterr().err
    monkeypatch.setattr("firmware_host.model.files.loading.Machine", Workshop)
    assert run(["limits", str(path), "--details"]) == 0
    assert "torque-peak" in capsys.readouterr().out
    assert run(["moves", str(path), "--format", "rs274"]) == 0
    program = capsys.readouterr().out
    per_turn = float(load_job(str(path)).machine.microsteps_per_part_turn(load_job(str(path)).job.part.contact))
    assert f"{per_turn:.9g} microsteps per turn of the part" in program
    assert per_turn == pytest.approx(200 * 16 * 3 * 50 / 30)


def test_nothing_but_the_list_of_the_kinds_asks_for_a_kind_of_drive() -> None:
    kinds = {"Chuck", "Rollers"}
    asking = [
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.ImportFrom) and kinds & {name.name for name in node.names}
    ]
    assert set(asking) == {"model/machine/drives/registry.py"}
