"""Data that nobody here made, from folder to report."""

import json
from pathlib import Path

import pytest

from kit.report import analyse, write_report
from kit.report.findings.headline import answer
from kit.series import read_series

REFERENCE = Path(__file__).parents[1] / "reference" / "mixed_models.json"


@pytest.fixture(scope="module")
def analysis(wine_folder):
    return analyse(read_series(wine_folder))


def test_conclusions_are_those_of_the_published_analysis(analysis):
    # Randall (1989): warmth and contact both raise bitterness.
    sure = {f.statement.split(" raises")[0]: f for f in analysis.findings if f.chance > 0.99}
    assert set(sure) == {
        "going from 40 to 80 mg/cm² a coat of base",
        "going from 20 to 40 mg/cm² of overlay",
    }
    assert all("raises bitterness" in finding.statement for finding in sure.values())


def test_effects_lie_within_a_standard_error_of_the_published_mixed_model(analysis):
    # Case clmm-wine-laplace of mixed_models.json: R 4.2.2, ordinal 2022.11-16. The kit's weak prior
    # and its further terms move the estimates a little.
    cases = {case["case"]: case for case in json.loads(REFERENCE.read_text())}
    case = cases["clmm-wine-laplace"]
    effects = analysis.fits.by_scale["bitterness"].results.effects
    warm = 40 * effects["center(base_coat_weight)"]
    contact = 20 * effects["center(coat_weight)"]
    for ours, name in ((warm, "tempwarm"), (contact, "contactyes")):
        assert abs(ours - case["coefficients"][name]) < case["standard_errors"][name]


def test_report_says_so_in_its_first_lines(analysis):
    assert answer(analysis).startswith("Almost certainly, going from 40 to 80 mg/cm²")
    assert "raises bitterness" in answer(analysis)


def test_folder_becomes_a_report(wine_folder, tmp_path):
    html = write_report(wine_folder, tmp_path / "report").read_text("utf-8")
    assert "Bitterness of eight wines" in html
    assert "Nothing was graded for spread yet." in html
    assert (tmp_path / "report" / "report.pdf").read_bytes().startswith(b"%PDF")
