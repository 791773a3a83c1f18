"""What a mixed ordinal model does with the tiles of a series, one step at a time."""

import pandas as pd

from kit.errors import Misuse
from kit.model import (
    ScaleFit,
    observed_against_foretold,
    proportional_odds_check,
    tile_influence,
    variation_table,
)
from kit.report.analysis import Analysis
from kit.report.figures.colour_effects import own_ways
from kit.report.figures.effect_lines import effects_in_steps
from kit.report.figures.firing_trend import firing_trend
from kit.report.figures.latent_scale import hidden_ruler
from kit.report.figures.one_tile import one_tile
from kit.report.figures.reliability import observed_and_foretold
from kit.report.figures.variation_lines import sources_of_variation
from kit.report.page.document import Block, Bullets, Document, Fold, Paragraph, Point, Section
from kit.report.sections.method import SOURCES, formula_of
from kit.report.sections.score_pictures import family_picture
from kit.series import Scale
from kit.wording import counted, lower_first

_TILES_NAMED = 3


def scale_lesson(analysis: Analysis, name: str) -> Document:
    """Explain the model of one scale from the tiles of the series.

    Parameters
    ----------
    analysis : Analysis
    name : str
        Of the scale.

    Returns
    -------
    Document
        With sections seen, luck, ruler, families, factors, colours, variation, foretold, tiles and
        formula; only seen and luck when the scale has no fit.

    Raises
    ------
    Misuse
        When the series has no such scale, or nothing was graded on it.
    """
    scale = next((s for s in analysis.series.settings.scales if s.name == name), None)
    if scale is None:
        known = ", ".join(s.name for s in analysis.series.settings.scales)
        raise Misuse(f"The series has no scale '{name}'. Choose one of: {known}.")
    if scale not in analysis.scales:
        raise Misuse(
            f"Nothing has been graded for {scale.name} yet: fire and grade some tiles first."
        )
    fit = analysis.fits.by_scale.get(name)
    sections = [_seen(analysis, scale), _luck(analysis, scale)]
    if fit:
        sections += [
            _ruler(analysis, scale, fit),
            _families(scale, fit),
            _factors(analysis, scale),
            _colours(analysis, scale, fit),
            _variation(scale, fit),
            _foretold(scale, fit),
            _tiles(fit),
            _formula(scale, fit),
        ]
    title = f"The model of {lower_first(scale.title)}"
    return Document(title, analysis.series.settings.title, tuple(sections))


def _seen(analysis: Analysis, scale: Scale) -> Section:
    grades = analysis.observations[scale.name].notna().sum()
    patches = analysis.graded(scale.name)["patch"].nunique()
    text = (
        f"{counted(int(grades), 'grade')} on {counted(patches, 'patch', 'patches')}, just as they "
        "were given. Nothing is modelled here."
    )
    picture = firing_trend(scale, analysis.graded(scale.name))
    return Section("seen", "What was seen", (Paragraph(text), picture))


def _luck(analysis: Analysis, scale: Scale) -> Section:
    grades = analysis.observations[analysis.observations[scale.name].notna()]
    tile = int(grades["tile"].value_counts().sort_index().idxmax())
    own = grades[grades["tile"] == tile]
    patches, graders = own["patch"].nunique(), own["grader"].nunique()
    here = analysis.grades[
        (analysis.grades["tile"] == tile) & (analysis.grades["scale"] == scale.name)
    ]
    return Section(
        "luck",
        "Why not simply average?",
        (
            Paragraph(
                f"Take tile {tile}. It carries {counted(patches, 'patch', 'patches')}, graded by "
                f"{counted(graders, 'person', 'people')} after "
                f"{counted(own['firing'].nunique(), 'firing')}: {counted(len(own), 'grade')}. They "
                f"are not {len(own)} separate trials. All share one base coat and one place in the "
                "heat; the grades of a patch share that patch; and each grader has an own eye."
            ),
            one_tile(analysis.series.settings, tile, here),
            Paragraph(
                "An average counts every grade as if it stood alone, and so makes us surer than we "
                "may be. A mixed model gives every tile, patch, grader and colour a small shift of "
                "its own, learns from all tiles how large such shifts are, and only then asks what "
                "families, firings, sifters and coats do."
            ),
        ),
    )


