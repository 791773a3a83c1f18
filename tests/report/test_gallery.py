"""All series together: nothing done twice, nothing hidden, knowledge added up."""

import re
import shutil
from dataclasses import replace

import html5lib
import pytest

from kit.errors import Misuse
from kit.model import NOT_KNOWN
from kit.report import analyse_together, read_every_series, write_every_report
from kit.report.findings.pair_findings import PairFindings
from kit.report.gallery.colour_page import colour_addresses
from kit.report.gallery.index_page import how_many, in_rounds, pooled_chart
from kit.report.gallery.pooled import changes, dangers, what_each_added
from kit.report.page.document import Paragraph
from kit.studio import draw_truth, fire


@pytest.fixture(scope="module")
def two(fired):
    """Two series of the same stock, fired in the same studio."""
    truth = draw_truth(fired.colours, 5, loss_rate=0)
    few = fired.tiles["tile"] <= 6
    small = replace(
        fired, tiles=fired.tiles[few], patches=fired.patches[fired.patches["tile"] <= 6]
    )
    return [fire(replace(small, name=f"series-{n}", sources={}), truth, n) for n in range(2)]


@pytest.fixture(scope="module")
def studio(two, tmp_path_factory):
    folder = tmp_path_factory.mktemp("studio")
    for series in two:
        series.write(folder / "data" / series.name)
    told = []
    write_every_report(folder / "data", folder / "reports", progress=told.append, jobs=1)
    return folder, told


def test_every_series_has_its_report_and_the_index_leads_to_it(studio):
    reports = studio[0] / "reports"
    index = (reports / "index.html").read_text("utf-8")
    html5lib.HTMLParser(strict=True).parse(index)
    body = html5lib.parse(index, namespaceHTMLElements=False).find("body")
    cards = [a.get("href") for a in body.findall(".//ul[@class='cards']/li/h3/a")]
    assert cards == [f"series-{n}/report.html" for n in range(2)]
    links = [a.get("href") for a in body.iter("a") if not a.get("href").startswith("#")]
    pictures = [i.get("src") for i in body.iter("img") if not i.get("src").startswith("data:")]
    assert len(pictures) == 2
    assert all((reports / address).is_file() for address in [*links, *pictures])
    assert all(image.get("alt") for image in body.iter("img"))
    assert body.find(".//div[@id='look-up']") is not None


def test_what_holds_with_new_jars_is_said_where_series_differ_in_theirs(two):
    pooled = analyse_together(two)
    known, of_new = (PairFindings(j.table).known for j in (pooled.judged, pooled.of_new_jars))
    assert 0 < len(of_new) < len(known)
    told = [block.text for block in pooled_chart(pooled).blocks if isinstance(block, Paragraph)]
    assert any(f"With new jars of the same names {len(of_new)} pair" in text for text in told)
    alone = pooled_chart(analyse_together(two[:1])).blocks
    assert not any("new jars" in getattr(block, "text", "") for block in alone)


def test_series_that_are_named_are_read_as_one_in_a_folder_of_their_own(studio, two, tmp_path):
    third = replace(two[0], name="apart")
    for series in (*two, third):
        series.write(tmp_path / "data" / series.name)
    chosen = ["series-0", "apart"]
    made = write_every_report(tmp_path / "data", tmp_path / "0+apart", jobs=1, only=chosen)
    index = made.read_text("utf-8")
    assert "<h1>Series-0 and apart together</h1>" in index and "series-1" not in index
    assert (made.parent / "apart" / "report.html").is_file()
    with pytest.raises(Misuse, match=r"no series summer in .* there is apart, series-0 and"):
        write_every_report(tmp_path / "data", tmp_path / "none", only=["summer"])
    assert not (tmp_path / "none").exists()


def test_every_colour_has_a_page_that_leads_back(studio, two):
    reports = studio[0] / "reports"
    for colour in two[0].colours.itertuples():
        address = colour_addresses([colour.colour])[colour.colour]
        html = (reports / address).read_text("utf-8")
        html5lib.HTMLParser(strict=True).parse(html)
        body = html5lib.parse(html, namespaceHTMLElements=False).find("body")
        assert "".join(body.find(".//h1").itertext()) == colour.colour
        for role in ("overlay", "base"):
            rows = body.findall(f".//section[@id='as-{role}']//tbody/tr")
            assert len(rows) == len(two[0].colours) - 1
        links = [a.get("href") for a in body.iter("a") if not a.get("href").startswith("#")]
        assert "../index.html" in links
        assert all((reports / "colours" / link).is_file() for link in links)


