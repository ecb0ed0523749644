"""Bodies beside the axis, against meshes of the same parts (trimesh) and a published index table."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import trimesh
from scipy import constants

from firmware_host.errors import InputError
from firmware_host.model import Job
from firmware_host.planning.body import body_of
from firmware_host.planning.load.case import load_case
from tests.planning.limits.workshop import JOB, job, machine

STEEL = 7860.0
MUG: dict[str, Any] = {"kind": "tube", "diameter": "80 mm", "inner_diameter": "72 mm", "length": "95 mm"}
HANDLE: dict[str, Any] = {
    "kind": "box",
    "outward": "10 mm",
    "across": "12 mm",
    "along": "70 mm",
    "distance": "50 mm",
    "angle": "35 deg",
}
BOSS: dict[str, Any] = {
    "kind": "cylinder",
    "direction": "outward",
    "diameter": "16 mm",
    "length": "30 mm",
    "distance": "60 mm",
    "angle": "160 deg",
}
PIN: dict[str, Any] = {
    "kind": "cylinder",
    "diameter": "14 mm",
    "length": "40 mm",
    "distance": "30 mm",
    "angle": "-70 deg",
}


def part(*bodies: dict[str, Any], **keys: Any) -> Any:
    described = MUG | {"density": "7860 kg/m^3", "mass_offset": "0 mm", "bodies": list(bodies)} | keys
    return job(part=described).part


def mesh_of(body: dict[str, Any]) -> trimesh.Trimesh:
    """The body where it lies, in m, of steel: boxes and cylinders by trimesh, placed by their distance and angle."""

    def length(key: str) -> float:
        return float(body[key].split()[0]) / 1000

    if body["kind"] == "box":
        mesh = trimesh.creation.box((length("outward"), length("across"), length("along")))
    else:
        mesh = trimesh.creation.cylinder(length("diameter") / 2, length("length"), sections=1024)
        if body.get("direction") == "outward":
            mesh.apply_transform(trimesh.transformations.rotation_matrix(math.pi / 2, (0, 1, 0)))
    mesh.apply_translation((length("distance"), 0, 0))
    angle = math.radians(float(body["angle"].split()[0]))
    mesh.apply_transform(trimesh.transformations.rotation_matrix(angle, (0, 0, 1)))
    mesh.density = STEEL
    return mesh


def about_axis(mesh: trimesh.Trimesh) -> float:
    x, y, _ = mesh.center_mass
    return float(mesh.moment_inertia[2, 2] + mesh.mass * (x**2 + y**2))


@pytest.mark.parametrize(
    "bodies",
    [
        pytest.param((HANDLE,), id="a handle"),
        pytest.param((BOSS,), id="a boss that points outward"),
        pytest.param((PIN,), id="a pin along the axis"),
        pytest.param((HANDLE, BOSS, PIN), id="three of them"),
        pytest.param((HANDLE, PIN | {"removed": True, "distance": "20 mm"}), id="one cut away"),
    ],
)
def test_bodies_beside_the_axis_agree_with_meshes_of_them(bodies: tuple[dict[str, Any], ...]) -> None:
    # Source: trimesh's mass properties of each body where it lies.
    whole, plain = body_of(part(*bodies)), body_of(part())
    placed = [(-1 if body.get("removed") else 1, mesh_of(body)) for body in bodies]
    moment = sum(sign * mesh.mass * mesh.center_mass[:2] for sign, mesh in placed)
    assert whole.mass == pytest.approx(plain.mass + sum(sign * mesh.mass for sign, mesh in placed), rel=1e-4)
    assert whole.inertia == pytest.approx(plain.inertia + sum(s * about_axis(mesh) for s, mesh in placed), rel=1e-4)
    assert whole.offset == pytest.approx(np.linalg.norm(moment) / whole.mass, rel=1e-4)


def test_twelve_works_on_a_table_have_the_inertia_that_a_catalogue_prints() -> None:
    # Oriental Motor, General Catalog 2003/2004, Technical Reference, pp. F-8 to F-9: a steel table of 300 mm x 10 mm
    # and twelve works of 40 mm x 30 mm at 125 mm from the axis; printed: 6560 oz in^2 (its density has few figures).
    works = [
        {"kind": "cylinder", "diameter": "40 mm", "length": "30 mm", "distance": "125 mm", "angle": f"{30 * k} deg"}
        for k in range(12)
    ]
    table = {"kind": "solid", "diameter": "300 mm", "length": "10 mm", "material": "steel", "mass_offset": "0 mm"}
    body = body_of(job(part=table | {"bodies": works}).part)
    assert body.inertia / (0.45359237 / 16 * 0.0254**2) == pytest.approx(6560, rel=0.015)
    assert body.offset == pytest.approx(0.0, abs=1e-12)


def test_a_weighed_mass_is_that_of_the_whole_part_and_the_round_part_has_the_rest() -> None:
    by_density = body_of(part(HANDLE))
    weighed = body_of(part(HANDLE, mass=f"{by_density.mass} kg"))
    assert weighed.inertia == pytest.approx(by_density.inertia, rel=1e-9)
    assert weighed.offset == pytest.approx(by_density.offset, rel=1e-9)
    assert weighed.disagreement == pytest.approx(0.0, abs=1e-9)
    own = body_of(part(HANDLE | {"mass": "50 g"}, mass="1 kg", density=None))
    shape = (0.040**2 + 0.036**2) / 2
    box = 0.05 * ((0.010**2 + 0.012**2) / 12 + 0.050**2)
    assert own.mass == 1.0
    assert own.inertia == pytest.approx(0.95 * shape + box)
    assert own.offset == pytest.approx(0.05 * 0.050)


@pytest.mark.parametrize(
    ("angle", "expected"),
    [
        pytest.param(None, 0.95 * 2e-3 + 2.5e-3, id="unknown, so they add"),
        pytest.param("35 deg", 0.95 * 2e-3 + 2.5e-3, id="where the handle is"),
        pytest.param("215 deg", 2.5e-3 - 0.95 * 2e-3, id="across from it"),
        pytest.param("125 deg", math.hypot(0.95 * 2e-3, 2.5e-3), id="square to it"),
    ],
)
def test_the_part_s_own_offset_adds_to_the_bodies_as_a_vector_or_at_the_worst(
    angle: str | None, expected: float
) -> None:
    # Statics by hand: 50 g at 50 mm, 0.95 kg at 2 mm.
    body = body_of(
        part(HANDLE | {"mass": "50 g"}, mass="1 kg", density=None, mass_offset="2 mm", mass_offset_angle=angle)
    )
    assert body.offset == pytest.approx(expected)


def test_a_handle_s_imbalance_loads_the_motor_and_an_offset_nobody_gave_is_assumed_beside_it() -> None:
    keys = {"mass": "1 kg", "density": None}
    heavy = HANDLE | {"mass": "50 g"}
    load = load_case(machine(), job(part=MUG | {"mass_offset": "0 mm", "bodies": [heavy]} | keys))
    assert load.imbalance_torque == pytest.approx(0.05 * 0.050 * constants.g)
    unknown = load_case(machine(), job(part=MUG | {"bodies": [heavy]} | keys))
    assert unknown.imbalance_torque == pytest.approx((0.05 * 0.050 + 0.95 * 0.02 * 0.080) * constants.g)


def test_a_measured_inertia_is_the_whole_part_s_and_bodies_add_their_imbalance() -> None:
    keys = {"kind": "measured", "diameter": "60 mm", "length": "90 mm", "mass": "3 kg", "inertia": "1.5e-3 kg*m^2"}
    body = body_of(job(part=keys | {"mass_offset": "0 mm", "bodies": [HANDLE | {"mass": "60 g"}]}).part)
    assert body.inertia == 1.5e-3
    assert body.offset == pytest.approx(0.06 * 0.05 / 3)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        pytest.param({"mass": "0.1 kg"}, r"part\.bodies: without its bodies the part of 0\.1 kg has -0\.", id="light"),
        pytest.param(
            {"density": None, "mass": "1 kg"},
            r"part\.bodies\[0\]: a body beside the axis has neither mass nor density.*part\.bodies\[0\]\.mass",
            id="nobody knows what of",
        ),
    ],
)
def test_bodies_that_do_not_fit_the_part_are_refused(keys: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        body_of(part(HANDLE | {"outward": "30 mm"}, **keys))


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        pytest.param({"mass_offset_angle": "10 deg"}, "only together with bodies", id="an angle without bodies"),
        pytest.param(
            {"bodies": [HANDLE | {"mass": "1 g", "density": "1000 kg/m^3"}]}, "at most one of mass", id="two weights"
        ),
    ],
)
def test_keys_that_say_nothing_or_too_much_are_refused(keys: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Job.model_validate(JOB | {"part": JOB["part"] | keys})


def test_a_handle_that_is_described_is_not_assumed_once_more() -> None:
    arc = {"start": "20 deg", "end": "50 deg"}
    keys = {"mass": "1 kg", "density": None, "mass_offset": None, "keep_out": [arc]}
    guessed, described = (
        load_case(machine(), job(part=MUG | keys | {"bodies": bodies})) for bodies in ([], [HANDLE | {"mass": "50 g"}])
    )
    assert guessed.imbalance_torque == pytest.approx(0.15 * 0.080 * constants.g)
    assert described.imbalance_torque == pytest.approx((0.05 * 0.050 + 0.95 * 0.02 * 0.080) * constants.g)
