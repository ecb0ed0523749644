"""`limits`: whether a job can be done, how fast, how reliably, and how that changes with one input."""

from __future__ import annotations

from typing import Annotated, Any

import typer
from typer.core import TyperCommand

from firmware_host.cli.input.arguments import AcceptOption, DetailsOption, JsonOption, PartsOption, UnitsOption, whole
from firmware_host.cli.input.planned import loaded, planned
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.progress_bar import counting
from firmware_host.errors import EXIT_CHECK_FAILED, InputError
from firmware_host.model import Motor, Setup, load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.model.machine.machine import Link
from firmware_host.planning.compare.advice import advised
from firmware_host.planning.compare.sweep import parse_sweep, sweep_limits
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.reliability.estimate import DEFAULT_DRAWS, DEFAULT_SEED, common_verdict, reliability
from firmware_host.reporting.measures import Units
from firmware_host.reporting.plans.limits import comparison_document, limits_document
from firmware_host.reporting.plans.moves import short_moves
from firmware_host.reporting.plans.sweep import sweep_document, sweep_margins
from firmware_host.reporting.render.csv import csv_text

JobsArgument = Annotated[list[str], typer.Argument(metavar="JOB", help="Job files (.toml), or names of job profiles.")]

_MORE = "--details: all checks, what is assumed. --why CHECK: formula, inputs, source."
_NEAR = "*"
"""What a bare `--why` asks about: every check that comes near its limit."""


def limits(
    jobs: JobsArgument,
    json: JsonOption = False,
    details: DetailsOption = False,
    why: Annotated[
        str,
        typer.Option(
            metavar="[CHECK]",
            help="Show formula, inputs and source of a check; without a name of each that comes near its limit.",
        ),
    ] = "",
    units: UnitsOption = Units.METRIC,
    accept_limit: AcceptOption = None,
    estimate: Annotated[
        bool,
        typer.Option("--reliability", help="Estimate the probability of success from the data's tolerances."),
    ] = False,
    samples: Annotated[
        int | None, whole("--samples", help=f"Number of random samples (default {DEFAULT_DRAWS}).")
    ] = None,
    seed: Annotated[int | None, whole("--seed", help=f"Random seed (default {DEFAULT_SEED}).")] = None,
    sweep: Annotated[str, typer.Option(metavar="KEY=a..b[:n]", help="Vary one key over n values.")] = "",
    parts: PartsOption = None,
    csv: Annotated[bool, typer.Option("--csv", help="Print the sweep, or the table of parts, as CSV.")] = False,
    sure: Annotated[bool, typer.Option("--sure", hidden=True, help="Old name of --reliability.")] = False,
    draws: Annotated[int | None, whole("--draws", hidden=True, help="Old name of --samples.")] = None,
) -> None:
    """Print the checks of a job; with `estimate` their reliability too, with `sweep` or `parts` only those of these.

    Ends with status 1 if a limit or the reliability stops the job; a sweep if every point is, a table if one part is.
    """
    estimate, samples = estimate or sure, draws if samples is None else samples
    _require_fitting(
        estimate=estimate,
        sampled=samples is not None or seed is not None,
        sweep=bool(sweep),
        parts=parts is not None,
        csv=csv,
        json=json,
        why=bool(why),
    )
    if len(jobs) > 1:
        if estimate or sweep or parts or why:
            options = "--why is" if why else "--reliability, --sweep and --parts are"
            raise InputError(f"{options} for one job", "Leave the other jobs out")
        _compare(jobs, accept_limit, json=json, details=details)
        return
    setup = loaded(jobs[0], accept_limit)
    if parts is not None:
        from firmware_host.cli.see.parts import Form, limits_of  # not loaded without a table

        limits_of(setup, parts, Form(csv, json, details, units))
        return
    if sweep:
        _sweep(setup, sweep, csv=csv, json=json, details=details)
        return
    plan = planned(setup)
    if why:
        _explain(setup, plan, why, json=json, units=units)
        _end_with(plan.limits.verdict)
        return
    report, found = advised(setup, plan, _shipped_motors()), None
    if estimate:
        found = reliability(
            setup,
            plan,
            draws=DEFAULT_DRAWS if samples is None else samples,
            seed=DEFAULT_SEED if seed is None else seed,
        )
    short = tuple(short_moves(plan.route, setup.machine))
    documents.show(
        limits_document(report, found, units, stopping_s=_stopping_s(setup, plan), notes=short),
        json=json,
        remarks=setup.remarks,
        details=details,
        units=units,
        more=_MORE,
    )
    _end_with(common_verdict(report, found))


