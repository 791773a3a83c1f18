"""What more tiles bring: right verdicts to expect of a plan, and verdicts session by session."""

from dataclasses import replace

import pandas as pd

from kit.design import curve_in_words, fewer_would_do, verdict_curve
from kit.drawing import COPPER, INK, QUIET, ink_on
from kit.model import LOOKS, NOT_KNOWN, VERDICTS
from kit.report.page.picture import Picture, drawn_with, new_figure
from kit.series import Series
from kit.wording import counted, listed, percent

_LITTLE = 0.02


def how_many_tiles(series: Series) -> Picture:
    """Draw what fewer or more tiles would settle than a series plans; for pair surveys.

    The curve is the one that `kit plan` says in words. Where tiles carry stripes, tiles of one base
    are drawn beside them.
    """
    curve = verdict_curve(series)
    settings = series.settings
    if settings.stripes == 1:
        return budget_picture(curve, settings.tiles)
    single = verdict_curve(replace(series, settings=replace(settings, stripes=1)))
    return budget_picture(curve, settings.tiles, single)


@drawn_with()
def budget_picture(curve: pd.DataFrame, tiles: int, single: pd.DataFrame | None = None) -> Picture:
    """Draw the share of pairs that get the right verdict against trips through the heat.

    Parameters
    ----------
    curve : DataFrame
        As `kit.design.verdict_curve` gives it.
    tiles : int
        The number now planned; marked.
    single : DataFrame, optional
        The same of tiles with a single base, where those of `curve` carry stripes.
    """
    figure = new_figure(height_in=3.4)
    axes = figure.subplots()
    lines = [(curve, INK, "-", "tiles with stripes" if single is not None else "")]
    if single is not None:
        lines.append((single, COPPER, "--", "tiles of one base"))
    for line, colour, style, name in lines:
        axes.plot(line["trips"], 100 * line["right"], style, marker="o", color=colour, markersize=5)
        end = line.iloc[-1]
        axes.annotate(
            name, (end["trips"], 100 * end["right"]), xytext=(-4, -10),
            textcoords="offset points", ha="right", va="top", fontsize=8.5, color=colour,
        )  # fmt: skip
    here = _nearest(curve, tiles)
    axes.axvline(here["trips"], color=QUIET, linewidth=0.8, linestyle=(0, (4, 3)))
    axes.annotate(
        counted(tiles, "tile"), (here["trips"], 1), xycoords=("data", "axes fraction"),
        xytext=(4, -2), textcoords="offset points", va="top", fontsize=8.5, color=QUIET,
    )  # fmt: skip
    axes.set_xlim(left=0)
    axes.set_ylim(0, 100)
    axes.set_xlabel("trips of a tile through the heat")
    axes.set_ylabel("right verdicts, % of pairs")
    axes.grid(axis="y")
    beside = "" if single is None else f" Tiles of one base: {curve_in_words(single)}"
    return Picture(
        "budget",
        _finding(curve, tiles),
        f"{curve_in_words(curve)}{beside}",
        figure,
        note="What is expected before anything is fired, on average over invented studios that "
        "differ as widely as the models assume. Where the line runs flat, more heat buys little. "
        f"{fewer_would_do(curve, tiles)}".strip(),
    )


def _finding(curve: pd.DataFrame, tiles: int) -> str:
    here, most = _nearest(curve, tiles), curve.iloc[-1]
    about = (
        f"{counted(int(here['tiles']), 'tile')} ({here['trips']:.0f} trips through the heat) can "
        f"be expected to settle {percent(here['right'])} of all pairs rightly"
    )
    if most["tiles"] == here["tiles"] or most["right"] - here["right"] < _LITTLE:
        return f"{about}; more tiles would hardly help"
    return f"{about}; {counted(int(most['tiles']), 'tile')} would settle {percent(most['right'])}"


def _nearest(curve: pd.DataFrame, tiles: int) -> pd.Series:
    return curve.loc[(curve["tiles"] - tiles).abs().idxmin()]


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
        f"{counted(before, 'pair')} had a verdict after "
        f"{counted(int(last['firings']), 'firing')}; after {int(last['patches'])} patches it is "
        f"{counted(now, 'pair')}"
    )


def _rounds_told(rounds: pd.DataFrame) -> str:
    lines = []
    for row in rounds.to_dict("records"):
        counts = [f"{row[verdict]} {verdict}" for verdict in VERDICTS]
        lines.append(f"{counted(row['patches'], 'patch', 'patches')}: {listed(counts)}")
    return f"Verdicts by patches fired. {'; '.join(lines)}."
