"""Round by round: how many pairs had a verdict."""

import pandas as pd

from kit.model import BROKEN_THROUGH, FINE_EDGE, NOT_KNOWN, SOFT_EDGE
from kit.report.page.picture import Picture
from kit.report.page.style import QUIET, drawn_with, ink_on, new_figure
from kit.report.page.verdict_looks import LOOKS
from kit.wording import counted, listed


@drawn_with()
def rounds_picture(rounds: pd.DataFrame) -> Picture:
    """Draw the verdicts that stood after each round.

    Parameters
    ----------
    rounds : DataFrame
        As `kit.report.rounds.verdicts_by_round` gives it.
    """
    figure = new_figure(height_in=3.4)
    axes = figure.subplots()
    foot = pd.Series(0.0, index=rounds.index)
    for verdict in (FINE_EDGE, BROKEN_THROUGH, SOFT_EDGE, NOT_KNOWN):
        colour = LOOKS[verdict].colour
        axes.bar(
            rounds.index, rounds[verdict], 0.8, bottom=foot, color=colour, label=verdict,
            edgecolor=QUIET, linewidth=0.5,
        )  # fmt: skip
        for x, y, count in zip(rounds.index, foot, rounds[verdict], strict=True):
            if count > 0.05 * rounds[list(LOOKS)].sum(axis=1).max():
                middle = y + count / 2
                axes.text(x, middle, str(count), ha="center", va="center", color=ink_on(colour))
        foot = foot + rounds[verdict]
    words = [f"{patches}" for patches in rounds["patches"]]
    axes.set_xticks(list(rounds.index), words)
    axes.set_xlabel("patches fired by then")
    axes.set_ylabel("pairs")
    axes.tick_params(axis="x", length=0)
    figure.legend(loc="outside upper left", ncols=2)
    return Picture(
        "rounds",
        _finding(rounds),
        _told(rounds),
        figure,
        note="Each column is all pairs, by the verdict that they would have had if the work had "
        "stopped after that session.",
    )


def _finding(rounds: pd.DataFrame) -> str:
    first, last = rounds.iloc[0], rounds.iloc[-1]
    known = [int(row[list(LOOKS)].sum() - row[NOT_KNOWN]) for row in (first, last)]
    return (
        f"After {counted(int(first['patches']), 'patch', 'patches')} {known[0]} pairs had a "
        f"verdict, after {int(last['patches'])} there are {known[1]}"
    )


def _told(rounds: pd.DataFrame) -> str:
    lines = []
    for row in rounds.to_dict("records"):
        counts = [f"{row[verdict]} {verdict}" for verdict in LOOKS]
        lines.append(f"{counted(row['patches'], 'patch', 'patches')}: {listed(counts)}")
    return f"Verdicts by patches fired. {'; '.join(lines)}."
