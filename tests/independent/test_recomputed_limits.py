"""Each limit of the program against a plain recomputation from the pages of physics, on random machines and parts."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from firmware_host.planning.limits.registry import all_limits
from tests.independent.compare import Comparison, compare, plan_of
from tests.independent.pairs import pair
from tests.independent.recompute.registry import NOT_YET_RECOMPUTED, RECOMPUTED

ALL, SAMPLE = 2000, 20
FOLDER = Path(__file__).parent
KINDS = {"good": {"holds", "holds narrowly"}, "bad": {"fails", "exceeded"}}
NEVER = {
    ("falls-through", "bad"): "on one diameter it is an error of the plan, which the comparison looks at as well",
}
"""What a limit cannot show, and why."""


def report(found: Comparison) -> str:
    return "\n".join([f"{len(found.differences)} differences in {found.planned} plans", *found.differences[:40]])


@pytest.fixture(scope="module")
def sample() -> Comparison:
    return compare(range(0, ALL, ALL // SAMPLE))


def test_program_and_recomputation_agree_on_every_limit_of_a_sample(sample: Comparison) -> None:
    assert not sample.differences, report(sample)
    assert sample.planned >= 0.9 * SAMPLE


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_program_and_recomputation_agree_on_every_limit_of_2000_pairs() -> None:
    found = compare(range(ALL))
    assert not found.differences, report(found)
    assert found.planned >= 0.9 * ALL
    seen = {(name, kind) for name, verdict in found.verdicts for kind, names in KINDS.items() if verdict in names}
    wanted = {(name, kind) for name in RECOMPUTED for kind in KINDS} - NEVER.keys()
    assert wanted - seen == set(), "these limits never came out that way"


def test_a_part_whose_imbalance_lifts_it_off_its_rollers_is_judged_and_fails() -> None:
    machine, job = next(found for found in map(pair, range(ALL)) if found[0]["drive"]["kind"] == "rollers")
    machine["drive"] |= {"contact_width": "1 mm", "slip": 0.0, "centre_distance": "10 mm"}
    del machine["axis"]
    job["part"]["mass_offset"] = job["part"]["diameter"]
    job["window"]["spot_diameter"] = "0.05 mm"
    job["index"] |= {"speed": "1 rad/s", "acceleration": "4 rad/s^2"}
    verdicts = {check.name: check.verdict.value for check in plan_of(machine, job).limits.checks}
    assert (verdicts["creep"], verdicts["seating"]) == ("exceeded", "fails")


def test_every_limit_of_the_program_has_a_recomputation() -> None:
    names = {limit.name for limit in all_limits()}
    assert names - RECOMPUTED.keys() == NOT_YET_RECOMPUTED.keys()
    assert RECOMPUTED.keys() - names == set()


def test_the_recomputation_takes_nothing_from_the_program() -> None:
    for path in [
        *sorted((FOLDER / "recompute").glob("*.py")),
        *sorted(FOLDER.glob("draw*.py")),
        FOLDER / "values.py",
        FOLDER / "pairs.py",
    ]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            modules = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            modules += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            assert not [name for name in modules if name.startswith("firmware_host")], path.name


def test_a_value_that_is_off_by_a_hundredth_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    exact = RECOMPUTED["inertia-ratio"]

    def off(facts):  # type: ignore[no-untyped-def]
        found = exact(facts)
        if found is not None and found.value is not None:
            found.value *= 1.01
        return found

    monkeypatch.setitem(RECOMPUTED, "inertia-ratio", off)
    assert any("inertia-ratio: value" in text for text in compare(range(3)).differences)
