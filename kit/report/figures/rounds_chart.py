"""Round by round: how many pairs had a verdict."""

import pandas as pd

from kit.drawing import QUIET, ink_on
from kit.model import LOOKS, NOT_KNOWN, VERDICTS
from kit.report.page.picture import Picture
from kit.report.page.style import drawn_with, new_figure
from kit.wording import counted, listed


@drawn_with()
def rounds_picture(rounds: pd.DataFrame) -> Picture:
    """Draw the verdicts that stood after each round.

    Parameters
    ----------
    rounds : DataFrame
        As `kit.report.findings.verdict_history.verdicts_by_round` gives it.
    """
    figure = new_figure(height_in=3.4)
    axes = figure.subplots()
    foot = pd.Series(0.0, index=rounds.index)
    for verdict in VERDICTS:
        colour = LOOKS[verdict].colour
        axes.bar(
            rounds.index, rounds[verdict], 0.8, bottom=foot, color=colour, label=verdict,
            edgecolor=QUIET, linewidth=0.5,
        )  # fmt: skip
        for x, y, count in zip(rounds.index, foot, rounds[verdict], strict=True):
            if count > 0.05 * rounds[list(VERDICTS)].sum(axis=1).max():
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
        note="Each column is all pairs, by the verdict that would have stood for each if the work "
        "had stopped after that session.",
    )


def _finding(rounds: pd.DataFrame) -> str:
    first, last = rounds.iloc[0], rounds.iloc[-1]
    before, now = (int(row[list(VERDICTS)].sum() - row[NOT_KNOWN]) for row in (first, last))
    return (
        f"After {counted(int(first['patches']), 'patch', 'patches')} "
        f"{counted(before, 'pair')} had a verdict after "
        f"{counted(int(last['firings']), 'firing')}; after {int(last['patches'])} patches it is "
        f"{counted(now, 'pair')}"
    )


def _told(rounds: pd.DataFrame) -> str:
    lines = []
    for row in rounds.to_dict("records"):
        counts = [f"{row[verdict]} {verdict}" for verdict in VERDICTS]
        lines.append(f"{counted(row['patches'], 'patch', 'patches')}: {listed(counts)}")
    return f"Verdicts by patches fired. {'; '.join(lines)}."
