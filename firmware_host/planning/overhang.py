"""The bending moment of the part on the spindle's bearings."""

from __future__ import annotations

from firmware_host.mechanics.support import overhang_moment, tailstock_share
from firmware_host.model.job import Job
from firmware_host.model.machine import Machine
from firmware_host.planning.limit_report import LimitCheck, not_known, upper_limit
from firmware_host.planning.load import LoadCase


def overhang_check(machine: Machine, job: Job, load: LoadCase) -> tuple[LimitCheck, ...]:
    """Moment of the part's weight at the front bearing against what the bearings allow.

    Free: m g (base + overhang). With a tailstock at the part's far end, the chuck's share of the weight times the base.
    The chuck's own weight is not in it. No check if neither the part's overhang nor the machine's limit is given.
    """
    support, overhang = machine.support, job.part.overhang
    given = {
        "part.overhang": overhang,
        "support.largest_overhang_moment": support.largest_overhang_moment,
        "support.overhang_base": support.overhang_base,
    }
    if load.trough is not None or (overhang is None and support.largest_overhang_moment is None):
        return ()
    formula = "m*g*(overhang + base), or with a tailstock m*g*(1 - overhang/length)*base <= largest moment"
    source = "statics of a beam; without the chuck's own weight"
    if overhang is None or support.largest_overhang_moment is None or support.overhang_base is None:
        missing = tuple(key for key, value in given.items() if value is None)
        return (not_known("overhang", "N*m", formula=formula, source=source, missing=missing),)
    base = support.overhang_base.si
    if support.tailstock:
        on_chuck, _ = tailstock_share(load.mass, overhang.si, job.part.whole_length.si)
        moment = abs(on_chuck) * base
    else:
        moment = overhang_moment(load.mass, overhang.si + base)
    return (
        upper_limit(
            "overhang",
            moment,
            support.largest_overhang_moment.si,
            "N*m",
            formula=formula,
            source=source,
            remedy="Support the part with a tailstock, or grip it closer to its middle",
        ),
    )
