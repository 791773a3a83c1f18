"""What each factor does, in steps of the scale, with intervals."""

from kit.report.figures.interval_lines import Line, draw_lines, height_for
from kit.report.findings.score_findings import Effect, surest_effect
from kit.report.page.picture import Picture
from kit.report.page.style import drawn_with, new_figure
from kit.series import Scale


@drawn_with()
def effects_in_steps(effects: tuple[Effect, ...], scale: Scale) -> Picture | None:
    """Draw how far each factor moves the average grade.

    A factor that raises it in one case and lowers it in another has a line for each case.

    Parameters
    ----------
    effects : tuple of Effect
    scale : Scale

    Returns
    -------
    Picture or None
        None when no factor was varied.
    """
    if not effects:
        return None
    lines = [line for effect in effects for line in _lines(effect)]
    figure = new_figure(height_in=height_for(lines))
    name = scale.title.lower()
    draw_lines(figure.subplots(), lines, f"steps of {name}, down or up")
    none = f"Nothing that was varied clearly moves {name}"
    top = surest_effect(effects)
    return Picture(
        f"effects-{scale.name.replace('_', '-')}",
        top.finding.title(none) if top else none,
        " ".join(effect.sentence for effect in effects),
        figure,
        note="A dot is the best guess, its line holds the truth 9 times in 10. A hollow dot may be "
        "no effect at all: these samples do not make its direction 9 times in 10 sure.",
    )


def _lines(effect: Effect) -> list[Line]:
    cases = effect.by_context or (("", effect.finding),)
    return [
        Line(
            f"{effect.change}{f', {where}' if where else ''}",
            one.value, one.low, one.high, found=one.directed,
        )
        for where, one in cases
    ]  # fmt: skip