def test_gallery_holds_no_path_of_the_machine(studio):
    for path in (studio[0] / "reports").rglob("*.html"):
        assert str(studio[0]) not in path.read_text("utf-8")


def test_addresses_of_colours_stay_whatever_others_there_are():
    alone = colour_addresses(["Jam Violet"])
    assert alone == {"Jam Violet": "colours/jam-violet.html"}
    many = colour_addresses(["Jam Violet", "Jam-Violet", "深紅", "鮮紅", "jam  violet"])
    assert many["Jam Violet"] == alone["Jam Violet"]
    assert len(set(many.values())) == 5
    assert all(re.fullmatch(r"colours/[a-z0-9-]+\.html", address) for address in many.values())


def test_rounds_stand_together_and_in_order(two):
    def named(name, *follows):
        return replace(two[0], name=name, settings=replace(two[0].settings, follows=follows))

    several = [named("a"), named("b"), named("a2", "a"), named("b2", "b"), named("a3", "a2")]
    assert [s.name for s in in_rounds(several)] == ["a", "a2", "a3", "b", "b2"]
    circle = [named("x", "y"), named("y", "x"), named("z")]
    assert sorted(s.name for s in in_rounds(circle)) == ["x", "y", "z"]


def test_progress_counts(studio):
    assert studio[1][0] == "2 series, 2 with new data"
    assert {line.split(":")[0] for line in studio[1][1:3]} == {"1 of 2", "2 of 2"}


def test_does_nothing_when_nothing_has_changed(studio):
    reports = studio[0] / "reports"
    before = {p: p.stat().st_mtime_ns for p in reports.rglob("*")}
    told = []
    assert (
        write_every_report(studio[0] / "data", reports, progress=told.append, jobs=1)
        == reports / "index.html"
    )
    assert told == ["2 series, 0 with new data"]
    assert {p: p.stat().st_mtime_ns for p in reports.rglob("*")} == before


def test_goes_on_where_it_stopped_and_names_what_it_cannot_read(studio, tmp_path):
    shutil.copytree(studio[0], tmp_path / "studio")
    data, reports = tmp_path / "studio" / "data", tmp_path / "studio" / "reports"
    before = {p: p.stat().st_mtime_ns for p in reports.glob("series-0/*")}
    grades = data / "series-1" / "grades.csv"
    lines = grades.read_text("utf-8").splitlines(keepends=True)
    grades.write_text("".join(lines[:-1]), "utf-8")
    shutil.copytree(data / "series-0", data / "broken")
    (data / "broken" / "tiles.csv").unlink()
    told = []
    index = write_every_report(data, reports, progress=told.append, jobs=1).read_text("utf-8")
    assert told[0] == "3 series, 2 with new data"
    assert {p: p.stat().st_mtime_ns for p in reports.glob("series-0/*")} == before
    assert "Series that are left out" in index
    assert "tiles.csv: The file is missing." in index


def test_folder_without_series_is_a_sentence(tmp_path):
    with pytest.raises(Misuse, match="There is no series in"):
        write_every_report(tmp_path, tmp_path / "reports")


def test_what_each_added_adds_up(two):
    together = analyse_together(two)
    added = what_each_added(together)
    fired = {
        pair
        for series in two
        for pair in zip(
            series.patches["tile"].map(series.tiles.set_index("tile")["base"]),
            series.patches["overlay"],
            strict=True,
        )
        if pair[0] != pair[1]
    }
    assert added["pairs"].sum() == len(fired) == added["pairs_so_far"].iloc[-1]
    assert added["colours"].sum() == 6
    assert list(added["pairs"])[1:] == [0]


def test_more_series_make_the_pooled_pairs_surer(two):
    one = analyse_together(two[:1]).pairs
    both = analyse_together(two).pairs
    width = [(t["spread_high"] - t["spread_low"]).mean() for t in (one, both)]
    assert width[1] < width[0]


