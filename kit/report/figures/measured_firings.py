"""What photographs measured from firing to firing, by family on family."""

import numpy as np
import pandas as pd

from kit.drawing import HAIR, PAPER
from kit.report.figures.grades_measured import name_axis
from kit.report.page.picture import Picture
from kit.report.page.style import FAMILY_COLOURS, drawn_with, new_figure
from kit.series import FAMILY_PAIRS, Scale, family_pair
from kit.wording import amount, counted, listed, upper_first

_SIDE = 0.12


@drawn_with()
def measurements_by_firing(measurements: pd.DataFrame, measure: str, scale: Scale) -> Picture:
    """Draw the average measurement of each family pair after each firing.

    Parameters
    ----------
    measurements : DataFrame
        As `kit.series.join_measurements` gives it.
    measure : str
    scale : Scale
        That the measure stands for.
    """
    families = [
        family_pair(base, overlay)
        for base, overlay in zip(
            measurements["base_family"], measurements["overlay_family"], strict=True
        )
    ]
    seen = measurements.assign(families=families).dropna(subset=[measure])
    table = seen.groupby(["families", "firings"])[measure].agg(
        average="mean", low=lambda own: own.quantile(0.25), high=lambda own: own.quantile(0.75)
    )
    present = [pair for pair in FAMILY_PAIRS if pair in set(seen["families"])]
    figure = new_figure(height_in=3.6)
    axes = figure.subplots()
    for pair, side in zip(present, np.linspace(-_SIDE, _SIDE, len(present)), strict=True):
        overlay, base = pair.split(" over ")
        own, ink = table.loc[pair], FAMILY_COLOURS[overlay]
        at = own.index.to_numpy() + side
        axes.vlines(at, own["low"], own["high"], color=ink, linewidth=1.2)
        axes.plot(
            at, own["average"], "o-" if base == "leaded" else "s--", color=ink, markersize=6,
            markerfacecolor=ink if overlay == base else PAPER, label=pair,
        )  # fmt: skip
    axes.axhline(0, color=HAIR, linewidth=0.8, zorder=0)
    axes.set_xticks(sorted(seen["firings"].unique()))
    axes.set_xlabel("firings of the patch")
    name_axis(axes, measure)
    figure.legend(loc="outside upper left", ncols=2)
    means = table.pivot_table("average", "families", "firings")
    return Picture(
        f"measured-firings-{scale.name.replace('_', '-')}",
        _finding(means, measure, scale),
        _told(means, measure, scale),
        figure,
        note="Marks are averages over the patches photographed; the upright lines hold the middle "
        "half of them. Round marks are on a leaded base, square ones on an unleaded base; hollow "
        "marks are one family on the other.",
    )


def _finding(means: pd.DataFrame, measure: str, scale: Scale) -> str:
    last = means.columns.max()
    at_last = means[last].dropna()
    top = at_last.idxmax()
    after = f"{at_last[top]:.2f} mm ({at_last[top] / 25.4:.3f} in)"
    if not measure.endswith("_mm"):
        after = amount(at_last[top], measure)
    name = scale.title.lower()
    if len(at_last) == 1:
        return f"{upper_first(top)} measured {after} for {name} after {_firings(last)}"
    return f"{upper_first(top)} measured most for {name}: {after} after {_firings(last)}"


def _firings(count: float) -> str:
    return counted(int(count), "firing")


def _told(means: pd.DataFrame, measure: str, scale: Scale) -> str:
    lines = [
        f"{families}: {listed([amount(v, measure) for v in row.dropna()], last='then')}"
        for families, row in means.iterrows()
    ]
    return f"Average measured {scale.title.lower()} after each firing. {'; '.join(lines)}."
