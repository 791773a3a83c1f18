"""What to fire next: the patches that are expected to allow most right verdicts more."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence

import numpy as np
import pandas as pd

from kit.design.surveys.deal_over_stripes import Task
from kit.design.surveys.pair_knowledge import (
    PairKnowledge,
    ScoreKnowledge,
    checked_colours,
    fitted_scores,
    known_from_grades,
)
from kit.design.surveys.pair_survey import TileFormat, pair_weights, survey_plan
from kit.design.surveys.verdict_search import Chosen, without_surplus
from kit.errors import Misuse
from kit.model import (
    ENDINGS,
    HIT_OR_MISS,
    NOT_KNOWN,
    PairOutlook,
    PairSetting,
    ScaleFit,
    outlook,
    verdicts,
)
from kit.series import Series, colours_in_stock
from kit.wording import counted, percent

Known = Series | Iterable[Series] | Mapping[str, ScaleFit]


def next_patches(
    known: Known,
    patches: int,
    *,
    colours: pd.DataFrame | None = None,
    setting: PairSetting | None = None,
    tile_format: TileFormat | None = None,
    targets: pd.DataFrame | None = None,
    wrong_costs: float = 0.0,
    leave_out: Sequence[str] = (),
    not_bases: Collection[str] = (),
    seed: int = 1,
    progress: Callable[[str], None] | None = None,
) -> pd.DataFrame:
    """Choose the patches that would do most for the pairs that are 'not known yet'.

    They are those from which the most right verdicts more can be expected, at every firing count.
    A patch tells of other pairs too, through its base, its overlay and its families, and all of
    that is counted; a pair that varies by its nature is not fired to settle it.

    Parameters
    ----------
    known : Series, iterable of Series, or mapping of str to ScaleFit
        What has been graded: series, or the fits of 'spread' and 'pull_through'.
    patches : int
        How many to fire. The last tile may be left with free positions.
    colours : DataFrame, optional
        Columns colour and family: the pairs to learn about. Needed with fits; by default those of
        the series that their settings do not leave out.
    setting : PairSetting, optional
        The work that pairs are judged for; by default that of the last series.
    tile_format : TileFormat, optional
        By default single bases with as many patches as the last series puts on a tile.
    targets : DataFrame, optional
        Columns base, overlay and perhaps weight. Only these pairs count then.
    wrong_costs : float
        What a wrong 'fine edge' costs, in right verdicts missed.
    leave_out : sequence of str
        Colours that are not to be fired, though their pairs still count.
    not_bases : collection of str
        Colours that are laid under nothing.
    seed : int
    progress : callable, optional

    Returns
    -------
    DataFrame
        Columns tile (numbered on from the tiles of the series), stripe, small, base, overlay and
        reason, a sentence; a row per patch.

    Raises
    ------
    Misuse
        When no such plan exists; the message says what would.
    """
    if patches < 1:
        raise Misuse("Ask for at least one patch.")
    fits, colours, setting, usual, first_tile = _read(known, colours, setting, progress)
    tile_format = tile_format or usual
    knowledge = known_from_grades(fits, checked_colours(colours), setting)
    task = next_task(knowledge, targets, leave_out, wrong_costs, not_bases)
    places = tile_format.places(_tiles_for(patches, tile_format))
    chosen = survey_plan(knowledge, task, places, seed, progress)
    chosen = without_surplus(knowledge, task, chosen, patches)
    plan = chosen.frame(knowledge, first_tile)
    plan["reason"] = _reasons(knowledge, chosen, fits)
    return plan


def next_task(
    known: PairKnowledge,
    targets: pd.DataFrame | None,
    leave_out: Sequence[str] = (),
    wrong_costs: float = 0.0,
    not_bases: Collection[str] = (),
) -> Task:
    """Weights of the pairs; no colour need appear, and some may not be fired."""
    strangers = sorted(set(leave_out) - set(known.colours))
    if strangers:
        raise Misuse(f"To leave out {', '.join(strangers)}, it must be in the list of colours.")
    stays = np.array([colour not in set(leave_out) for colour in known.colours])
    covers = stays & [colour not in set(not_bases) for colour in known.colours]
    allowed = covers[:, None] & stays[None, :] & ~np.eye(len(stays), dtype=bool)
    none = np.zeros(len(stays), dtype=bool)
    return Task(pair_weights(known, targets), allowed, none, none, wrong_costs)


def verdicts_now(known: PairKnowledge) -> np.ndarray:
    """Verdict of each judged pair at each firing count, (n, counts)."""
    seen = _outlook_now(known)
    return verdicts(seen.chances, seen.hit_or_miss, known.confidence).reshape(len(known.judged), -1)


def _outlook_now(known: PairKnowledge) -> PairOutlook:
    spread, pull = (
        s.state(s.mean[known.judged].ravel(), s.variance[known.judged].ravel())
        for s in known.scores
    )
    return outlook(spread, pull, known.rho, known.confidence)


def _read(
    known: Known,
    colours: pd.DataFrame | None,
    setting: PairSetting | None,
    progress: Callable[[str], None] | None,
) -> tuple[Mapping[str, ScaleFit], pd.DataFrame, PairSetting, TileFormat, int]:
    if isinstance(known, Mapping):
        if colours is None:
            raise Misuse("With fits the colours are needed too: pass colours=series.colours.")
        return known, colours, setting or PairSetting(), TileFormat(), 1
    each = [known] if isinstance(known, Series) else list(known)
    if not each:
        raise Misuse("There is no series to learn from. Plan a survey first.")
    if progress:
        progress("Fitting the grades.")
    last = each[-1].settings
    if colours is None:
        stock = pd.concat([colours_in_stock(one.colours, one.settings) for one in each])
        colours = stock.drop_duplicates("colour", keep="last").reset_index(drop=True)
    first_tile = 1 + max(int(one.tiles["tile"].max()) for one in each)
    usual = TileFormat(last.patches_per_tile).fitted(len(colours), len(colours))
    return fitted_scores(each), colours, setting or PairSetting.of(last.verdict), usual, first_tile


def _tiles_for(patches: int, tile_format: TileFormat) -> int:
    """The fewest tiles that hold so many patches."""
    tiles = 1
    while len(tile_format.places(tiles).stripe) < patches:
        tiles += 1
    return tiles


def _reasons(known: PairKnowledge, chosen: Chosen, fits: Mapping[str, ScaleFit]) -> list[str]:
    """Say for each patch what is known of its pair, and what it would tell of other pairs."""
    c = len(known.colours)
    middle = len(known.counts) // 2
    now = np.full(c * c, "", dtype=object)
    now[known.judged] = verdicts_now(known)[:, middle]
    seen = _outlook_now(known).chances.reshape(len(known.judged), -1, len(ENDINGS))
    fine = np.zeros(c * c)
    fine[known.judged] = seen[:, middle, 0]
    open_pairs = (now == NOT_KNOWN).reshape(c, c)
    fired = fits["spread"].frame.drop_duplicates("patch").groupby(["base", "overlay"]).size()
    names = known.pairs
    after = counted(known.counts[middle], "firing")
    said = []
    for number in chosen.pair(c):
        b, o = divmod(int(number), c)
        base, overlay = names.loc[number, ["base", "overlay"]]
        if now[number] in (NOT_KNOWN, HIT_OR_MISS):
            count = int(fired.get((base, overlay), 0))
            before = {0: "never fired", 1: "fired once"}.get(count, f"fired {count} times")
            taken = float(np.mean([_taken(score, number) for score in known.scores]))
            said.append(
                f"{now[number].capitalize()} ({before}; after {after} its chance of a fine edge "
                f"is {percent(float(fine[number]))}). This patch alone takes away "
                f"{percent(taken)} of what is unsure about it."
            )
        else:
            said.append(
                f"The pair itself is fairly sure after {after}; the patch tells what {base} does "
                f"as a base ({counted(int(open_pairs[b].sum()), 'pair')} of it not known yet) and "
                f"what {overlay} does on top ({counted(int(open_pairs[:, o].sum()), 'pair')} not "
                "known yet)."
            )
    return said


def _taken(score: ScoreKnowledge, number: int) -> float:
    """Share of the pair's variance that one patch on a new tile takes away."""
    v = float(score.covariance[number, number])
    return v / (v + score.tile_variance + float(score.noise_variance[number]))
