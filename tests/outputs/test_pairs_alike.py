"""One pair has one verdict and one number, wherever it is told."""

import io
import json
import re
import warnings
from html import unescape
from xml.etree import ElementTree

import pandas as pd
import pytest

import kit
from kit.drawing import chance_charts, layouts_of
from kit.model import ENDINGS, HIT_OR_MISS, LOOKS, NOT_KNOWN, VERDICTS, VerdictRule
from kit.report.findings.headline import which_pairs
from kit.report.notebooks import pair_told
from kit.report.page.document import Bullets, PairGroups
from kit.report.sections.cover import pairs_by_verdict
from kit.report.sections.unexpected_results import surprises
from kit.report.sections.what_is_uncertain import doubts
from kit.wording import percent, whole_percent


def ground_truth(table):
    """Verdict, look and number of each pair and count, worked out from the chances alone."""
    told = {}
    for row in table.to_dict("records"):
        chances = dict(zip(ENDINGS, (row["fine_edge"], row["soft_edge"], row["broken_through"]),
                           strict=True))  # fmt: skip
        shown = row["verdict"] if row["verdict"] in ENDINGS else row["leans_to"]
        chance = row["hit_or_miss"] if row["verdict"] == HIT_OR_MISS else chances[shown]
        told[row["base"], row["overlay"], row["firings"]] = (row["verdict"], chance)
    return told


def through_of(told, base, overlay, counts):
    """Firings that a pair keeps a fine edge through."""
    kept = 0
    for count in counts:
        if told[base, overlay, count][0] != ENDINGS[0]:
            break
        kept = count
    return kept


def test_a_verdict_has_the_chance_that_it_claims(made):
    confidence = VerdictRule.of(made.series.settings.verdict).confidence
    for verdict, chance in ground_truth(made.analysis.pairs).values():
        assert verdict in VERDICTS
        if verdict != NOT_KNOWN:
            assert chance >= confidence


def test_every_ordered_pair_of_two_colours_is_there_once_and_no_colour_over_itself(made):
    found, colours = made.analysis.pairs_found, len(made.series.stock)
    if not len(found):
        pytest.skip("nothing is judged")
    assert len(found) == colours * (colours - 1)
    assert len({pair.name for pair in found}) == len(found)
    assert all(pair.first.base != pair.first.overlay for pair in found)


def test_verdicts_and_pairs_not_known_add_up_to_every_pair(made):
    found, table = made.analysis.pairs_found, made.analysis.pairs
    if not len(found):
        pytest.skip("nothing is judged")
    never = table.groupby(["base", "overlay"])["verdict"].agg(lambda told: set(told) == {NOT_KNOWN})
    assert len(found.unknown) == never.sum()
    assert len(found.known) + len(found.by_verdict[NOT_KNOWN]) == len(found)
    told = re.search(r"(\d+) pairs? of (\d+) (?:is|are) not known yet at any", which_pairs(found))
    if told:
        assert [int(told[1]), int(told[2])] == [never.sum(), len(never)]


def test_no_grade_of_a_colour_over_itself_is_behind_any_verdict(made):
    for fit in made.analysis.fits.by_scale.values():
        assert (fit.seen["base"] != fit.seen["overlay"]).all()


def test_the_table_by_itself_is_the_table_of_the_report(made):
    if made.analysis.pairs.empty:
        pytest.skip("nothing is judged")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # What the fit warns of is told in the report.
        alone = kit.pairs(made.series)
    pd.testing.assert_frame_equal(alone, made.analysis.pairs)


def test_csv_tells_the_number_of_the_chart(made):
    if not made.csv:
        pytest.skip("nothing is judged")
    told = ground_truth(made.analysis.pairs)
    table = pd.read_csv(io.BytesIO(made.csv), keep_default_na=False)
    assert len(table) == len(told)
    for row in table.to_dict("records"):
        verdict, chance = told[row["base"], row["overlay"], row["firings"]]
        assert row["verdict"] == verdict
        assert row["chance_in_100"] == whole_percent(chance)
        # Never a false certainty, and nothing rounded up to a bound that it misses.
        assert 1 <= row["chance_in_100"] <= max(1, min(99, 100 * chance + 1e-6))


