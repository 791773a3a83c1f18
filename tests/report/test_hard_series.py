"""Series that lack something get true words and no crash."""

import io
from dataclasses import replace
from functools import cache

import html5lib
import pandas as pd
import pytest
from pypdf import PdfReader

from kit.report import analyse, findings_by_score, wall_summary, whole_report
from kit.report.findings.headline import answer
from kit.report.page.html import page
from kit.report.page.pdf import pages, wall_sheet


def with_grades(series, grades):
    return replace(series, grades=grades.reset_index(drop=True))


def nothing_graded(fired):
    return with_grades(fired, fired.grades.iloc[:0])


def one_scale(fired):
    blank = pd.Series(pd.NA, index=fired.grades.index, dtype="Int64")
    return with_grades(fired, fired.grades.assign(pull_through=blank))


def one_grader(fired):
    return with_grades(fired, fired.grades[fired.grades["grader"] == "Ada"])


def all_the_same(fired):
    same = pd.Series(0, index=fired.grades.index, dtype="Int64")
    return with_grades(fired, fired.grades.assign(spread=same, pull_through=same))


def a_handful(fired):
    return with_grades(fired, fired.grades.iloc[:6])


def nothing_there(fired):
    """Grades dealt out anew at random: there is nothing to find."""
    order = pd.Series(range(len(fired.grades))).sample(frac=1, random_state=4).to_numpy()
    dealt = fired.grades[["spread", "pull_through"]].iloc[order].reset_index(drop=True)
    return with_grades(fired, fired.grades.assign(**dealt))


def unplanned(fired):
    frames = ("tiles", "patches", "firings", "grades")
    return replace(fired, **{name: getattr(fired, name).iloc[:0] for name in frames})


SERIES = (
    nothing_graded, one_scale, one_grader, all_the_same, a_handful, nothing_there, unplanned,
)  # fmt: skip


@pytest.fixture(scope="module")
def report_of(fired):
    """The analysis and report of a series, made once."""

    @cache
    def made(of):
        analysis = analyse(of(fired))
        return analysis, whole_report(analysis)

    return made


def text_of(document):
    body = html5lib.parse(page(document), namespaceHTMLElements=False).find("body")
    return " ".join("".join(body.itertext()).split())


@pytest.mark.parametrize("of", SERIES, ids=lambda of: of.__name__)
def test_report_is_whole_valid_and_free_of_holes(of, report_of):
    analysis, report = report_of(of)
    html5lib.HTMLParser(strict=True).parse(page(report))
    assert pages(report).startswith(b"%PDF")
    assert len(PdfReader(io.BytesIO(wall_sheet(wall_summary(analysis)))).pages) == 1
    words = set(text_of(report).replace(",", " ").split())
    assert not words & {"nan", "NaN", "inf", "<NA>"}


def test_nothing_graded_says_so(report_of):
    analysis, report = report_of(nothing_graded)
    assert answer(analysis) == "Nothing has been graded yet."
    assert "Nothing has been graded yet, so nothing has been found." in text_of(report)


def test_one_scale_alone_gives_no_verdict_but_its_findings(report_of):
    analysis, report = report_of(one_scale)
    assert analysis.pairs.empty
    assert "Nothing was graded for pull_through yet." in text_of(report)
    assert "leaded over unleaded spreads more than like over like" in text_of(report)


def test_one_grader_is_named_as_a_weakness(report_of):
    _, report = report_of(one_grader)
    assert "Ada graded alone, so nobody can say" in text_of(report)


def test_all_the_same_is_said_plainly(report_of):
    _, report = report_of(all_the_same)
    assert "Every spread grade is 0." in text_of(report)
    assert "No pair can be judged yet" in text_of(report)


def test_where_there_is_nothing_to_find_no_family_rule_is_called_sure(report_of):
    analysis, _ = report_of(nothing_there)
    rules = [finding for finding in analysis.findings if "over like" in finding.statement]
    assert len(rules) == 2
    assert all(finding.chance < 0.97 for finding in rules)
    assert "as a rule" not in answer(analysis)


def test_plan_without_grades_reads_as_a_plan(report_of):
    text = text_of(report_of(nothing_graded)[1])
    assert "Nothing has been graded yet" in text
    assert "shall take" in text
    assert "These pairs do otherwise" not in text
    assert "These would move it" not in text


def test_findings_are_nine_in_ten_and_the_rest_are_leanings(report_of):
    analysis, _ = report_of(nothing_there)
    found = findings_by_score(analysis)
    sure = [f for f in analysis.findings if f.found]
    first, *_ = found.blocks
    listed = getattr(first, "points", ())
    assert len(listed) == len(sure)
    assert all(point.lead.startswith(("Almost certainly", "Very probably")) for point in listed)
    assert any(getattr(block, "title", "").startswith("Leanings") for block in found.blocks)
