"""`limits`: whether a job can be done, how fast, how surely, and what one input does to that."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from firmware_host.cli.input.arguments import JsonOption
from firmware_host.cli.input.planned import planned
from firmware_host.cli.screen import output
from firmware_host.cli.screen.progress_bar import counting
from firmware_host.errors import EXIT_CHECK_FAILED, InputError
from firmware_host.model import Motor, Setup, load_job, load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.compare.advice import advised
from firmware_host.planning.compare.sweep import parse_sweep, sweep_limits
from firmware_host.planning.limits.report import LimitReport, Verdict
from firmware_host.planning.reliability.estimate import DEFAULT_DRAWS, DEFAULT_SEED, Reliability, reliability
from firmware_host.reporting.comparison import comparison_document, comparison_table
from firmware_host.reporting.reliability import reliability_document, reliability_lines, reliability_table
from firmware_host.reporting.sweeps import sweep_csv, sweep_document, sweep_table
from firmware_host.reporting.tables import limit_lines, limit_table

JobsArgument = Annotated[list[str], typer.Argument(metavar="JOB", help="Job files (.toml), or names of job profiles.")]


def limits(
    jobs: JobsArgument,
    json: JsonOption = False,
    sure: Annotated[bool, typer.Option("--sure", help="Tell how sure it is, the data being what they are.")] = False,
    draws: Annotated[int | None, typer.Option(help=f"How often to draw the data; {DEFAULT_DRAWS} left out.")] = None,
    seed: Annotated[int | None, typer.Option(help=f"What the draws begin from; {DEFAULT_SEED} left out.")] = None,
    sweep: Annotated[
        str, typer.Option(metavar="KEY=a..b[:n]", help="Show instead what n values of one key come to.")
    ] = "",
    csv: Annotated[bool, typer.Option("--csv", help="Print the sweep as CSV.")] = False,
) -> None:
    """Check motor, driver, gearing and grip, and how fast the part may go; several jobs: one line each.

    Status 1 if a limit fails.
    """
    _require_fitting(sure=sure, drawn=draws is not None or seed is not None, sweep=bool(sweep), csv=csv, json=json)
    if len(jobs) > 1:
        if sure or sweep:
            raise InputError("--sure and --sweep are for one job", "Leave the other jobs out")
        _compare(jobs, json=json)
        return
    setup = load_job(jobs[0])
    if sweep:
        _sweep(setup, sweep, csv=csv, json=json)
        return
    plan = planned(setup)
    report, doubt = advised(setup, plan, _shipped_motors()), None
    if sure:
        doubt = reliability(
            setup,
            plan,
            draws=DEFAULT_DRAWS if draws is None else draws,
            seed=DEFAULT_SEED if seed is None else seed,
        )
    _show(report, doubt, json=json)
    if Verdict.FAILS in (report.verdict, doubt.verdict if doubt is not None else None):
        raise typer.Exit(EXIT_CHECK_FAILED)


def _shipped_motors() -> dict[str, Motor]:
    return {profile.name: load_motor(str(profile.path)) for profile in list_profiles("motors") if profile.shipped}


def _compare(jobs: list[str], *, json: bool) -> None:
    motors, reports = _shipped_motors(), dict[str, LimitReport]()
    with counting("jobs", len(jobs), lambda setup: advised(setup, planned(setup), motors)) as plan:
        for job in jobs:
            reports[job] = plan(load_job(job))
    if json:
        output.document(comparison_document(reports))
    else:
        output.show(comparison_table(reports))
    if any(report.verdict is Verdict.FAILS for report in reports.values()):
        raise typer.Exit(EXIT_CHECK_FAILED)


def _require_fitting(*, sure: bool, drawn: bool, sweep: bool, csv: bool, json: bool) -> None:
    """Refuse options that would have no effect, or contradict each other."""
    if drawn and not sure:
        raise InputError("--draws and --seed say how to draw for --sure", "Add --sure, or leave them out")
    if sure and sweep:
        raise InputError("--sure and --sweep contradict each other", "Give one of them")
    if csv and not sweep:
        raise InputError("only a sweep is printed as CSV", "Add --sweep, or leave --csv out", key="--csv")
    if csv and json:
        raise InputError("--csv and --json contradict each other", "Give one of them")


def _show(report: LimitReport, doubt: Reliability | None, *, json: bool) -> None:
    if json:
        document: dict[str, Any] = report.as_json()
        if doubt is not None:
            document["reliability"] = reliability_document(doubt)
        output.document(document)
        return
    output.show(limit_table(report))
    output.lines(limit_lines(report))
    if doubt is not None:
        if doubt.influences:
            output.show(reliability_table(doubt))
        output.lines(reliability_lines(doubt))


def _sweep(setup: Setup, text: str, *, csv: bool, json: bool) -> None:
    wanted = parse_sweep(text)
    with counting("values", wanted.points, planned) as plan:
        points = sweep_limits(setup, wanted, plan=plan)
    if csv:
        typer.echo(sweep_csv(wanted, points), nl=False)
    elif json:
        output.document({"sweep": sweep_document(wanted, points)})
    else:
        output.show(sweep_table(wanted, points))
    if all(point.verdict is Verdict.FAILS for point in points):
        raise typer.Exit(EXIT_CHECK_FAILED)


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command()(limits)
