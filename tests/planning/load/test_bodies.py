"""Mass properties of every kind of part, against meshes of the same bodies (trimesh) and integrals (SciPy)."""

from __future__ import annotations

import importlib
import math
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from scipy import constants, integrate

from firmware_host.errors import FirmwareHostError, InputError, UnreadableFileError
from firmware_host.model import load_job
from firmware_host.model.part.mesh_file import LARGEST_MESH_FILE, read_mesh
from firmware_host.planning.body import body_of, shape_of
from firmware_host.planning.load.case import load_case
from tests.model.files.files_for_tests import JOB, write_all
from tests.planning.limits.workshop import DELETE, job, machine

STEEL = 7860.0


def part(kind: str, **keys: Any) -> Any:
    described = {"kind": kind, "density": "7860 kg/m^3", "mass_offset": "0 mm"} | keys
    return job(part=described).part


def revolved(profile: list[tuple[float, float]]) -> trimesh.Trimesh:
    """The body that a profile of (radius, height), in m, sweeps about z, of steel."""
    mesh = trimesh.creation.revolve(np.array(profile), sections=1024)
    mesh.density = STEEL
    return mesh


STEPS = [
    {"diameter": "40 mm", "length": "60 mm", "bore": "10 mm"},
    {"diameter": "70 mm", "length": "25 mm", "bore": "10 mm"},
    {"diameter": "30 mm", "length": "90 mm"},
]
STEPPED_PROFILE = [
    (0.005, 0.0),
    (0.020, 0.0),
    (0.020, 0.060),
    (0.035, 0.060),
    (0.035, 0.085),
    (0.015, 0.085),
    (0.015, 0.175),
    (0.0, 0.175),
    (0.0, 0.085),
    (0.005, 0.085),
    (0.005, 0.0),
]


@pytest.mark.parametrize(
    ("described", "profile"),
    [
        pytest.param(
            part("solid", diameter="60 mm", length="200 mm"),
            [(0, 0), (0.03, 0), (0.03, 0.2), (0, 0.2)],
            id="solid",
        ),
        pytest.param(
            part("tube", diameter="60 mm", inner_diameter="50 mm", length="200 mm"),
            [(0.025, 0), (0.03, 0), (0.03, 0.2), (0.025, 0.2), (0.025, 0)],
            id="tube",
        ),
        pytest.param(
            part("cone", diameter="80 mm", large_diameter="90 mm", small_diameter="50 mm", length="150 mm"),
            [(0, 0), (0.045, 0), (0.025, 0.15), (0, 0.15)],
            id="cone",
        ),
        pytest.param(
            part(
                "cone",
                diameter="80 mm",
                large_diameter="90 mm",
                small_diameter="70 mm",
                length="150 mm",
                wall="2 mm",
            ),
            [(0.043, 0), (0.045, 0), (0.035, 0.15), (0.033, 0.15), (0.043, 0)],
            id="hollow cone",
        ),
        pytest.param(part("stepped", diameter="70 mm", cylinders=STEPS), STEPPED_PROFILE, id="stepped shaft"),
    ],
)
def test_mass_and_inertia_agree_with_a_mesh_of_the_body(described: Any, profile: list[tuple[float, float]]) -> None:
    # Source: trimesh's mass properties; 1024 facets lose 6e-6 of each circle's area.
    body, mesh = body_of(described), revolved(profile)
    assert body.mass == pytest.approx(mesh.mass, rel=1e-4)
    assert body.inertia == pytest.approx(mesh.moment_inertia[2, 2], rel=1e-4)


def test_a_stepped_shaft_is_the_integral_over_its_slices() -> None:
    # SciPy: dJ = (pi rho/2)(ro^4 - ri^4) dz over the three cylinders.
    def slice_inertia(z: float) -> float:
        outer = 0.020 if z < 0.060 else 0.035 if z < 0.085 else 0.015
        inner = 0.005 if z < 0.085 else 0.0
        return math.pi / 2 * STEEL * (outer**4 - inner**4)

    exact, _ = integrate.quad(slice_inertia, 0, 0.175, points=[0.060, 0.085])
    assert body_of(part("stepped", diameter="40 mm", cylinders=STEPS)).inertia == pytest.approx(exact, rel=1e-9)


def test_a_weighed_mass_scales_the_shape_s_inertia_and_is_compared() -> None:
    by_density = body_of(part("stepped", diameter="40 mm", cylinders=STEPS))
    weighed = body_of(part("stepped", diameter="40 mm", cylinders=STEPS, mass=f"{by_density.mass * 1.25} kg"))
    assert weighed.inertia == pytest.approx(1.25 * by_density.inertia)
    assert weighed.disagreement == pytest.approx(-0.2)


def test_a_measured_inertia_is_taken_as_it_stands_offset_included() -> None:
    keys = {"diameter": "60 mm", "length": "90 mm", "mass": "3 kg", "inertia": "1.5e-3 kg*m^2"}
    described = {"kind": "measured", "mass_offset": "2 mm"} | keys
    load = load_case(machine(), job(part=described))
    assert load.items[-1].inertia == pytest.approx(1.5e-3, rel=1e-12)
    assert load.imbalance_torque == pytest.approx(3 * constants.g * 0.002)
    assert load.mass_disagreement is None


