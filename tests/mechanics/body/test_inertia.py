"""Inertias against meshes of the same bodies (trimesh) and against published index-table examples."""

import math

import numpy as np
import pytest
import trimesh
from scipy import integrate

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.body import inertia
from firmware_host.mechanics.body.density import density_of
from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.train.transmission import inertia_ratio, reflect

INCH = 0.0254
POUND = 0.45359237
OUNCE = POUND / 16
POUND_FORCE_INCH = POUND * STANDARD_GRAVITY * INCH


def mesh_of_revolution(profile: list[tuple[float, float]]) -> trimesh.Trimesh:
    """A fine mesh of the body that `profile` of (radius, height) sweeps about z."""
    return trimesh.creation.revolve(np.array(profile), sections=1024)


@pytest.mark.parametrize(
    ("profile", "volume", "per_mass"),
    [
        pytest.param(
            [(0, 0), (0.03, 0), (0.03, 0.2), (0, 0.2)],
            inertia.cylinder_volume(0.03, 0.2),
            inertia.solid_cylinder_inertia(1.0, 0.03),
            id="cylinder",
        ),
        pytest.param(
            [(0.02, 0), (0.03, 0), (0.03, 0.2), (0.02, 0.2), (0.02, 0)],
            inertia.tube_volume(0.03, 0.02, 0.2),
            inertia.tube_inertia(1.0, 0.03, 0.02),
            id="tube",
        ),
        pytest.param(
            [(0, 0), (0.05, 0), (0.02, 0.1), (0, 0.1)],
            inertia.frustum_volume(0.05, 0.02, 0.1),
            inertia.frustum_inertia(1.0, 0.05, 0.02),
            id="frustum",
        ),
        pytest.param(
            [(0, 0), (0.05, 0), (0, 0.1)],
            inertia.frustum_volume(0.05, 0.0, 0.1),
            inertia.frustum_inertia(1.0, 0.05, 0.0),
            id="whole cone",
        ),
    ],
)
def test_volume_and_inertia_agree_with_a_mesh_of_the_body(
    profile: list[tuple[float, float]], volume: float, per_mass: float
) -> None:
    # Source: trimesh, whose tensor comes from the mesh's triangles; 1024 facets lose 6e-6 of the area.
    mesh = mesh_of_revolution(profile)
    assert abs(mesh.volume) == pytest.approx(volume, rel=2e-5)
    from_mesh = inertia.tensor_inertia_about(mesh.moment_inertia, (0, 0, 1)) / mesh.volume
    assert from_mesh == pytest.approx(per_mass, rel=3e-5)


def test_a_mesh_tensor_is_taken_about_the_axis_named_whatever_its_length() -> None:
    mesh = mesh_of_revolution([(0, 0), (0.05, 0), (0.02, 0.1), (0, 0.1)])
    turned = mesh.copy()
    turned.apply_transform(trimesh.transformations.rotation_matrix(0.7, (1, 1, 0)))
    axis = trimesh.transformations.rotation_matrix(0.7, (1, 1, 0))[:3, 2]
    expected = inertia.tensor_inertia_about(mesh.moment_inertia, (0, 0, 1))
    assert inertia.tensor_inertia_about(turned.moment_inertia, 5 * axis) == pytest.approx(expected, rel=1e-9)


def test_the_frustum_formula_is_the_integral_over_its_slices_and_meets_the_cylinder() -> None:
    large, small, length = 0.04, 0.013, 0.2
    slices, _ = integrate.quad(lambda z: math.pi / 2 * (large + (small - large) * z / length) ** 4, 0, length)
    mass = inertia.mass_from_density(1.0, inertia.frustum_volume(large, small, length))
    assert inertia.frustum_inertia(mass, large, small) == pytest.approx(slices, rel=1e-12)
    assert inertia.frustum_inertia(2.0, 0.04, 0.04) == pytest.approx(inertia.solid_cylinder_inertia(2.0, 0.04))


