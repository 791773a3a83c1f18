"""What more tiles bring: how sure the answers get, and the verdicts round by round."""

import pandas as pd

from kit.design import budget_curve
from kit.drawing import COPPER, INK, QUIET, ink_on
from kit.model import LOOKS, NOT_KNOWN, VERDICTS
from kit.report.page.picture import Picture, drawn_with, new_figure
from kit.series import Series
from kit.wording import counted, listed

_LINES = (
    (INK, "-", "o"),
    (COPPER, "-", "s"),
    (QUIET, "--", "D"),
    (INK, ":", "^"),
    (COPPER, "--", "v"),
)
_LITTLE = 0.03
_SIXTHS = (2, 4, 6, 9)


def how_many_tiles(series: Series) -> Picture:
    """Draw what fewer or more tiles would tell than a series plans; for pair surveys."""
    settings = series.settings
    curve = budget_curve(
        series.stock,
        sorted({max(2, settings.tiles * share // 6) for share in _SIXTHS}),
        settings.patches_per_tile,
        firings=settings.last_firing,
        graders=max(1, len(settings.graders)),
        seed=settings.seed,
    )
    return budget_picture(curve, settings.tiles)


@drawn_with()
def budget_picture(curve: pd.DataFrame, tiles: int) -> Picture:
    """Draw how closely each question would be answered, against the number of tiles.

    Parameters
    ----------
    curve : DataFrame
        As `kit.design.budget_curve` gives it.
    tiles : int
        The number now planned; marked.
    """
    figure = new_figure(height_in=4.2)
    axes = figure.subplots()
    questions = list(dict.fromkeys(curve["question"]))
    for n, question in enumerate(questions):
        line = curve[curve["question"] == question]
        colour, style, mark = _LINES[n % len(_LINES)]
        axes.plot(
            line["tiles"], line["within"], style, marker=mark, color=colour, markersize=5,
            label=question,
        )  # fmt: skip
    axes.axvline(tiles, color=QUIET, linewidth=0.8, linestyle=(0, (4, 3)))
    axes.annotate(
        f"{tiles} tiles", (tiles, 1), xycoords=("data", "axes fraction"), xytext=(4, -2),
        textcoords="offset points", va="top", fontsize=8.5, color=QUIET,
    )  # fmt: skip
    axes.set_ylim(bottom=0)
    axes.set_xlabel("tiles")
    axes.set_ylabel("known within ± this many grades")
    axes.grid(axis="y")
    figure.legend(loc="outside lower left", fontsize=8.5)
    return Picture(
        "budget",
        _finding(curve, tiles),
        _told(curve, questions),
        figure,
        note="Each line falls as tiles are added; where it runs flat, more tiles buy little. What "
        "is expected lies within the stated grades 9 times in 10.",
    )


def _finding(curve: pd.DataFrame, tiles: int) -> str:
    line = _longest_pair_line(curve).sort_values("tiles")
    near = line.loc[(line["tiles"] - tiles).abs().idxmin()]
    most = line.iloc[-1]
    about = (
        f"With {counted(int(near['tiles']), 'tile')}, {near['question']} would be expected right "
        f"within ±{near['within']:.1f} grades"
    )
    if most["tiles"] == near["tiles"] or near["within"] - most["within"] < _LITTLE:
        return f"{about}; more tiles would hardly help"
    return f"{about}; {counted(int(most['tiles']), 'tile')} would make that ±{most['within']:.1f}"


def _longest_pair_line(curve: pd.DataFrame) -> pd.DataFrame:
    """The pairs not on the plan, or those on it when larger plans leave none out."""
    pairs = curve[curve["about"] == "pair"]
    reach = pairs.groupby("question")["tiles"].max().sort_index(ascending=False)
    return pairs[pairs["question"] == reach.idxmax()]


def _told(curve: pd.DataFrame, questions: list[str]) -> str:
    first, last = curve["tiles"].min(), curve["tiles"].max()
    parts = []
    for question in questions:
        line = curve[curve["question"] == question].sort_values("tiles")
        parts.append(f"{question} ±{line['within'].iloc[0]:.2f} to ±{line['within'].iloc[-1]:.2f}")
    return f"From {first} to {last} tiles the answers narrow: {listed(parts)} grades."


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
        _rounds_finding(rounds),
        _rounds_told(rounds),
        figure,
        note="Each column is all pairs, by the verdict that would have stood for each if the work "
        "had stopped after that session.",
    )


def _rounds_finding(rounds: pd.DataFrame) -> str:
    first, last = rounds.iloc[0], rounds.iloc[-1]
    before, now = (int(row[list(VERDICTS)].sum() - row[NOT_KNOWN]) for row in (first, last))
    return (
        f"After {counted(int(first['patches']), 'patch', 'patches')} "
        f"{counted(before, 'pair')} had a verdict, after {int(last['patches'])} {now} have one"
    )


def _rounds_told(rounds: pd.DataFrame) -> str:
    lines = []
    for row in rounds.to_dict("records"):
        counts = [f"{row[verdict]} {verdict}" for verdict in VERDICTS]
        lines.append(f"{counted(row['patches'], 'patch', 'patches')}: {listed(counts)}")
    return f"Verdicts by patches fired. {'; '.join(lines)}."