def test_a_material_stands_for_its_tabulated_density() -> None:
    # Engineering Guide CDA3000 (Lust Antriebstechnik), Appendix A, table 7.23: steel 7860 kg/m^3, brass 8400 to 8900.
    named = body_of(part("solid", diameter="60 mm", length="200 mm", density=None, material="steel"))
    assert named.mass == pytest.approx(7860 * math.pi * 0.03**2 * 0.2)
    assert "table 7.23" in named.density_source
    brass = body_of(part("solid", diameter="60 mm", length="200 mm", density=None, material="brass"))
    assert brass.mass / named.mass == pytest.approx(8650 / 7860)


def test_an_unknown_material_names_the_nearest_and_its_key() -> None:
    with pytest.raises(InputError, match=r"part\.material: no tabulated density for 'steal'\. Did you mean 'steel'"):
        body_of(part("solid", diameter="60 mm", length="200 mm", density=None, material="steal"))


# --- meshes ----------------------------------------------------------------------------------------------------------


def saved(folder: Path, mesh: trimesh.Trimesh, name: str = "part.stl", scale: float = 1e3) -> Path:
    """The mesh written to a file in millimetres (or metres times `scale`)."""
    scaled = mesh.copy()
    scaled.apply_scale(scale)
    path = folder / name
    scaled.export(path)
    return path


CONE = [(0, 0), (0.045, 0), (0.025, 0.15), (0, 0.15)]


@pytest.mark.parametrize("name", ["part.stl", "part.obj", "part.ply"])
def test_a_mesh_file_of_a_cone_is_the_cone_by_its_formulas(tmp_path: Path, name: str) -> None:
    path = saved(tmp_path, revolved(CONE), name)
    meshed = body_of(part("mesh", file=str(path), diameter="80 mm", length="150 mm", mass_offset=None))
    cone = body_of(part("cone", diameter="80 mm", large_diameter="90 mm", small_diameter="50 mm", length="150 mm"))
    assert meshed.mass == pytest.approx(cone.mass, rel=1e-4)
    assert meshed.inertia == pytest.approx(cone.inertia, rel=1e-4)
    assert meshed.offset == pytest.approx(0.0, abs=1e-6)


def test_a_mesh_beside_its_axis_carries_its_own_offset_and_a_stated_one_beats_it(tmp_path: Path) -> None:
    mesh = revolved([(0, 0), (0.03, 0), (0.03, 0.2), (0, 0.2)])
    mesh.apply_transform(trimesh.transformations.rotation_matrix(math.pi / 2, (0, 1, 0)))
    mesh.apply_translation((0, 0.003, 0.004))
    path = saved(tmp_path, mesh, scale=1 / 0.0254)
    keys = {"file": str(path), "diameter": "60 mm", "length": "200 mm", "axis": "x", "unit": "in"}
    body = body_of(part("mesh", mass_offset=None, **keys))
    assert body.offset == pytest.approx(0.005, rel=1e-5)
    assert body.inertia == pytest.approx(body.mass * (0.03**2 / 2 + 0.005**2), rel=1e-4)
    stated = body_of(part("mesh", mass_offset="1 mm", **keys))
    assert stated.offset == 0.001
    assert stated.inertia == pytest.approx(body.mass * (0.03**2 / 2 + 0.001**2), rel=1e-4)


def test_a_mesh_turned_inside_out_has_the_same_body(tmp_path: Path) -> None:
    mesh = revolved(CONE)
    outside = shape_of(part("mesh", file=str(saved(tmp_path, mesh, "a.stl")), diameter="80 mm", length="150 mm"))
    mesh.invert()
    inside = shape_of(part("mesh", file=str(saved(tmp_path, mesh, "b.stl")), diameter="80 mm", length="150 mm"))
    assert (inside.volume, inside.per_mass) == pytest.approx((outside.volume, outside.per_mass), rel=1e-9)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        pytest.param({"unit": "in"}, r"the mesh is 3810 mm long along its z axis, but length is 150 mm", id="unit"),
        pytest.param({"axis": "x"}, r"90 mm long along its x axis.*Check part\.unit and part\.axis", id="axis"),
        pytest.param({"diameter": "95 mm"}, r"90 mm thick about its z axis, but diameter is 95 mm", id="diameter"),
    ],
)
def test_a_mesh_that_contradicts_the_stated_size_is_refused(tmp_path: Path, keys: dict[str, str], words: str) -> None:
    path = saved(tmp_path, revolved(CONE))
    with pytest.raises(InputError, match=words):
        body_of(part("mesh", **({"file": str(path), "diameter": "80 mm", "length": "150 mm"} | keys)))


def with_a_hole(path: Path) -> None:
    mesh = revolved(CONE)
    mesh.update_faces(np.arange(len(mesh.faces)) > 0)
    mesh.export(path)


