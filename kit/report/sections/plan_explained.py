"""What a plan says before anything is fired."""

import pandas as pd

from kit.design import Plan, budget_curve, precision, saving
from kit.report.figures.tile_budget import budget_picture
from kit.report.page.document import Bullets, Document, Paragraph, Point, Section, table_of
from kit.series import Series
from kit.wording import counted

_STEPS_SHOWN = 30
_SIXTHS = (2, 4, 6, 9)


def plan_lesson(plan: Plan) -> Document:
    """Explain a plan: what it is, what it will tell, what it saves and how it is worked.

    Parameters
    ----------
    plan : Plan
    series : Series
        That it was made for.

    Returns
    -------
    Document
        With sections plan, tiles, precision, saving and order.
    """
    sections = (
        _plan(plan),
        _tiles(plan),
        _precision(plan),
        _saving(plan),
        _order(plan),
    )
    return Document("The plan", plan.series.settings.title, sections)


def budget_lesson(series: Series) -> Section:
    """Show what fewer or more tiles would tell; for pair surveys."""
    settings = series.settings
    planned = settings.tiles
    counts = sorted({max(2, planned * share // 6) for share in _SIXTHS})
    curve = budget_curve(
        series.stock,
        counts,
        settings.patches_per_tile,
        firings=max(settings.factors["firings"]),
        graders=max(1, len(settings.graders)),
        seed=settings.seed,
    )
    return Section("budget", "How many tiles?", (budget_picture(curve, planned),))


def _plan(plan: Plan) -> Section:
    points = tuple(map(Point, plan.limits))
    limits = (Paragraph("What this plan cannot tell:"), Bullets(points)) if points else ()
    return Section("plan", "What was picked, and why", (Paragraph(plan.why), *limits))


def _tiles(plan: Plan) -> Section:
    laid = plan.patches["position"].astype(str) + " " + plan.patches["overlay"]
    overlays = laid.groupby(plan.patches["tile"]).agg("; ".join)
    frame = pd.DataFrame(
        {
            "Tile": plan.tiles["tile"].astype(str),
            "Base": plan.tiles["base"],
            "Coats": plan.tiles["coats"],
            "Session": plan.tiles["session"],
            "Overlays by position": plan.tiles["tile"].map(overlays),
        }
    )
    size = (
        f"{counted(len(plan.tiles), 'tile')} with "
        f"{counted(len(plan.patches), 'patch', 'patches')}, made in "
        f"{counted(plan.tiles['session'].nunique(), 'session')}."
    )
    return Section("tiles", "Tiles and patches", (Paragraph(size), table_of("The plan", frame)))


def _precision(plan: Plan) -> Section:
    told = precision(plan.series)
    points = tuple(Point(sentence) for sentence in told.sentences())
    return Section("precision", "What will it tell?", (Bullets(points),))


def _saving(plan: Plan) -> Section:
    told = saving(plan.series).sentences()
    return Section("saving", "What does it save?", (Bullets(tuple(map(Point, told))),))


def _order(plan: Plan) -> Section:
    steps = plan.order.head(_STEPS_SHOWN)
    frame = pd.DataFrame(
        {
            "Step": steps["session"].astype(str) + "." + steps["step"].astype(str),
            "Do": steps["action"],
            "Tile": steps["tile"],
            "Position": steps["position"],
            "Colour": steps["colour"].fillna(""),
            "Mesh": steps["mesh"],
        }
    )
    told = (
        f"{plan.order_rule} These are the first {len(steps)} of {len(plan.order)} steps; the bench "
        "sheets have them all, with boxes to tick."
    )
    return Section("order", "The order of work", (Paragraph(told), table_of("First steps", frame)))
