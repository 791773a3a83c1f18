"""The page of a report: the answer first, then in the order of use; safe, self-contained, true."""

import base64
import hashlib
import json
import re
from dataclasses import replace

import html5lib
import pytest

from kit.model import ENDINGS, LOOKS, look, verdict_sentence
from kit.report import analyse, next_round, whole_report
from kit.report.page.document import LookUp, PairGroups
from kit.report.page.html import page
from kit.report.sections.look_up_data import best_count, expectations
from kit.series import CAUTIONS, Wish
from kit.wording import percent

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def document(analysis):
    return whole_report(analysis)


@pytest.fixture(scope="module")
def html(document):
    return page(document)


@pytest.fixture(scope="module")
def body(html):
    return html5lib.parse(html, namespaceHTMLElements=False).find("body")


@pytest.fixture(scope="module")
def told(document):
    (block,) = (part for part in document.parts() if isinstance(part, LookUp))
    return block.data


def words(element):
    return " ".join("".join(element.itertext()).split())


def asked(fired, ask, **settings):
    series = replace(fired, settings=replace(fired.settings, ask=ask, **settings))
    return whole_report(analyse(series))


def test_page_is_valid_html(html):
    html5lib.HTMLParser(strict=True).parse(html)


def test_answer_chart_and_look_up_come_first_and_commands_last(body):
    sections = [section.get("id") for section in body.findall(".//main/section")]
    assert sections == ["answer", "pairs", "surprises", "fired", "next", "behind", "teacher"]
    first = body.find(".//section[@id='answer']")
    parts = [e.get("class") or e.get("id") for e in first.iter() if e.get("class") or e.get("id")]
    order = [parts.index(part) for part in ("answer", "figure-pair-chart", "look-up", "caution")]
    assert order == sorted(order)
    commands = [s.get("id") for s in body.findall(".//main/section") if "kit new" in words(s)]
    assert commands == ["teacher"]


def test_policy_lets_only_the_pages_own_style_and_script_run(html):
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', html)[1]
    for kind in ("style", "script"):
        inside = re.search(rf"<{kind}>(.*?)</{kind}>", html, re.DOTALL)[1]
        digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy


def test_nothing_runs_or_loads_that_the_policy_would_stop(html, body):
    attributes = {name for element in body.iter() for name in element.attrib}
    assert not {name for name in attributes if name.startswith("on") or name == "style"}
    for reference in ('src="http', 'href="http', "url(", "@import", "<link", "javascript:"):
        assert reference not in re.sub('="data:[^"]*"', "", html)


def test_no_name_is_given_twice(body):
    names = [element.get("id") for element in body.iter() if element.get("id")]
    assert len(names) == len(set(names))


def test_without_scripts_chart_and_tables_stand_and_what_needs_them_is_hidden(body, analysis):
    assert body.find(f".//figure[@id='figure-pair-chart']//{SVG}svg") is not None
    rows = body.findall(".//table[@class='pairs']/tbody/tr")
    pairs = analysis.pairs[["base", "overlay"]].drop_duplicates()
    assert {words(row.find("th")) for row in rows} == {
        f"{row.overlay} over {row.base}" for row in pairs.itertuples()
    }
    assert len(rows) == len(pairs)
    for hidden in ("div[@class='look-up']", "form[@class='pair-tools']"):
        assert body.find(f".//{hidden}").get("hidden") is not None


def test_look_up_says_of_every_pair_what_the_table_says(told, analysis):
    colours, counts = told["colours"], told["counts"]
    for row in analysis.pairs.itertuples():
        pair = colours.index(row.base) * len(colours) + colours.index(row.overlay)
        found = told["tables"][0][pair * len(counts) + counts.index(row.firings)]
        said = [told["percent"][code] for code in found[:3]]
        assert said == [percent(c) for c in (row.fine_edge, row.soft_edge, row.broken_through)]
        shown = look(row.verdict, row.leans_to)
        assert told["looks"][found[3]]["label"] == shown.label
        assert told["looks"][found[3]]["colour"] == shown.colour
        assert told["sentences"][found[4]] == verdict_sentence(
            row.verdict, row.leans_to, row.share_low, row.share_high
        )
    assert [ending["label"] for ending in told["endings"]] == [LOOKS[e].label for e in ENDINGS]


def test_look_up_names_every_patch_that_was_fired(told, analysis):
    graded = set(analysis.grades["patch"])
    said = " ".join(told["fired"].values())
    assert all(f"patch {patch} (" in said for patch in graded)


