"""Many parts on the rollers at once come to what each comes to alone; efficiencies of many gearings likewise."""

import numpy as np
import pytest

from firmware_host.mechanics.contact.rollers import friction_needed, rolling_drag, rolling_drag_torque
from firmware_host.mechanics.contact.trough import DrivenRows, ManyTroughs, Trough
from firmware_host.mechanics.train.transmission import Stage, torque_at_motor

DRAWS = 60


def drawn(rows: DrivenRows) -> tuple[ManyTroughs, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(4)
    many = ManyTroughs(
        mass=rng.uniform(0.2, 3.0, DRAWS),
        part_inertia=rng.uniform(1e-4, 2e-3, DRAWS),
        part_diameter=rng.uniform(0.03, 0.1, DRAWS),
        roller_diameter=0.025,
        centre_distance=0.05,
        driven=rows,
        idle_row_inertia=2e-6 if rows is DrivenRows.ONE else 0.0,
        idle_friction_torque=rng.uniform(0, 2e-3, DRAWS),
        lever_arm=rng.uniform(0, 1e-3, DRAWS),
    )
    return many, rng.uniform(0, 60, DRAWS), rng.uniform(0, 5e-3, DRAWS)


def single(many: ManyTroughs, i: int) -> Trough:
    return Trough(
        mass=float(many.mass[i]),
        part_inertia=float(many.part_inertia[i]),
        part_diameter=float(many.part_diameter[i]),
        roller_diameter=many.roller_diameter,
        centre_distance=many.centre_distance,
        driven=many.driven,
        idle_row_inertia=many.idle_row_inertia,
        idle_friction_torque=float(many.idle_friction_torque[i]),
        lever_arm=float(many.lever_arm[i]),
    )


@pytest.mark.parametrize("rows", list(DrivenRows), ids=lambda rows: rows.value)
def test_many_troughs_are_as_many_single_ones(rows: DrivenRows) -> None:
    many, acceleration, imbalance = drawn(rows)
    needed, drag = friction_needed(many, acceleration, imbalance), rolling_drag(many)
    assert needed.shape == drag.shape == (DRAWS,)
    assert np.isfinite(needed).any()
    for i in range(DRAWS):
        alone = single(many, i)
        assert needed[i] == pytest.approx(float(friction_needed(alone, acceleration[i], float(imbalance[i]))))
        assert drag[i] == pytest.approx(rolling_drag_torque(alone))


def test_a_part_that_falls_through_needs_friction_without_end_and_spoils_no_other() -> None:
    many, acceleration, imbalance = drawn(DrivenRows.ONE)
    many.part_diameter[3] = 0.0249  # 24.9 + 25 mm of rollers, 50 mm apart
    needed = friction_needed(many, acceleration, imbalance)
    assert needed[3] == np.inf
    assert needed[4] == pytest.approx(float(friction_needed(single(many, 4), acceleration[4], float(imbalance[4]))))


def test_a_factor_on_the_efficiency_is_the_stage_of_that_efficiency_and_never_above_one() -> None:
    stages = [Stage(3.0, 0.9, 1e-5, 2e-5), Stage(20.0, 0.6, 1e-5, 2e-5)]
    factors = np.array([0.5, 1.0, 1.2])
    together = torque_at_motor(
        stages,
        rotor_inertia=1e-5,
        load_inertia=1e-3,
        load_acceleration=20.0,
        load_torque=1.5,
        efficiency_factor=factors,
    )
    for factor, torque in zip(factors, together, strict=True):
        alike = [Stage(s.ratio, min(s.efficiency * factor, 1.0), s.input_inertia, s.output_inertia) for s in stages]
        alone = torque_at_motor(alike, rotor_inertia=1e-5, load_inertia=1e-3, load_acceleration=20.0, load_torque=1.5)
        assert torque == pytest.approx(float(alone), rel=1e-12)