def test_an_offset_body_counts_its_mass_times_the_square_of_the_offset() -> None:
    mesh = mesh_of_revolution([(0, 0), (0.03, 0), (0.03, 0.2), (0, 0.2)])
    about_own = inertia.tensor_inertia_about(mesh.moment_inertia, (0, 0, 1))
    mesh.apply_translation((0.05, 0, 0))
    shifted = mesh.moment_inertia_frame(np.eye(4))
    assert inertia.off_axis_inertia(about_own, mesh.mass, 0.05) == pytest.approx(shifted[2, 2], rel=1e-9)


def test_published_servo_index_table_inertia_and_ratio() -> None:
    # AutomationDirect, SureServo User Manual, 2nd ed. rev. B (08/2011), Selection Appendix, pp. B-14 to B-16.
    mass = inertia.mass_from_density(0.28 * POUND / INCH**3, inertia.cylinder_volume(6 * INCH, 3.25 * INCH))
    table = inertia.solid_cylinder_inertia(mass, 6 * INCH)
    assert table / POUND_FORCE_INCH == pytest.approx(4.80, rel=0.003)
    reflected = reflect(table, 6)
    assert reflected / POUND_FORCE_INCH == pytest.approx(0.133, rel=0.005)
    assert inertia_ratio(reflected, 0.014 * POUND_FORCE_INCH) == pytest.approx(9.5, rel=0.005)


def test_published_stepping_index_table_inertias() -> None:
    # Oriental Motor, General Catalog 2003/2004, Technical Reference, pp. F-8 to F-9. Ounces are mass there.
    # Its density of steel is printed to few figures, hence 1.5 %.
    steel = density_of("steel").middle
    ounce_inch2 = OUNCE * INCH**2
    table_mass = inertia.mass_from_density(steel, inertia.cylinder_volume(0.150, 0.010))
    table = inertia.solid_cylinder_inertia(table_mass, 0.150)
    work_mass = inertia.mass_from_density(steel, inertia.cylinder_volume(0.020, 0.030))
    own = inertia.solid_cylinder_inertia(work_mass, 0.020)
    works = 12 * inertia.off_axis_inertia(own, work_mass, 0.125)
    assert table / ounce_inch2 == pytest.approx(3442, rel=0.015)
    assert works / ounce_inch2 == pytest.approx(3118, rel=0.015)
    assert (table + works) / ounce_inch2 == pytest.approx(6560, rel=0.015)


def test_mass_disagreement_is_signed_and_relative_to_the_scale() -> None:
    assert inertia.mass_disagreement(2.0, 2.3) == pytest.approx(0.15)
    assert inertia.mass_disagreement(2.0, 1.5) == pytest.approx(-0.25)


def test_the_density_table_gives_its_published_ranges() -> None:
    # Engineering Guide CDA3000 (Lust Antriebstechnik), Appendix A, table 7.23.
    assert density_of("steel").middle == 7860
    assert (density_of("brass").low, density_of("brass").high) == (8400, 8900)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        pytest.param(
            lambda: inertia.tube_inertia(1, 0.02, 0.02), r"inner radius: 0\.02 m, limit 0\.02 m", id="no wall"
        ),
        pytest.param(lambda: inertia.frustum_inertia(1, 0.01, 0.02), "larger end first", id="ends swapped"),
        pytest.param(lambda: inertia.solid_cylinder_inertia(-1, 0.02), "mass: -1 kg", id="negative mass"),
        pytest.param(lambda: inertia.cylinder_volume(0.02, math.nan), "length: nan m", id="no number"),
        pytest.param(lambda: inertia.tensor_inertia_about(np.eye(3), (0, 0, 0)), "axis vector", id="no axis"),
    ],
)
def test_a_body_that_cannot_be_is_refused(call: "object", message: str) -> None:
    with pytest.raises(FormulaRangeError, match=message):
        call()  # type: ignore[operator]