def test_look_up_stands_in_the_page_as_it_is(html, told):
    inside = re.search(r'id="look-up-data">(.*?)</script>', html, re.DOTALL)[1]
    assert json.loads(inside) == json.loads(json.dumps(told))
    assert "</" not in inside


def test_sifter_and_coat_are_a_choice_where_they_were_varied(fired):
    settings = replace(
        fired.settings,
        factors={**fired.settings.factors, "mesh": (80, 100), "coat_weight": (30.0,)},
    )
    patches = fired.patches.assign(
        mesh=[80 if n % 2 else 100 for n in range(len(fired.patches))],
        coat_weight=[30.0 if n % 3 else 40.0 for n in range(len(fired.patches))],
    )
    found = analyse(replace(fired, settings=settings, patches=patches))
    told = expectations(found)
    assert told.levels == {"mesh": (80.0, 100.0), "coat_weight": (30.0, 40.0)}
    assert len(told.tables) == 4
    usual = 0
    for factor, level in zip(told.levels.values(), told.usual, strict=True):
        usual = usual * len(factor) + level
    assert told.tables[usual] is found.pairs
    assert not told.tables[0]["fine_edge"].equals(found.pairs["fine_edge"])


def test_how_often_to_fire_follows_the_verdicts(analysis):
    for _, rows in analysis.pairs.groupby(["base", "overlay"]):
        ordered = list(rows.sort_values("firings").itertuples())
        said = best_count(ordered)
        held = [row.verdict == "fine edge" for row in ordered]
        if all(held):
            assert "the most that was fired" in said
        elif held[0]:
            assert f"through {ordered[held.index(False) - 1].firings} firing" in said
        elif max(row.fine_edge for row in ordered) < 0.1:
            assert said.startswith("at no count is a fine edge to be expected")
        else:
            assert said.startswith("no count is sure")


def test_a_few_pairs_asked_about_get_a_page_of_their_own_and_no_others(fired):
    document = asked(fired, "is this pair safe", wishes=(Wish("Ember", "Moss"),))
    (block,) = (part for part in document.parts() if isinstance(part, LookUp))
    told = block.data
    rows = [row for row in told["tables"][0] if row]
    assert len(rows) == len(told["counts"])
    assert not any(isinstance(part, PairGroups) for part in document.parts())
    close = [point.text for part in document.parts() for point in getattr(part, "points", ())
             if point.lead == "Close calls:"]  # fmt: skip
    assert all(re.match(r"1 verdict of 1 .*: Moss over Ember\.", told) for told in close)
    assert [s.name for s in document.sections] == ["answer", "fired", "next", "behind", "teacher"]
    assert document["answer"].blocks[0].text.startswith("Moss over Ember")
    assert document["next"].blocks[0].text.startswith("More samples would settle no pair that was")
    assert not list(document["next"].pictures())


def test_what_to_fire_for_a_pair_asked_about_speaks_of_no_others(fired, analysis):
    pair = analysis.pairs_found.open[0].first
    wished = replace(
        fired.settings, ask="is this pair safe", wishes=(Wish(pair.base, pair.overlay),)
    )
    next_up = next_round(replace(analysis, series=replace(fired, settings=wished)))
    assert next_up.blocks[0].text.startswith("The pair asked about can still be settled")
    assert not list(next_up.pictures())
    assert any(picture.name == "rounds" for picture in next_round(analysis).pictures())


def test_what_matters_shows_effects_before_the_chart(fired):
    document = asked(fired, "which things matter")
    names = [part.name for part in document["answer"].pictures()]
    assert names.index("effects-spread") < names.index("pair-chart")


def test_cautions_are_short_on_the_first_screen_and_whole_further_down(body):
    assert "respirator" in words(body.find(".//section[@id='answer']//div[@class='caution']"))
    behind = words(body.find(".//section[@id='behind']"))
    assert all(caution.text in behind for caution in CAUTIONS)


def test_a_plan_without_grades_is_drawn_as_tiles(fired):
    document = whole_report(analyse(replace(fired, grades=fired.grades.iloc[:0])))
    (plan,) = (p for p in document["fired"].pictures() if p.name == "plan")
    assert all(f"Tile {tile}:" in plan.alt for tile in fired.tiles["tile"])


def test_same_data_give_the_same_bytes(fired, html):
    assert page(whole_report(analyse(fired))) == html
