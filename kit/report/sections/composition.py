"""The whole report in the order in which it is used, and the sheet for the wall."""

from kit.drawing import Drawing, pair_charts
from kit.model import LOOKS, NOT_KNOWN, VERDICTS
from kit.report.analysis import Analysis
from kit.report.findings.headline import answer
from kit.report.findings.pair_findings import Pair
from kit.report.page.document import (
    Answer,
    Block,
    Bullets,
    Document,
    Fold,
    Paragraph,
    Point,
    Section,
)
from kit.report.page.picture import Picture
from kit.report.sections.closing import colophon, data, foot
from kit.report.sections.cover import cautions, pairs_by_verdict, question
from kit.report.sections.method_in_full import method
from kit.report.sections.photographs import measured
from kit.report.sections.score_pictures import findings_by_score
from kit.report.sections.suggested_patches import command, next_round
from kit.report.sections.tile_by_tile import samples
from kit.report.sections.tiles_fired import fired, planned_tiles, timeline
from kit.report.sections.unexpected_results import surprises
from kit.report.sections.what_is_uncertain import doubts, graders
from kit.wording import counted, percent

_ON_SCREEN_ALONE = ("method", "measured")
"""Parts that paper leaves out: estimates, formulae and millimetres, which the page carries."""
_NAMED = 6
_DRAWN = 24
"""A plan of more tiles than these is folded."""


def whole_report(analysis: Analysis) -> Document:
    """Put the report together, in the shape that its kind of question asks for."""
    settings = analysis.series.settings
    sections = (
        question(analysis),
        *_of_the_question(analysis),
        _tiles(analysis),
        next_round(analysis),
        _behind_it(analysis),
        _for_the_teacher(analysis),
    )
    return Document(settings.title, settings.question, sections, settings.started, foot(analysis))


def wall_summary(analysis: Analysis) -> Document:
    """Put the one-page summary for the class wall together."""
    settings = analysis.series.settings
    lead = "Lead-bearing colours never on anything for food, drink or children."
    return Document(
        settings.title,
        settings.question,
        summary(analysis),
        settings.started,
        f"{lead} {foot(analysis)}",
    )


def _of_the_question(analysis: Analysis) -> tuple[Section, ...]:
    """What follows the answer: nothing of other pairs where a few were asked about."""
    if analysis.series.settings.ask == "is this pair safe" or analysis.observations.empty:
        return ()
    return (pairs_by_verdict(analysis), surprises(analysis))


def _tiles(analysis: Analysis) -> Section:
    """The tiles in a picture; the reasons, and each tile with its recipes, are folded."""
    shown, each = fired(analysis), samples(analysis)
    series = analysis.series
    opening, *rest = shown.blocks
    pictures = tuple(block for block in rest if isinstance(block, Picture | Drawing))
    reasons = tuple(block for block in rest if block not in pictures)
    plan: tuple[Block, ...] = ()
    if not pictures and len(series.patches):
        plan = (planned_tiles(series.settings, series.tiles, series.patches),)
        if len(series.tiles) > _DRAWN:
            plan = (Fold("The plan, tile by tile", plan, on_paper=False),)
    when = timeline(series)
    return Section(
        shown.name,
        shown.title,
        (
            opening,
            Fold("Why so few, and what was varied", reasons),
            *pictures,
            *plan,
            *((Fold("When each tile was fired", (when,), on_paper=False),) if when else ()),
            Fold(each.title, each.blocks, on_paper=False),
        ),
    )


def _behind_it(analysis: Analysis) -> Section:
    """How sure, how done, who graded, the cautions in full and the data, each folded."""
    photographs = measured(analysis)
    parts = [
        findings_by_score(analysis),
        doubts(analysis),
        graders(analysis),
        *((photographs,) if photographs else ()),
        method(analysis),
        cautions(),
    ]
    folds = [Fold(part.title, part.blocks, part.name not in _ON_SCREEN_ALONE) for part in parts]
    carried = data(analysis)
    return Section(
        "behind",
        "How sure, how done, and the data",
        (*folds, Fold(carried.title, carried.blocks, on_paper=False)),
    )


def _for_the_teacher(analysis: Analysis) -> Section:
    made = colophon(analysis)
    onwards = Point(command(analysis), "To plan what to fire next:")
    sheets = Point(f"kit sheets {analysis.series.name}", "To print the bench paper:")
    return Section(
        "teacher",
        "For the teacher",
        (
            Paragraph("What to type, in a terminal opened in the folder of the kit."),
            Bullets((onwards, sheets)),
            *made.blocks,
        ),
    )


def summary(analysis: Analysis) -> tuple[Section, ...]:
    """Say the most useful things in as few words as a wall allows."""
    told = Answer(answer(analysis))
    found = analysis.pairs_found
    if not len(found):
        return (Section("answer", "The answer", (told,)),)
    charts = pair_charts(analysis.pairs, analysis.series.colours)
    lists = tuple(
        _list(place, verdict, found.by_verdict[verdict]) for place, verdict in enumerate(VERDICTS)
    )
    return (Section("answer", "The answer", (told, *charts)), *lists)


def _list(place: int, verdict: str, pairs: list[Pair]) -> Section:
    heading = LOOKS[verdict].heading
    if not pairs:
        none = "None: every pair has a verdict." if verdict == NOT_KNOWN else "None is sure yet."
        return Section(f"wall-{place}", heading, (Paragraph(none),))
    points = Bullets(tuple(Point(_said(pair)) for pair in pairs[:_NAMED]))
    more = len(pairs) - _NAMED
    rest = (Paragraph(f"and {more} more."),) if more > 0 else ()
    return Section(f"wall-{place}", heading, (points, *rest))


def _said(pair: Pair) -> str:
    through = f", through {counted(pair.through, 'firing')}" if pair.through else ""
    return f"{pair.name}{through} ({percent(pair.shown.chance)})"