@pytest.mark.parametrize(
    ("name", "write", "kind", "words"),
    [
        pytest.param("none.stl", lambda path: None, UnreadableFileError, "no such file", id="missing"),
        pytest.param("part.step", lambda path: path.touch(), UnreadableFileError, "no mesh file", id="other kind"),
        pytest.param("dir.stl", lambda path: path.mkdir(), UnreadableFileError, "not a plain file", id="folder"),
        pytest.param(
            "text.ply",
            lambda path: path.write_text("no mesh at all\n" * 9, encoding="utf-8"),
            UnreadableFileError,
            "not a mesh of its kind",
            id="no mesh",
        ),
        pytest.param("bad.stl", lambda path: path.write_bytes(b"\x00" * 500), FirmwareHostError, "mesh", id="zeros"),
        pytest.param("part.stl", with_a_hole, InputError, r"part\.file: the mesh is not a closed", id="hole"),
    ],
)
def test_a_file_that_holds_no_body_is_refused(tmp_path: Path, name: str, write: Any, kind: Any, words: str) -> None:
    write(tmp_path / name)
    with pytest.raises(kind, match=words):
        read_mesh(tmp_path / name)


@pytest.mark.parametrize("kind", LARGEST_MESH_FILE)
def test_a_mesh_file_too_large_is_refused_unread(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"huge{kind}"
    with path.open("wb") as file:
        file.truncate(LARGEST_MESH_FILE[kind] + 1)
    with pytest.raises(UnreadableFileError, match=rf"is larger than {LARGEST_MESH_FILE[kind]} bytes"):
        read_mesh(path)


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("binary.stl", b"".ljust(84) + bytes(50 * 250_001)),
        ("text.stl", b"solid x\nfacet\n" + b"vertex 0 0 0\n" * 750_003),
        ("triangles.obj", b"v 0 0 0\n" + b"f 1 1 1\n" * 250_001),
        ("polygon.obj", b"v 0 0 0\nf" + b" 1" * 250_003),
        ("wrapped.obj", b"v 0 0 0\nf" + b" 1 \\\n" * 250_003),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_mesh_of_too_many_triangles_never_reaches_the_reader(
    tmp_path: Path, name: str, data: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    monkeypatch.setattr(importlib, "import_module", lambda name: pytest.fail(f"{name} was loaded"))
    with pytest.raises(UnreadableFileError, match=r"has about 25000\d triangles, more than 250000"):
        read_mesh(path)


def test_a_changed_mesh_file_is_read_anew(tmp_path: Path) -> None:
    path = saved(tmp_path, revolved(CONE))
    small = read_mesh(path).volume
    saved(tmp_path, revolved([(0, 0), (0.05, 0), (0.05, 0.2), (0, 0.2)]))
    assert read_mesh(path).volume > 2 * small


def test_without_the_extra_the_error_says_how_to_install_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = saved(tmp_path, revolved(CONE), "unread.stl")
    real = importlib.import_module

    def without_trimesh(name: str, package: str | None = None) -> Any:
        if name == "trimesh":
            raise ImportError(name)
        return real(name, package)

    monkeypatch.setattr(importlib, "import_module", without_trimesh)
    with pytest.raises(InputError, match=r'extra \'mesh\', which is not installed\. Install it: pip install "circumst'):
        read_mesh(path)


def test_nothing_but_a_mesh_needs_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.partition(".")[0] == "trimesh"]:
        monkeypatch.delitem(sys.modules, name)
    assert body_of(part("solid", diameter="60 mm", length="200 mm")).mass > 0
    assert "trimesh" not in sys.modules


def test_a_relative_mesh_path_starts_beside_the_job_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "jobs"
    folder.mkdir()
    saved(folder, revolved([(0, 0), (0.025, 0), (0.025, 0.1), (0, 0.1)]))
    text = JOB.replace('kind = "tube"', 'kind = "mesh"\nfile = "part.stl"').replace('inner_diameter = "44 mm"\n', "")
    path = write_all(folder, job=text)
    monkeypatch.chdir(tmp_path)
    described = load_job(str(Path("jobs") / path.name)).job
    monkeypatch.chdir("/")
    assert body_of(described.part).mass == pytest.approx(7860 * math.pi * 0.025**2 * 0.1, rel=1e-4)
    assert type(described).model_validate(described.model_dump(mode="json")) == described


def test_a_round_part_without_mass_offset_is_a_fiftieth_of_its_diameter_out_of_true() -> None:
    load = load_case(machine(), job(part__mass_offset=DELETE))
    assert load.imbalance_torque == pytest.approx(2.2 * constants.g * 0.02 * 0.06)


def test_a_part_with_a_handle_may_be_further_out_of_true() -> None:
    handle = [{"start": "100 deg", "end": "120 deg"}]
    load = load_case(machine(), job(part__mass_offset=DELETE, part__keep_out=handle, mark={"angle": "90 deg"}))
    assert load.imbalance_torque == pytest.approx(2.2 * constants.g * 0.15 * 0.06)
