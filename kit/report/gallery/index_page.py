"""All series together: the list, the pooled pair chart, and what each series added."""

from collections.abc import Mapping, Sequence

import pandas as pd

from kit.drawing import pair_charts
from kit.report.findings.headline import which_pairs
from kit.report.findings.pair_findings import PairFindings
from kit.report.gallery.colour_page import colour_addresses
from kit.report.gallery.pooled import (
    USUAL,
    Pooled,
    changes,
    dangers,
    graded_patches,
    what_each_added,
)
from kit.report.page.document import (
    Answer,
    Beside,
    Block,
    Bullets,
    Card,
    Caution,
    Document,
    Gallery,
    LookUp,
    Paragraph,
    Point,
    Section,
    TableBlock,
    table_of,
)
from kit.report.sections.closing import made_by
from kit.report.sections.cover import cautions
from kit.report.sections.look_up_data import Expectations, look_up_of
from kit.report.written_files import Entry
from kit.series import Series
from kit.wording import counted, day, listed


def index_document(
    pooled: Pooled,
    entries: Mapping[str, Entry],
    unread: Mapping[str, str],
    pieces: Sequence[tuple[str, str]],
    title: str,
) -> Document:
    """Put the page over all series together.

    Parameters
    ----------
    pooled : Pooled
    entries : mapping of str to Entry
        By series.
    unread : mapping of str to str
        Series that are left out, and why.
    pieces : sequence of (str, str)
        Title and address of each page of a piece.
    title : str
    """
    sections = [
        _gallery(pooled, entries, pieces),
        pooled_chart(pooled),
        what_was_added(pooled),
        cautions(),
    ]
    if unread:
        points = tuple(Point(why, f"{name}:") for name, why in unread.items())
        told = Paragraph("Nothing of theirs is above.")
        sections.insert(2, Section("left-out", "Series that are left out", (told, Bullets(points))))
    dates = [s.settings.started for s in pooled.series if s.settings.started]
    return Document(
        title,
        how_many(pooled.series),
        tuple(sections),
        max(dates, default=None),
        made_by(),
    )


def how_many(several: Sequence[Series]) -> str:
    """'7 series of test tiles; the 3 with grades are read as one'."""
    every = f"{counted(len(several), 'series', 'series')} of test tiles"
    graded = sum(not graded_patches(series).empty for series in several)
    if graded == len(several):
        return f"{every}, read as one"
    if not graded:
        return f"{every}, none with grades yet"
    return (
        f"{every}; the {f'{graded} with grades are' if graded > 1 else 'one with grades is'} "
        + ("read as one" if graded > 1 else "read alone")
    )


def pooled_chart(pooled: Pooled) -> Section:
    """Judge every pair of every colour by all series at once."""
    if pooled.pairs.empty:
        blocks: tuple[Block, ...] = (Paragraph(f"There is no chart yet: {pooled.judged.missing}"),)
    else:
        pairs = pooled.pairs
        found = PairFindings(pairs)
        blocks = (
            Answer(
                f"{counted(len(pooled.colours), 'colour')} make {len(found)} ordered pairs. "
                f"{len(found.fired)} were fired and graded in some series; "
                f"{len(found) - len(found.unknown)} have a verdict at some firing count. "
                f"{which_pairs(found)}"
            ),
            *_of_new_jars(pooled),
            *_before_you_trust_it(pooled),
            Beside(pair_charts(pairs, pooled.colours), (_look_up(pooled),)),
        )
    return Section("pooled", "Every pair, by all series at once", blocks)


def _of_new_jars(pooled: Pooled) -> tuple[Block, ...]:
    """Say which jars the chart is for, and what holds with jars of which none was fired."""
    if len(pooled.series) == 1:
        return ()
    fired, new = PairFindings(pooled.pairs), PairFindings(pooled.of_new_jars.table)
    said = {pair.name: pair.headline for pair in new.known}
    same = sum(said.get(pair.name) == pair.headline for pair in fired.known)
    return (
        Paragraph(
            "The chart is for the jars that were fired last: a name may hold another jar's powder. "
            f"With new jars of the same names {counted(len(new.known), 'pair')} would have a "
            f"verdict; of those in the chart {same} would be the same."
        ),
    )