def _ruler(analysis: Analysis, scale: Scale, fit: ScaleFit) -> Section:
    return Section(
        "ruler",
        "Grades are cuts on a hidden ruler",
        (
            Paragraph(
                "Going from grade 0 to 1 need not be as far as from 2 to 3. So the model does not "
                "count in grades. It puts every patch on a hidden ruler and finds where graders "
                "cut it: that is the ordinal part. The bands below are these cuts, found from the "
                "grades."
            ),
            hidden_ruler(fit, scale, analysis.series.settings),
        ),
    )


def _families(scale: Scale, fit: ScaleFit) -> Section:
    picture = family_picture(fit, scale)
    blocks: tuple[Block, ...] = (
        (picture,)
        if picture
        else (Paragraph("One family on one family was fired, so there is nothing to compare."),)
    )
    return Section("families", "Family on family", blocks)


def _factors(analysis: Analysis, scale: Scale) -> Section:
    effects = analysis.effects[scale.name]
    picture = effects_in_steps(effects, scale)
    if picture is None:
        told = Paragraph("Nothing but the colours was varied.")
        return Section("factors", "What each thing does", (told,))
    sentences = Bullets(tuple(Point(sentence) for sentence in effects["sentence"]))
    return Section("factors", "What each thing does", (picture, sentences))


def _colours(analysis: Analysis, scale: Scale, fit: ScaleFit) -> Section:
    picture = own_ways(fit, scale, analysis.series.colours)
    title = "Each colour's own way"
    if picture is None:
        none = Paragraph("Too few colours were fired to see how they differ.")
        return Section("colours", title, (none,))
    patches = analysis.graded(scale.name).drop_duplicates("patch")
    seen = patches["overlay"].value_counts()
    few, many = str(seen.idxmin()), str(seen.idxmax())
    told = (
        f"{few} was seen as overlay on {counted(int(seen.min()), 'patch', 'patches')}, {many} on "
        f"{counted(int(seen.max()), 'patch', 'patches')}. The fewer the patches, the more a colour "
        "is drawn towards the average of its family, and the longer its line. That is not "
        "timidity: over many colours it makes fewer errors than believing each by itself."
    )
    return Section("colours", title, (picture, Paragraph(told)))


def _variation(scale: Scale, fit: ScaleFit) -> Section:
    table = variation_table(fit)
    sentences = Bullets(tuple(Point(sentence) for sentence in table["sentence"]))
    picture = sources_of_variation(table, scale)
    return Section("variation", "What else varies", (picture, sentences))


def _foretold(scale: Scale, fit: ScaleFit) -> Section:
    picture = observed_and_foretold(observed_against_foretold(fit), scale)
    told = (
        "A model may be believed when its chances come true: of all the grades it gave 3 chances "
        "in 4 to stay low, about 3 in 4 should have stayed low."
    )
    return Section("foretold", "Do its chances come true?", (Paragraph(told), picture))


def _tiles(fit: ScaleFit) -> Section:
    return Section(
        "tiles",
        "Does it hang on one tile, or on one step?",
        (
            Paragraph("Each tile was left out in turn, and the model fitted again without it."),
            Bullets(tuple(Point(sentence) for sentence in _influence(fit))),
            Paragraph(
                "The model takes an effect to be alike at every cut of the ruler. Each cut was "
                "also fitted by itself."
            ),
            Bullets(tuple(Point(sentence) for sentence in _steps(fit))),
        ),
    )


def _influence(fit: ScaleFit) -> list[str]:
    try:
        table = tile_influence(fit)
    except Misuse as reason:
        return [str(reason)]
    moving = table[table["moved"].abs() >= 1]
    if moving.empty:
        return ["No single tile moves anything by as much as its own uncertainty."]
    return list(moving["sentence"].head(_TILES_NAMED))


def _steps(fit: ScaleFit) -> list[str]:
    table: pd.DataFrame = proportional_odds_check(fit)
    if table.empty:
        return ["There are too few grades at either end to look at each cut by itself."]
    odd = list(table.loc[table["stands_out"], "sentence"])
    return odd or ["No effect differs from cut to cut by more than chance explains."]


def _formula(scale: Scale, fit: ScaleFit) -> Section:
    prior = fit.results.prior
    blocks: list[Block] = [formula_of(fit)]
    if prior:
        blocks.append(Paragraph(prior.describe()))
    blocks.append(Bullets(SOURCES))
    fold = Fold("The formula, and where it is published", tuple(blocks))
    return Section("formula", "For the reader who wants the formula", (fold,))