def test_charts_of_chances_write_the_number_into_the_cell_of_the_pair(made):
    pairs, stock = made.analysis.pairs, made.series.stock
    told = ground_truth(pairs)
    for count in sorted(set(pairs["firings"])) if len(pairs) else ():
        at = pairs[pairs["firings"] == count]
        written = {}
        charts = chance_charts(pairs, stock, int(count))
        for chart, layout in zip(charts, layouts_of(at, stock), strict=True):
            for text in ElementTree.fromstring(chart.svg).iter("{http://www.w3.org/2000/svg}text"):
                if re.fullmatch(r"\d+", text.text or ""):
                    cell = _cell(layout, float(text.get("x")), float(text.get("y")))
                    assert cell is not None
                    written[*cell, count] = int(text.text)
        expected = {key: whole_percent(chance) for key, (_, chance) in told.items()
                    if key[2] == count}  # fmt: skip
        assert written == expected
        assert set(written.values()) <= set(range(1, 100))


def _cell(layout, x, y):
    for base, top in layout.down.items():
        for overlay, left in layout.across.items():
            if left <= x <= left + layout.cell and top <= y <= top + layout.cell:
                return base, overlay
    return None


def test_lists_of_pairs_say_the_same(made):
    told = ground_truth(made.analysis.pairs)
    counts = sorted({count for *_, count in told})
    for block in pairs_by_verdict(made.analysis).blocks:
        if isinstance(block, PairGroups):
            listed = [pair for group in block.groups for pair in group.pairs]
            assert len(listed) == len(made.analysis.pairs_found)
            for pair in listed:
                base, overlay = pair.first.base, pair.first.overlay
                assert pair.through == through_of(told, base, overlay, counts)
                for row in pair.rows:
                    verdict, chance = told[base, overlay, row.firings]
                    assert (row.verdict, row.number) == (verdict, whole_percent(chance))
                    assert row.look in (LOOKS[verdict], row.look)


def test_the_wall_page_says_the_same(made):
    told = ground_truth(made.analysis.pairs)
    counts = sorted({count for *_, count in told})
    names = {f"{overlay} over {base}": (base, overlay) for base, overlay, _ in told}
    for section, verdict in zip(made.wall.sections[1:], VERDICTS, strict=False):
        points = [p for block in section.blocks if isinstance(block, Bullets) for p in block.points]
        for point in points:
            name, through, chance = re.fullmatch(
                r"(.*?)(?:, through (\d+) firings?)? \(([^()]*)\)", point.text
            ).groups()
            base, overlay = names[name]
            reached = through_of(told, base, overlay, counts)
            assert int(through or 0) == reached
            own, sure = told[base, overlay, reached or counts[0]]
            assert own == verdict
            assert chance == percent(sure)


def test_the_look_up_says_the_same(made):
    found = re.search(r'id="look-up-data">(.*?)</script>', made.html, re.S)
    if not found:
        pytest.skip("no pair is judged")
    data = json.loads(unescape(found[1]).replace("<\\/", "</"))
    told, names, counts = ground_truth(made.analysis.pairs), data["colours"], data["counts"]
    here = sum(place * size for place, size in zip(data["usual"], _sizes(data, made), strict=True))
    rows = data["tables"][here]
    for b, base in enumerate(names):
        for o, overlay in enumerate(names):
            for c, count in enumerate(counts):
                row = rows[(b * len(names) + o) * len(counts) + c]
                if base == overlay:
                    assert not row
                    continue
                verdict, chance = told[base, overlay, count]
                label = data["looks"][row[3]]["label"]
                assert label == verdict or (verdict == NOT_KNOWN and label.startswith("leans to"))
                if verdict in ENDINGS:
                    assert data["percent"][row[ENDINGS.index(verdict)]] == percent(chance)


def _sizes(data, made):
    """How far apart in the tables two levels of each factor lie."""
    settings = made.series.settings
    levels = [
        len({float(getattr(settings.verdict, name)), *map(float, settings.factors[name])})
        for name in ("mesh", "coat_weight")
    ]
    several = [count for count in levels if count > 1] if data["usual"] else []
    return [len(data["tables"]) // _product(several[: n + 1]) for n in range(len(several))]


def _product(numbers):
    made = 1
    for number in numbers:
        made *= number
    return made


def test_sentences_about_a_pair_have_its_number(made):
    told = ground_truth(made.analysis.pairs)
    numbers = {}
    for (base, overlay, _), (_, chance) in told.items():
        numbers.setdefault(f"{overlay} over {base}", set()).add(percent(chance))
    sections = (surprises(made.analysis), doubts(made.analysis))
    points = [
        point
        for section in sections
        for block in section.blocks
        if isinstance(block, Bullets)
        for point in block.points
    ]
    for pair in list(made.analysis.pairs_found)[:12]:
        points += pair_told(made.analysis, pair.first.overlay, pair.first.base).points
    checked = 0
    for point in points:
        name = point.lead.removesuffix(":")
        for chance in re.findall(r"chance ([^;).]*%)", point.text) if name in numbers else ():
            assert chance in numbers[name], point
            checked += 1
    assert checked or not told