def _look_up(pooled: Pooled) -> LookUp:
    """The look-up over all series, by the usual rule and recipe."""
    fired: dict[tuple[str, str], list[str]] = {}
    for series in pooled.series:
        patches = graded_patches(series)
        for pair, rows in patches.groupby(["base", "overlay"], sort=False):
            said = f"{counted(len(rows), 'patch', 'patches')} in {series.settings.title}"
            fired.setdefault(pair, []).append(said)
    told = {pair: f"{listed(said)}." for pair, said in fired.items()}
    return look_up_of(Expectations((pooled.pairs,), {}), pooled.colours, USUAL, told)


def _before_you_trust_it(pooled: Pooled) -> tuple[Block, ...]:
    """Say what pooling did to each series' own verdicts, and which series make it unsafe."""
    blocks: list[Block] = []
    unsafe = dangers(pooled)
    if unsafe:
        points = tuple(Point(why, f"{name}:") for name, why in unsafe)
        blocks.append(Caution("Read this chart with care", points))
    changed = changes(pooled)
    if unsafe or any(change.much for change in changed):
        blocks.append(
            Paragraph(
                "A series as a whole may lie higher or lower than the others. The chart is for the "
                "average of them, so one odd series moves every pair, also pairs that it never "
                "fired. Where the chart and the report of one series differ, go by that report."
            )
        )
    if changed:
        blocks.append(Paragraph("What reading the series together does to the verdicts of each:"))
        blocks.append(Bullets(tuple(Point(c.sentence(), f"{c.series}:") for c in changed)))
    return tuple(blocks)


def what_was_added(pooled: Pooled) -> Section:
    """Say what each series brought that was not known before it."""
    return Section(
        "added",
        "What each series added",
        (
            Paragraph(
                "By date, undated ones last. Only graded patches count. A pair counts for the "
                "series that was first to fire it; it is settled when all series together give it "
                "a verdict."
            ),
            _added_table(what_each_added(pooled)),
        ),
    )


def _added_table(added: pd.DataFrame) -> TableBlock:
    frame = pd.DataFrame(
        {
            "Series": added["series"],
            "Date": [day(date) if date else "no date" for date in added["dated"]],
            "Patches": added["patches"],
            "New colours": added["colours"],
            "New pairs": added["pairs"],
            "Pairs so far": added["pairs_so_far"],
            "Of its new pairs, settled": added["settled"],
        }
    )
    return table_of("What each series added", frame)


def _gallery(
    pooled: Pooled, entries: Mapping[str, Entry], pieces: Sequence[tuple[str, str]]
) -> Section:
    """A card for each series, rounds of one together, and links to pieces and colours."""
    titles = {series.name: series.settings.title for series in pooled.series}
    cards = tuple(
        _card(series, entries[series.name], titles) for series in in_rounds(pooled.series)
    )
    addresses = colour_addresses(pooled.colours["colour"])
    families = {
        family: tuple((name, addresses[name]) for name in sorted(names))
        for family, names in pooled.colours.groupby("family")["colour"]
    }
    return Section("series", "The series", (Gallery(cards, families, tuple(pieces)),))


def in_rounds(several: Sequence[Series]) -> list[Series]:
    """Put each series right after the one that it goes on from; else keep the order."""
    names = {series.name for series in several}
    after: dict[str, list[Series]] = {name: [] for name in names}
    first: list[Series] = []
    for series in several:
        earlier = [name for name in series.settings.follows if name in names]
        (after[earlier[-1]] if earlier else first).append(series)
    ordered: list[Series] = []
    waiting = list(reversed(first))
    while waiting:
        ordered.append(waiting.pop())
        waiting += reversed(after[ordered[-1].name])
    return ordered + [series for series in several if series not in ordered]


def _card(series: Series, entry: Entry, titles: Mapping[str, str]) -> Card:
    follows = [titles.get(name, name) for name in series.settings.follows]
    onwards = (f"Goes on from: {listed(follows)}",) if follows else ()
    dated = day(entry.date) if entry.date else "No date"
    return Card(
        entry.title,
        f"{entry.name}/report.html",
        (dated, *onwards),
        entry.question,
        entry.answer,
        f"{entry.name}/pair-chart.svg" if entry.chart else "",
        entry.chart,
        " ".join(series.stock["colour"]),
    )
