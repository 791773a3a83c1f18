"""What to fire next: the patches that would let the most pairs be judged rightly."""

from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np
import pandas as pd

from kit.design.surveys.average_variance import AverageVariance
from kit.design.surveys.expected_verdicts import NOT_KNOWN, judged, worth
from kit.design.surveys.pair_covariance import Floats, Ints, PairField, checked_colours
from kit.design.surveys.pair_knowledge import PairScore, fitted_scores, knowledge_of
from kit.design.surveys.patch_exchange import Bench, SurveySearch, View
from kit.errors import Misuse
from kit.model import PairSetting, ScaleFit
from kit.series import Series

SWEEPS = 8
SWAPS = 60
UNSURENESS = 0.05
"""Weight of every pair for its own sake, as a share of the largest worth."""


def next_patches(
    known: Series | Iterable[Series] | Mapping[str, ScaleFit],
    patches: int,
    *,
    colours: pd.DataFrame | None = None,
    setting: PairSetting | None = None,
    patches_per_tile: int | None = None,
    wishes: pd.DataFrame | None = None,
    leave_out: Sequence[str] = (),
    seed: int = 1,
    starts: int = 4,
    progress: Callable[[str], None] | None = None,
) -> pd.DataFrame:
    """Choose the patches that would do most for the pairs that are 'not known yet'.

    Each pair is worth what surer knowledge of it would add to the chance of judging it rightly, by
    both scores (`expected_verdicts.worth`). The patches are then chosen, tile by tile, to take
    away as much variance as they can where it is worth most. A patch tells of other pairs too,
    through its base, its overlay and its families, and all of that is counted.

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
    patches_per_tile : int, optional
        By default that of the last series; 4 with fits.
    wishes : DataFrame, optional
        Columns base, overlay and perhaps weight. Only these pairs count then.
    leave_out : sequence of str
        Colours that are not to be fired.
    seed : int
    starts : int
        Plans to improve, of which the best is kept.
    progress : callable, optional

    Returns
    -------
    DataFrame
        Columns tile (numbered on from the tiles of the series), base, overlay and reason, a
        sentence; a row per patch.

    Raises
    ------
    Misuse
        When no such plan exists; the message says what would.
    """
    say = progress or (lambda _: None)
    per_tile, first_tile = patches_per_tile or 4, 1
    if isinstance(known, Mapping):
        fits = dict(known)
        setting = setting or PairSetting()
        if colours is None:
            raise Misuse("With fits the colours are needed too: pass colours=series.colours.")
    else:
        each = [known] if isinstance(known, Series) else list(known)
        if not each:
            raise Misuse("There is no series to learn from. Plan a survey first.")
        say("Fitting the grades.")
        fits, setting = fitted_scores(each), setting or PairSetting.of(each[-1].settings.verdict)
        colours = _stock(each) if colours is None else colours
        per_tile = patches_per_tile or each[-1].settings.patches_per_tile
        first_tile = 1 + max(int(one.tiles["tile"].max()) for one in each)
    scores = knowledge_of(fits, checked_colours(colours), setting)
    weights = pair_weights(scores, setting.confidence, wishes)
    bench = _bench(scores, weights, leave_out)
    tiles = -(-patches // per_tile) if patches > 0 and per_tile > 0 else 0
    _check_budget(bench, tiles, per_tile)
    best = _searched(bench, weights, tiles, per_tile, np.random.default_rng(seed), starts, say)
    field = scores[0].field
    plan = _without_surplus(best, patches, field).assign(tile=lambda p: p["tile"] + first_tile)
    plan["reason"] = _reasons(plan, scores, setting, fits)
    return plan


def pair_weights(
    scores: tuple[PairScore, PairScore], confidence: float, wishes: pd.DataFrame | None
) -> Floats:
    """How much each pair's unsureness matters, for pairs numbered as in the field."""
    spread, pull = (score.knowledge for score in scores)
    value = worth(spread, pull, confidence)
    c = len(scores[0].field.colours)
    value = (value + UNSURENESS * value.max()) * ~np.eye(c, dtype=bool).ravel()
    if not value.any():
        value = 1.0 - np.eye(c).ravel()
    if wishes is None:
        return value
    wished = np.zeros(c * c)
    wished[scores[0].field.numbers(wishes)] = wishes.get("weight", 1.0)
    if not (value * wished).any():
        raise Misuse("Wish for at least one pair of two different colours.")
    return value * wished


def _stock(each: list[Series]) -> pd.DataFrame:
    stock = pd.concat([series.stock for series in each])
    return stock.drop_duplicates("colour", keep="last").reset_index(drop=True)


def _bench(scores: tuple[PairScore, PairScore], weights: Floats, leave_out: Sequence[str]) -> Bench:
    colours = scores[0].field.colours
    strangers = sorted(set(leave_out) - set(colours))
    if strangers:
        raise Misuse(f"To leave out {', '.join(strangers)}, it must be in the list of colours.")
    stays = np.array([colour not in set(leave_out) for colour in colours])
    views = []
    for score in scores:
        V = score.field.covariance
        # Losing all variance of a pair on one score is worth as much as on the other.
        w = weights / np.diag(V)
        criterion = AverageVariance(V, w / weights.sum())
        views.append(View(V, score.tile_variance, score.noise_variance, criterion))
    none = np.zeros(len(colours), dtype=bool)
    return Bench(
        views=tuple(views),
        allowed=stays[:, None] & stays[None, :] & ~np.eye(len(colours), dtype=bool),
        bases=none,
        overlays=none,
        known_pair=np.empty(0, dtype=np.intp),
        known_tile=np.empty(0, dtype=np.intp),
    )


def _check_budget(bench: Bench, tiles: int, per_tile: int) -> None:
    if tiles < 1:
        raise Misuse("Ask for at least one patch.")
    room = int(bench.allowed.sum(axis=1).max())
    if per_tile > room:
        raise Misuse(
            f"{per_tile} patches on a tile need {per_tile} different overlays besides the base's "
            f"own colour; {room} is the most these colours give. Put {room} patches on a tile."
        )


def _searched(
    bench: Bench,
    weights: Floats,
    tiles: int,
    per_tile: int,
    rng: np.random.Generator,
    starts: int,
    say: Callable[[str], None],
) -> SurveySearch:
    best: SurveySearch | None = None
    for start in range(max(1, starts)):
        search = SurveySearch(bench, *_deal(bench, weights, tiles, per_tile, rng))
        search.improve(rng, SWEEPS, SWAPS)
        if best is None or search.value < best.value:
            best = search
        say(f"Plan {start + 1} of {starts} improved.")
    assert best is not None
    return best


def _deal(
    bench: Bench, weights: Floats, tiles: int, m: int, rng: np.random.Generator
) -> tuple[Ints, Ints]:
    """Start where the worth lies: bases by their pairs' worth, then overlays likewise."""
    c = len(bench.allowed)
    liking = np.where(bench.allowed, weights.reshape(c, c) + 1e-9, 0.0)
    chance = np.where(bench.allowed.sum(axis=1) >= m, liking.sum(axis=1), 0.0)
    base = rng.choice(c, tiles, p=chance / chance.sum())
    overlay = [rng.choice(c, m, replace=False, p=liking[b] / liking[b].sum()) for b in base]
    return base, np.array(overlay)


def _without_surplus(search: SurveySearch, patches: int, field: PairField) -> pd.DataFrame:
    """The plan as a frame, tiles from 0, less the patches that would be missed least."""
    tiles, m = search.overlay.shape
    tile = np.repeat(np.arange(tiles), m)
    keep = np.arange(tiles * m)
    pair = (search.base[:, None] * len(field.colours) + search.overlay).ravel()
    while len(keep) > patches:
        less = [np.delete(keep, i) for i in range(len(keep))]
        left = [search.bench.value(pair[rows], tile[rows]) for rows in less]
        keep = less[int(np.argmin(left))]
    names = field.pairs.iloc[pair[keep]].reset_index(drop=True)
    return names.assign(tile=tile[keep])[["tile", "base", "overlay"]]


def _reasons(
    plan: pd.DataFrame,
    scores: tuple[PairScore, PairScore],
    setting: PairSetting,
    fits: Mapping[str, ScaleFit],
) -> list[str]:
    """Say for each patch what is known of its pair, and what it would tell of other pairs.

    Parameters
    ----------
    plan : DataFrame
        Columns base and overlay.
    scores : (spread, pull-through)
    setting : PairSetting
    fits : mapping of str to ScaleFit

    Returns
    -------
    list of str
    """
    field = scores[0].field
    low = scores[0].knowledge.low, scores[1].knowledge.low
    verdict = judged(low[0], low[1], setting.confidence)
    c = len(field.colours)
    open_pairs = (verdict.reshape(c, c) == NOT_KNOWN) & ~np.eye(c, dtype=bool)
    fired = fits["spread"].frame.drop_duplicates("patch").groupby(["base", "overlay"]).size()
    out = []
    for number, (base, overlay) in zip(
        field.numbers(plan), zip(plan["base"], plan["overlay"], strict=True), strict=True
    ):
        b, o = divmod(int(number), c)
        count = int(fired.get((base, overlay), 0))
        chance = 100 * float(low[0][number] * low[1][number])
        if verdict[number] == NOT_KNOWN:
            out.append(_open(count, chance, scores, int(number)))
        else:
            out.append(_settled(base, overlay, open_pairs[b].sum(), open_pairs[:, o].sum()))
    return out


def _open(count: int, chance: float, scores: tuple[PairScore, PairScore], number: int) -> str:
    before = {0: "never fired", 1: "fired once"}.get(count, f"fired {count} times")
    gone = 100 * float(np.mean([_learnt(score, number) for score in scores]))
    return (
        f"Not known yet ({before}; it would hold a fine edge in about {chance:.0f} of 100 tries). "
        f"This patch alone takes away about {gone:.0f} % of what is unsure about it."
    )


def _settled(base: str, overlay: str, on_base: int, of_overlay: int) -> str:
    return (
        f"The pair itself is fairly sure; the patch tells what {base} does as a base "
        f"({on_base} of its pairs are not known yet) and what {overlay} does on top "
        f"({of_overlay} of its pairs are not known yet)."
    )


def _learnt(score: PairScore, number: int) -> float:
    """Share of the pair's variance that one patch on a new tile takes away."""
    v = float(score.field.covariance[number, number])
    return v / (v + score.tile_variance + float(score.noise_variance[number]))
