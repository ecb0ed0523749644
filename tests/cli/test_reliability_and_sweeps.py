"""`limits --reliability` and `limits --sweep`: documents, tables, CSV, statuses, contradicting options."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from scipy import stats

from tests.cli.conftest import Circumstep


def reliability_document(circumstep: Circumstep, job: str, *options: str) -> tuple[int, dict[str, Any]]:
    ended = circumstep("limits", job, "--reliability", "--json", *options)
    assert ended.err == ""
    return ended.status, json.loads(ended.out)


def test_reliability_is_one_more_key_beside_the_promised_ones(circumstep: Circumstep) -> None:
    plain = json.loads(circumstep("limits", "heavy-shaft", "--json").out)
    status, document = reliability_document(circumstep, "heavy-shaft", "--samples", "20000")
    assert status == 0
    reliability = document.pop("reliability")
    assert document == plain
    assert reliability["verdict"] == "holds"
    assert reliability["probability"] == 1.0
    # 20,000 of 20,000: SciPy's Wilson interval.
    wanted = stats.binomtest(20_000, 20_000).proportion_ci(0.95, method="wilson")
    assert reliability["interval"] == pytest.approx([wanted.low, 1.0])
    assert (reliability["draws"], reliability["seed"], reliability["confidence"]) == (20_000, 1, 0.95)
    shares = [each["share_of_variance"] for each in reliability["inputs"]]
    assert shares == sorted(shares, reverse=True)
    assert all(each["source"] for each in reliability["inputs"])


@pytest.mark.slow
def test_the_same_seed_prints_the_same_bytes_and_another_seed_others(circumstep: Circumstep) -> None:
    first, again, other = (
        circumstep("limits", "bottle-band", "--reliability", "--samples", "4000", "--seed", seed, "--json").out
        for seed in ("7", "7", "8")
    )
    assert first == again != other


def test_an_unsure_grip_ends_with_status_1_and_tells_what_matters_most(circumstep: Circumstep) -> None:
    assert circumstep("limits", "tumbler-wrap").status == 0
    ended = circumstep("limits", "tumbler-wrap", "--reliability")
    assert ended.status == 1
    assert ended.out.startswith("Verdict: fails. Nothing may turn: reliability.\n")
    assert "\nreliability fails: no step is lost and nothing slips with probability 0.8" in ended.out
    assert "holds" not in ended.out.partition("\n\n")[0]
    assert "No step is lost and nothing slips with probability: 0.8" in ended.out
    assert "What matters most is rolling_resistance" in ended.out
    assert "100000 draws, seed 1" in ended.out
    rows = [line.split() for line in ended.out.splitlines()]
    assert ["friction", "-20", "%", "+20", "%"] in [row[:5] for row in rows]


def test_stated_tolerances_make_it_surer(circumstep: Circumstep, tmp_path: Path) -> None:
    text = circumstep("profile", "show", "job", "tumbler-wrap").out
    path = tmp_path / "known.toml"
    path.write_text(text + "\n[tolerances]\nrolling_resistance = 0.1\nfriction = 0.1\n", encoding="utf-8")
    status, document = reliability_document(circumstep, str(path))
    assert status == 0
    assert document["reliability"]["verdict"] == "holds"
    stated = {each["name"] for each in document["reliability"]["inputs"] if each["source"] == "as stated"}
    assert stated == {"rolling_resistance", "friction"}


def test_what_nobody_stated_is_drawn_from_its_range(circumstep: Circumstep, tmp_path: Path) -> None:
    text = circumstep("profile", "show", "job", "heavy-shaft").out.replace('mass_offset = "0.2 mm"\n', "")
    path = tmp_path / "unknown.toml"
    path.write_text(text, encoding="utf-8")
    _, document = reliability_document(circumstep, str(path))
    (row,) = (each for each in document["reliability"]["inputs"] if each["name"] == "mass_offset")
    assert row["source"].startswith("not stated: up to 2 % of the diameter")
    assert [each["key"] for each in document["assumptions"]] == ["part.mass_offset"]


SWEEP = "part.mass_offset=0 mm..4 mm:3"


def test_a_sweep_prints_a_document_with_the_checks_of_every_value(circumstep: Circumstep) -> None:
    ended = circumstep("limits", "heavy-shaft", "--sweep", SWEEP, "--json")
    assert (ended.status, ended.err) == (0, "")
    sweep = json.loads(ended.out)["sweep"]
    assert sweep["key"] == "part.mass_offset"
    assert [point["value"] for point in sweep["points"]] == ["0 mm", "2 mm", "4 mm"]
    holding = [
        check["value"] for point in sweep["points"] for check in point["checks"] if check["name"] == "holding-torque"
    ]
    # m*g*e/30 by hand.
    assert holding == pytest.approx([14 * 9.80665 * e / 30 for e in (0.0, 0.002, 0.004)])


def test_a_sweep_as_csv_has_a_row_for_every_value_and_a_margin_for_every_check(circumstep: Circumstep) -> None:
    rows = list(csv.DictReader(io.StringIO(circumstep("limits", "heavy-shaft", "--sweep", SWEEP, "--csv").out)))
    points = json.loads(circumstep("limits", "heavy-shaft", "--sweep", SWEEP, "--json").out)["sweep"]["points"]
    assert [row["part.mass_offset"] for row in rows] == ["0 mm", "2 mm", "4 mm"]
    for row, point in zip(rows, points, strict=True):
        assert float(row["index_s"]) == point["index_s"]
        assert row["verdict"] == point["verdict"]
        for check in point["checks"]:
            assert float(row[f"margin {check['name']}"]) == check["margin"]


def test_a_sweep_goes_on_past_values_with_which_nothing_works(circumstep: Circumstep) -> None:
    ended = circumstep("limits", "tumbler-wrap", "--sweep", "drive.friction=0.05..0.5:2")
    assert ended.status == 0
    assert "grip" in ended.out
    assert "exceeded" in ended.out
    rows = list(
        csv.DictReader(
            io.StringIO(circumstep("limits", "tumbler-wrap", "--sweep", "drive.friction=0.05..0.5:2", "--csv").out)
        )
    )
    assert [row["verdict"] for row in rows] == ["fails", "exceeded"]
    assert (rows[0]["index_s"], rows[0]["margin grip"]) == ("", "")
    assert rows[0]["trouble"]
    hopeless = circumstep("limits", "tumbler-wrap", "--sweep", "drive.friction=0.01..0.05:2")
    assert hopeless.status == 1


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--samples", "500"), "--samples and --seed belong to --reliability. Add --reliability"),
        (("--seed", "3"), "--samples and --seed belong to --reliability"),
        (("--reliability", "--sweep", SWEEP), "--reliability, --sweep and --parts contradict each other"),
        (("--csv",), "--csv: only a sweep and a table of parts are printed as CSV. Add --sweep"),
        (("--sweep", SWEEP, "--csv", "--json"), "--csv and --json contradict each other"),
        (("--reliability", "--samples", "5"), "draws: 5 draws. Draw from 100 to"),
        (("--reliability", "--seed", "-1"), "seed: seed -1 is negative"),
        (("--sweep", "part.mass=1 kg"), "sweep: 'part.mass=1 kg' does not give a key and a range"),
        (("--sweep", "part.mas=1 kg..2 kg"), "part.mas: unknown key 'mas'. Did you mean 'mass'?"),
    ],
    ids=["draws", "seed", "both", "csv", "two formats", "few draws", "seed below 0", "no range", "unknown key"],
)
def test_what_makes_no_sense_is_refused(circumstep: Circumstep, options: tuple[str, ...], words: str) -> None:
    ended = circumstep("limits", "heavy-shaft", *options)
    assert (ended.status, ended.out) == (2, "")
    assert words in ended.err


def test_the_old_option_names_still_work_and_are_not_in_the_help(circumstep: Circumstep) -> None:
    new = circumstep("limits", "bottle-band", "--reliability", "--samples", "4000", "--json")
    old = circumstep("limits", "bottle-band", "--sure", "--draws", "4000", "--json")
    assert new == old
    shown = circumstep("limits", "--help").out
    assert "--reliability" in shown
    assert "--sure" not in shown
    assert "--draws" not in shown
