"""Parts that slide on their rollers: what `grip` finds of machines drawn at random, against what is hidden of them.

    python -m tests.commissioning.sliding 60

The rotors follow their pulses here: what a part slides by does not hang on how they swing (`TrueAxis.sliding`), and a
machine takes a tenth of the time.
"""

from __future__ import annotations

import math
import random
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple, cast

from firmware_host.clock import VirtualClock
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.procedures.motion.creeping import WAY
from firmware_host.commissioning.procedures.registry import procedure_named
from firmware_host.commissioning.record import Record
from firmware_host.commissioning.session import carry_out
from firmware_host.errors import FirmwareHostError, InputError
from firmware_host.mechanics.contact.rollers import Ramp, friction_needed, grip_acceleration
from firmware_host.model import Setup, load_machine
from firmware_host.model.files.loading import job_from
from firmware_host.planning.by_hand import HandPlan, hand_on_job
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.simulator.device import Stretch
from firmware_host.simulator.true_machine.axis import TrueAxis
from firmware_host.simulator.true_machine.integrate import State, standing
from firmware_host.station.hand.hand import Hand
from tests.commissioning.cases import Case, in_lines, missed
from tests.commissioning.hidden.hands import QuickHand, bench_of
from tests.commissioning.hidden.machines import Hidden
from tests.commissioning.hidden.person import READ_ANGLE, Reader


class Following(TrueAxis):
    """Its rotor stands wherever its last pulse has it, at once."""

    def _moved(self, state: State, group: list[Stretch]) -> State:  # type: ignore[override]
        return standing((group[-1].base + math.trunc(group[-1].last)) * self.rotor.pulse)

    def _swing_until(self, now_s: float) -> None:
        if not self._still:
            self._chain.turned_to(float(self._state.load))
        self._still = True


class Rolling(NamedTuple):
    """A machine with its part; `friction` is hidden, and from which acceleration (part rad/s^2) it slides for that."""

    setup: Setup
    plan: HandPlan
    hidden: Hidden
    friction: float
    slides_from: float


def drawn_rolling(seed: int) -> Rolling:
    """The machine of that seed: drawn anew until it can be planned, and its part slides in what limits allow."""
    rng = random.Random(seed)
    while True:
        try:
            setup = _setup(rng)
            plan = hand_on_job(setup)
            load = load_case(setup.machine, setup.job)
            quickest = plan.quickest(WAY).acceleration
        except FirmwareHostError:
            continue
        drawn = _hidden(setup, plan, load, rng.uniform(0.15, 0.95) * quickest, rng)
        if drawn is not None:
            return drawn


def _setup(rng: random.Random) -> Setup:
    machine = load_machine("two-rollers")
    diameter, length = rng.uniform(40e-3, 110e-3), rng.uniform(60e-3, 250e-3)
    tube = rng.random() < 0.7
    part = {
        "kind": "tube" if tube else "solid",
        "diameter": f"{diameter * 1e3:.2f} mm",
        "length": f"{length * 1e3:.1f} mm",
        "density": rng.choice(("2700 kg/m^3", "1400 kg/m^3", "7860 kg/m^3", "600 kg/m^3")),
        "mass_offset": f"{rng.choice((0.0, rng.uniform(0.0, 0.4))):.3f} mm",
    }
    if tube:
        part["inner_diameter"] = f"{diameter * 1e3 * rng.uniform(0.6, 0.95):.2f} mm"
    job = {
        "version": 1,
        "name": "drawn",
        "machine": "two-rollers",
        "part": part,
        "mark": {"angle": "180 deg", "width": "12 mm", "passes": 1},
        "window": {"half_depth": f"{rng.uniform(0.4, 1.5):.2f} mm", "focus": "crown", "incidence_limit": "45 deg"},
        "index": {"finish": "unwind"},
    }
    values = {
        "drive.friction": round(rng.uniform(0.2, 0.8), 3),
        "drive.driven_rows": rng.choice((1, 1, 2)),
        "drive.rolling_resistance": f"{rng.uniform(0.2, 0.8):.2f} mm",
        "drive.centre_distance": f"{rng.uniform(30.0, 42.0):.1f} mm",
    }
    return job_from(job, machine=machine).with_values(values)


def _hidden(setup: Setup, plan: HandPlan, load: LoadCase, slides_from: float, rng: random.Random) -> Rolling | None:
    """What is hidden of it: so much friction that the part slides from there on, with the imbalance that it has."""
    trough, imbalance = load.trough, load.imbalance_torque * rng.uniform(0.0, 1.0)
    assert trough is not None
    friction = float(friction_needed(trough, slides_from, imbalance, braking=0.0))
    still = grip_acceleration(replace(trough, unbalance=0.0), friction, imbalance, ramp=Ramp.UP)
    if not (math.isfinite(friction) and math.isclose(still, slides_from, rel_tol=1e-6)):
        return None
    tables = {
        "slip": {"friction": friction},
        "part": {"mass": f"{trough.mass} kg", "inertia": f"{trough.part_inertia} kg*m^2"},
        "load": {"imbalance_torque": f"{imbalance} N*m"},
    }
    hidden = Hidden(slip=rng.choice((0.0, rng.uniform(0.0, 0.01))), tables=tables)
    try:
        hidden.axis(setup, rng)
    except InputError:  # so little that it does not turn at all
        return None
    return Rolling(setup, plan, hidden, friction, slides_from)


def gripping(
    rolling: Rolling, seed: int, folder: Path, axis_of: type[TrueAxis] = Following, within_angle: float = READ_ANGLE
) -> tuple[dict[str, Finding], QuickHand, Reader]:
    """What `grip` finds of it, by its keys; the hand that turned it, and the person who read."""
    rng = random.Random(-seed - 1)
    true = rolling.hidden.true_machine(rolling.setup)
    quick = QuickHand(rolling.plan, axis_of(true, rolling.setup.machine, rng))
    hand = cast("Hand", quick)
    person = Reader(quick.axis, hand, rng, within_angle=within_angle)
    bench = replace(bench_of(hand, "grip", within_angle=within_angle), paced=True)
    folder.mkdir(exist_ok=True)
    with Record(folder / f"grip-{seed}.jsonl", "m", VirtualClock()) as record:
        found = carry_out(procedure_named("grip"), bench, hand, person, record)
    return {each.key: each for each in found}, quick, person


def held(seed: int, folder: Path) -> list[Case]:
    """The acceleration and the friction of the machine of that seed; none where it was not found to slide."""
    rolling = drawn_rolling(seed)
    found = gripping(rolling, seed, folder)[0]
    truths = {"creep-acceleration": math.degrees(rolling.slides_from), "grip-friction": rolling.friction}
    return [
        Case(key, seed, true, found[key].measured.value, found[key].measured.within)
        for key, true in truths.items()
        if "grip-friction" in found
    ]


def main(machines: int = 60) -> None:
    """Print how many intervals hold, how wide they are, and those that do not."""
    with tempfile.TemporaryDirectory() as folder:
        each = [case for seed in range(machines) for case in held(seed, Path(folder))]
    sys.stdout.write(in_lines(each) + missed(each))


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:]))