def _stopping_s(setup: Setup, plan: JobPlan) -> float | None:
    """How long a stop takes at the most (s); None for a dialect that isn't at hand."""
    dialect, in_pieces = setup.machine.link.dialect, False
    if dialect != Link.model_fields["dialect"].default:  # the usual one needn't be loaded: it is told to hold
        from firmware_host.controller.registry import dialect_names, load_dialect

        if dialect not in dialect_names():
            return None
        in_pieces = load_dialect(dialect).capabilities.in_pieces
    return plan.program.stopping_s(in_pieces=in_pieces)


def _end_with(verdict: Verdict) -> None:
    if verdict.stops:
        raise typer.Exit(EXIT_CHECK_FAILED)


def _explain(setup: Setup, plan: JobPlan, why: str, *, json: bool, units: Units) -> None:
    from firmware_host.model.files.origins import origins_of  # all of this for those who ask
    from firmware_host.planning.compare.inputs import explain_checks
    from firmware_host.reporting.plans.first.limits import near_limits
    from firmware_host.reporting.plans.why import why_document

    names = tuple(check.name for check in near_limits(plan.limits)) if why == _NEAR else (why,)
    explained = explain_checks(setup, plan, names)
    documents.show(why_document(explained, origins_of(setup), units), json=json, remarks=setup.remarks, units=units)


class _Limits(TyperCommand):
    """`--why` may stand alone: then it asks about every check that comes near its limit."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """The words of the command, a bare `--why` completed."""
        alone = [word == "--why" and (args[place + 1 :] or ["--"])[0][:1] == "-" for place, word in enumerate(args)]
        words = (f"--why={_NEAR}" if is_alone else word for word, is_alone in zip(args, alone, strict=True))
        return super().parse_args(ctx, list(words))


def _shipped_motors() -> dict[str, Motor]:
    return {profile.name: load_motor(str(profile.path)) for profile in list_profiles("motors") if profile.shipped}


def _compare(jobs: list[str], accept_limit: list[str] | None, *, json: bool, details: bool) -> None:
    motors, reports = _shipped_motors(), dict[str, LimitReport]()
    with counting("jobs", len(jobs), lambda setup: advised(setup, planned(setup), motors)) as plan:
        for job in jobs:
            reports[job] = plan(loaded(job, accept_limit))
    documents.show(comparison_document(reports), json=json, details=details)
    if any(report.verdict.stops for report in reports.values()):
        raise typer.Exit(EXIT_CHECK_FAILED)


def _require_fitting(
    *, estimate: bool, sampled: bool, sweep: bool, parts: bool, csv: bool, json: bool, why: bool
) -> None:
    """Refuse options that would have no effect, or contradict each other."""
    if sampled and not estimate:
        raise InputError("--samples and --seed belong to --reliability", "Add --reliability, or leave them out")
    if estimate + sweep + parts > 1:
        raise InputError("--reliability, --sweep and --parts contradict each other", "Give one of them")
    if why and (estimate or sweep or parts):
        remedy = "Leave --reliability, --sweep and --parts out"
        raise InputError("--why asks about the plan as it stands", remedy, key="--why")
    if csv and not (sweep or parts):
        problem = "only a sweep and a table of parts are printed as CSV"
        raise InputError(problem, "Add --sweep or --parts, or leave --csv out", key="--csv")
    if csv and json:
        raise InputError("--csv and --json contradict each other", "Give one of them")


def _sweep(setup: Setup, text: str, *, csv: bool, json: bool, details: bool) -> None:
    wanted = parse_sweep(text)
    with counting("values", wanted.points, planned) as plan:
        points = sweep_limits(setup, wanted, plan=plan)
    if csv:
        output.exact(csv_text(sweep_margins(wanted, points)))
    else:
        document = sweep_document(wanted, points, setup.job.accept)
        more = "--details: speed, acceleration, what stops each. --csv: the margin of every check."
        documents.show(document, json=json, remarks=setup.remarks, details=details, more=more)
    if all(point.verdict.stops for point in points):
        raise typer.Exit(EXIT_CHECK_FAILED)


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command(cls=_Limits)(limits)
