"""What every first screen says in the same words."""

from __future__ import annotations

from firmware_host.planning.plan import Layout

ROOM_TO_SPARE = 0.4
"""What holds with this part of its limit left is counted, not shown: twice what holds narrowly."""

PROVE_IT = "prove it on the machine, first without the laser."


def count_assumed(plan: Layout) -> int:
    """How many data of machine, job and marking window are assumed."""
    return len(plan.assumptions) + sum(cause.assumed for cause in plan.seams.causes if cause.worst > 0)


def caution(assumed: int) -> str:
    """That all of it is an estimate, and on how many assumed data it rests."""
    if assumed == 0:
        return f"An estimate: {PROVE_IT}"
    return f"Estimated, {assumed} {'datum' if assumed == 1 else 'data'} assumed: {PROVE_IT}"
