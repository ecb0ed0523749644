"""Planning for the commands: an error that does not say in which file the trouble lies is completed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace

from firmware_host.cli.screen import output
from firmware_host.errors import InputError, PlanError
from firmware_host.model.files.loading import Setup, load_job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.layout.seams import AS_ENTERED, TrueSizes
from firmware_host.planning.plan import JobPlan, Layout, plan_job, plan_layout
from firmware_host.system.environment import set_for_now


def read(job: str) -> Setup:
    """`load_job`; what is hardly ever so in the files is told on standard error."""
    with set_for_now(PYDANTIC_DISABLE_PLUGINS="1"):  # else it looks through all installed packages for additions
        setup = load_job(job)
    for line in setup.remarks:
        output.remark(f"warning: {line}", style="yellow")
    return setup


def loaded(job: str, accept_limit: Iterable[str] | None = None) -> Setup:
    """`read`, with the limits accepted that `--accept-limit` names, besides the job's own; both are looked at."""
    from firmware_host.planning.limits.accept import acceptable, accepting  # for those who ask the limits

    setup = read(job)
    with _naming_files(setup):
        acceptable(setup.job.accept)
    return accepting(setup, accept_limit or (), key="--accept-limit", unsaid="accepted on the command line")


def planned(setup: Setup, true: TrueSizes = AS_ENTERED) -> JobPlan:
    """`plan_job`, with the job's or the machine's file in its errors."""
    with _naming_files(setup):
        return plan_job(setup, true=true)


def laid_out(setup: Setup, true: TrueSizes = AS_ENTERED) -> Layout:
    """`plan_layout`, with the job's or the machine's file in its errors."""
    with _naming_files(setup):
        return plan_layout(setup, true=true)


@contextmanager
def _naming_files(setup: Setup) -> Iterator[None]:
    try:
        yield
    except PlanError as error:
        raise replace(error, source=error.source or setup.job_source) from error
    except InputError as error:
        belongs_to_machine = error.key.partition(".")[0] in Machine.model_fields
        source = setup.machine_source if belongs_to_machine else setup.job_source
        raise replace(error, source=error.source or source) from error
