"""What the part and its job are assumed to be where nobody said."""

from __future__ import annotations

from collections.abc import Iterator

from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.assume.assumption import COMMON, Assumption, Together, quantity
from firmware_host.planning.assume.machine import diameter_uncertainty
from firmware_host.planning.body import shape_of

OFFSET_SHARE, OFFSET_SHARE_WITH_HANDLE = 0.02, 0.15
"""Most that the centre of mass is beside the axis, over the diameter: of a round part, of one with a keep-out arc.

What `part.bodies` describes has an imbalance of its own: then what else there is counts as round.
"""


LONGEST_BASE = 0.1
"""Most that a chuck's face is from the spindle's front bearing, m: common practice, no source."""


def job_assumptions(machine: Machine, job: Job) -> Iterator[Assumption]:
    """What part and job leave open on this machine."""
    part = job.part
    if part.mass_offset is None and shape_of(part).offset is None:
        handle = part.keep_out and not part.bodies  # bodies have an imbalance of their own
        share = OFFSET_SHARE_WITH_HANDLE if handle else OFFSET_SHARE
        low, high = quantity(0, "mm", "length"), quantity(share * part.diameter.si * 1e3, "mm", "length")
        kind = "a part with a handle or the like (keep_out)" if handle else "a round part"
        why = f"up to {100 * share:.0f} % of the diameter: {kind}, {COMMON}"
        yield Assumption("part.mass_offset", ("part", "mass_offset"), low, high, Together.IMBALANCE, why)
    if part.overhang is None and machine.drive.part_on_shaft:
        low, high = quantity(0, "mm", "length"), part.whole_length
        why = "the centre of mass lies somewhere along the part"
        yield Assumption("part.overhang", ("part", "overhang"), low, high, Together.PLACE, why)
    if machine.support.overhang_base is None and machine.drive.part_on_shaft:
        low, high = quantity(0, "mm", "length"), quantity(LONGEST_BASE * 1e3, "mm", "length")
        why, path = f"front bearing to chuck's face, {COMMON}", ("support", "overhang_base")
        yield Assumption("support.overhang_base", path, low, high, Together.ALONE, why)
    if job.segments.diameter_uncertainty is None:
        yield diameter_uncertainty("segments.diameter_uncertainty", ("segments", "diameter_uncertainty"))
