"""How often what `commission` states holds what is hidden of a machine: `python -m tests.commissioning.two_hundred`.

Machines are drawn at random (drives, gearing, loads, what is hidden of each), every procedure is carried out on each by
scripted readings, off by what an instrument leaves open, and the interval that is stated (95 %) is compared with the
truth. A table, one line a quantity. `ramp` is carried out on the same machines with motors so weak that they, not the
computed limits, are what binds (`ramps.py`).
"""

from __future__ import annotations

import math
import multiprocessing
import random
import sys
import tempfile
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

from firmware_host.commissioning.finding import Finding
from firmware_host.errors import InputError
from tests.commissioning.cases import Case, in_lines, missed
from tests.commissioning.hidden.drawn import Drawn, drawn_machine
from tests.commissioning.hidden.hands import QuickHand, carried_out
from tests.commissioning.ramps import Stored, stored_ramp

MACHINES = 200


class Seen(NamedTuple):
    """A machine, the hand that turned it, and where the part really stood at each reading of an angle (rad)."""

    drawn: Drawn
    hand: QuickHand
    angles: Mapping[str, float]


TRUTHS: Mapping[str, tuple[str, Callable[[Seen], float]]] = MappingProxyType(
    {
        "ratio": ("ratio", lambda seen: float(seen.drawn.plan.per_turn) / (1 + seen.drawn.hidden.ratio)),
        "lost-motion": ("lost-motion", lambda seen: math.degrees(_lag(seen))),
        "run-out": ("run-out", lambda seen: seen.drawn.hidden.run_out * 1e3),
        "natural-frequency": ("ringing", lambda seen: seen.hand.axis.rotor.swing()[0]),
    }
)
"""What a finding is called, the procedure that finds it, and the truth in the finding's unit."""


_SWINGS = 2e-5
"""What a part that was given time to swing out may still be off by (rad)."""


def _lag(seen: Seen) -> float:
    """What the part lags on a turn back (rad): its play, and how far friction holds the train off on either side."""
    above, below = (
        [angle for key, angle in seen.angles.items() if key.startswith(side)] for side in ("above", "below")
    )
    lag = sum(above) / len(above) - sum(below) / len(below)
    held = 2 * seen.hand.axis.rotor.friction_holds
    if abs(lag - seen.drawn.hidden.lost_motion) > held + _SWINGS:
        raise AssertionError(f"a lag of {lag} rad is not that of the play and of friction")
    return lag


def measured(seed: int, folder: Path) -> Iterable[Case]:
    """All that is found of the machine of that seed; one that its friction stops at once has no swing to read."""
    drawn = drawn_machine(seed)
    rng = random.Random(-seed - 1)
    hand = QuickHand(drawn.plan, drawn.hidden.axis(drawn.setup, rng))
    found: dict[str, Finding] = {}
    angles: dict[str, float] = {}
    for procedure in dict.fromkeys(name for name, _ in TRUTHS.values()):
        try:
            findings, person = carried_out(folder, procedure, hand, rng, seed)
        except InputError as error:
            if procedure != "ringing" or "swing" not in str(error):
                raise
            continue
        found |= {each.key: each for each in findings}
        angles |= person.truths
    for key, (_, truth) in TRUTHS.items():
        if key in found:
            finding = found[key].measured
            yield Case(key, seed, truth(Seen(drawn, hand, angles)), finding.value, finding.within)


def measured_ramp(seed: int, folder: Path) -> Stored | str:
    """What `ramp` stored of the machine of that seed with a weak motor; why not, where there is nothing to store."""
    try:
        found = stored_ramp(drawn_machine(seed), seed, folder)
    except InputError as error:
        return str(error)
    return found if isinstance(found, Stored) else found.sentence


def safe_acceleration(ramps: Iterable[Stored]) -> list[Case]:
    """The intervals of the machines whose motor binds; where a limit does, that is what stays, and there is none."""
    return [
        Case("safe-acceleration", each.seed, each.true, each.value, each.highest - each.value)
        for each in ramps
        if each.by_machine
    ]


def _of_one(seed: int) -> tuple[list[Case], Stored | str]:
    with tempfile.TemporaryDirectory() as folder:
        return list(measured(seed, Path(folder))), measured_ramp(seed, Path(folder))


def main(machines: int = MACHINES, processes: int = 2) -> None:
    """Print the table, what is stored of the ramps, and the cases that do not hold."""
    with multiprocessing.Pool(processes) as pool:
        each = []
        for found in pool.imap(_of_one, range(machines)):
            each.append(found)
            sys.stderr.write(f"\r{len(each)} of {machines}")
    sys.stderr.write("\n")
    ramps = [stored for _, stored in each if isinstance(stored, Stored)]
    cases = [case for cases, _ in each for case in cases] + safe_acceleration(ramps)
    sys.stdout.write(in_lines(cases))
    bound = sorted(stored.share for stored in ramps if stored.by_machine)
    losing = sum(stored.lost > 0 for stored in ramps)
    sys.stdout.write(
        f"stored ramps: {len(ramps)} machines, {losing} lose a step in 1,000 repeats; "
        f"of {len(ramps) - len(bound)} a limit stays, of {len(bound)} the motor binds: "
        f"stored {bound[0]:.2f} of the true limit at least, median {bound[len(bound) // 2]:.2f}\n"
    )
    for seed, (_, stored) in enumerate(each):
        if isinstance(stored, str):
            sys.stdout.write(f"  seed {seed}: no ramp is stored. {stored}\n")
    sys.stdout.write(missed(cases))


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:]))