def test_colour_of_two_families_is_refused_by_name(two):
    other = two[1].colours.copy()
    other.loc[other["colour"] == "Ember", "family"] = "unleaded"
    with pytest.raises(Misuse, match="'Ember' is leaded in series-0 and unleaded in series-1"):
        analyse_together([two[0], replace(two[1], colours=other)])


def test_invented_series_is_left_out_unless_it_is_alone(two, tmp_path):
    two[0].write(tmp_path / "data" / "demo")
    alone, left_out = read_every_series(tmp_path / "data")
    assert [s.name for s in alone] == ["demo"]
    assert not left_out
    two[1].write(tmp_path / "data" / "own")
    several, left_out = read_every_series(tmp_path / "data")
    assert [s.name for s in several] == ["own"]
    assert list(left_out) == ["demo"]
    index = write_every_report(tmp_path / "data", tmp_path / "reports", jobs=1).read_text("utf-8")
    assert "kit report demo" in index
    assert 'id="series-demo"' not in index


def test_planned_tiles_that_nobody_graded_add_nothing(two):
    bare = replace(two[1], name="bare", grades=two[1].grades.iloc[:0])
    undated = replace(bare, settings=replace(bare.settings, started=None))
    together = analyse_together([undated, two[0]])
    added = what_each_added(together).set_index("series")
    assert list(added.index) == [two[0].name, "bare"]
    assert list(added.loc["bare", ["patches", "colours", "pairs", "settled"]]) == [0, 0, 0, 0]
    assert added["pairs_so_far"].iloc[-1] == len(PairFindings(together.pairs).fired)


def test_series_without_grades_are_not_said_to_be_read(two):
    bare = replace(two[0], name="bare", grades=two[0].grades.iloc[:0])
    assert how_many(two) == "2 series of test tiles, read as one"
    assert how_many([*two, bare]) == "3 series of test tiles; the 2 with grades are read as one"
    assert how_many([two[0], bare]).endswith("; the one with grades is read alone")


def test_series_that_pulls_every_pair_is_named_and_its_effect_counted(two):
    leaded = two[1].tiles["base"].isin(["Ember", "Rowan", "Dusk"])
    tiles = two[1].tiles[leaded]
    patches = two[1].patches[two[1].patches["tile"].isin(tiles["tile"])]
    grades = two[1].grades[two[1].grades["patch"].isin(patches["patch"])].assign(spread=0)
    firings = two[1].firings[two[1].firings["tile"].isin(tiles["tile"])]
    odd = replace(two[1], name="odd", tiles=tiles, patches=patches, firings=firings, grades=grades)
    together = analyse_together([two[0], odd])
    (name, why), *others = dangers(together)
    assert name == "odd"
    assert not others
    assert "bases only" in why
    assert "every spread grade in it is 0" in why
    first = next(c for c in changes(together) if c.series == two[0].name)
    alone, pooled = shown(analyse_together([two[0]])), shown(together)
    assert first.known == sum(verdict != NOT_KNOWN for verdict in alone.values())
    turned = [pair for pair in alone if alone[pair] not in (NOT_KNOWN, pooled[pair])]
    assert first.lost + first.turned == len(turned)
    gained = [p for p in alone if alone[p] == NOT_KNOWN and pooled[p] != NOT_KNOWN]
    assert first.gained == len(gained)


def shown(together):
    return {p.name: p.shown.verdict for p in PairFindings(together.pairs)}


def test_pages_of_pieces_are_listed_by_their_titles(two, tmp_path):
    reports = tmp_path / "reports"
    two[0].write(tmp_path / "data" / two[0].name)
    index = write_every_report(tmp_path / "data", reports, jobs=1).read_text("utf-8")
    assert "<h3>Pieces</h3>" not in index
    (reports / "pieces").mkdir()
    (reports / "pieces" / "panel.html").write_text("<title>Oak &amp; ash</title>", "utf-8")
    index = write_every_report(tmp_path / "data", reports, jobs=1).read_text("utf-8")
    assert "<h3>Pieces</h3>" in index
    assert '<a href="pieces/panel.html">Oak &amp; ash</a>' in index
