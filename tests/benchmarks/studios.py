"""Invented studios of many kinds, and what truly becomes of their pairs: to measure honesty by."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from kit.model import ScoreState, VerdictRule, ending_chances
from kit.series import FAMILIES, family_pair
from kit.studio import ScaleTruth, Truth
from kit.studio.truth import TENDENCIES, deviations

Range = tuple[float, float]


@dataclass(frozen=True)
class Population:
    """Studios of many kinds: the ranges that a truth is drawn from, each uniform.

    Standard deviations and effects are in latent logistic units. The stock is invented, and so are
    the ranges: they are meant to be wider than any one workshop.

    Parameters
    ----------
    base_sd, overlay_sd, pair_sd, tile_sd, patch_sd, grader_sd, session_sd : (float, float)
    step : (float, float)
        Width of a step of the scale: the distance between neighbouring cuts.
    like_over_like : (float, float)
        Latent value of like over like at the first firing, against the first cut.
    family_effect : (float, float)
        How far the family pair that stands out on a scale lies above like over like.
    per_firing, per_firing_more : (float, float)
        What each further firing adds, and how much more it adds where a family pair stands out.
    refirings_sd : (float, float)
        How much colours differ in what each further firing does, as bases and as overlays.
    state_correlation : (float, float)
        As in `Truth`.
    halo_sd : (float, float)
    label_shares : mapping of str to float
        Share of the variance of what colours do, within their family, that goes with the words of
        a column of colours.csv: {'fusing': 0.6}. They add up to 1 at most.
    """

    base_sd: Range = (0.2, 1.5)
    overlay_sd: Range = (0.2, 1.8)
    pair_sd: Range = (0.1, 1.2)
    tile_sd: Range = (0.1, 0.9)
    patch_sd: Range = (0.1, 0.9)
    grader_sd: Range = (0.1, 0.9)
    session_sd: Range = (0.0, 0.6)
    step: Range = (1.2, 4.0)
    like_over_like: Range = (-4.0, 0.0)
    family_effect: Range = (1.0, 7.0)
    per_firing: Range = (0.0, 1.0)
    per_firing_more: Range = (0.0, 1.0)
    refirings_sd: Range = (0.0, 0.5)
    state_correlation: Range = (-0.2, 0.7)
    halo_sd: Range = (0.0, 0.8)
    label_shares: Mapping[str, float] = field(default_factory=dict)

    def draw(self, colours: pd.DataFrame, seed: int, loss_rate: float = 0.01) -> Truth:
        """Draw one studio's truth for a stock of colours.

        Parameters
        ----------
        colours : DataFrame
            Columns colour, family.
        seed : int
        loss_rate : float
        """
        random = np.random.default_rng(seed)
        scales = {name: self._scale(colours, name, random) for name in TENDENCIES}
        return Truth(
            scales,
            loss_rate,
            float(random.uniform(*self.state_correlation)),
            float(random.uniform(*self.halo_sd)),
        )

    def _scale(self, colours: pd.DataFrame, scale: str, random: np.random.Generator) -> ScaleTruth:
        tendencies = TENDENCIES[scale][0]
        stands_out = max(tendencies, key=lambda pair: tendencies[pair])
        families, per_firing = {}, {}
        for pair in tendencies:
            families[pair] = random.uniform(*self.like_over_like)
            per_firing[pair] = random.uniform(*self.per_firing)
        alike = [families[family_pair(family, family)] for family in FAMILIES]
        families[stands_out] = float(np.mean(alike)) + random.uniform(*self.family_effect)
        per_firing[stands_out] += random.uniform(*self.per_firing_more)
        sd = {
            name: random.uniform(*getattr(self, f"{name}_sd"))
            for name in ("base", "overlay", "pair", "tile", "patch", "grader", "session")
        }
        names = list(colours["colour"])
        return ScaleTruth(
            cuts=tuple(np.cumsum([0.0, *random.uniform(*self.step, 3)]).tolist()),
            families=families,
            per_firing=per_firing,
            per_finer_mesh=TENDENCIES[scale][2],
            per_10_mg=TENDENCIES[scale][3],
            base=self._of_colours(colours, sd["base"], random),
            overlay=self._of_colours(colours, sd["overlay"], random),
            pair=deviations([(b, o) for b in names for o in names], sd["pair"], random),
            tile_sd=sd["tile"],
            patch_sd=sd["patch"],
            grader_sd=sd["grader"],
            session_sd=sd["session"],
            base_refirings=deviations(names, random.uniform(*self.refirings_sd), random),
            overlay_refirings=deviations(names, random.uniform(*self.refirings_sd), random),
        )

    def _of_colours(
        self, colours: pd.DataFrame, sd: float, random: np.random.Generator
    ) -> dict[str, float]:
        """What colours do: part of it of their own, part as the words of their labels say."""
        own_share = 1 - sum(self.label_shares.values())
        does = random.normal(0, sd * np.sqrt(own_share), len(colours))
        for label, share in self.label_shares.items():
            codes, words = pd.factorize(colours[label])
            of_word = random.normal(size=len(words))
            of_word = (of_word - of_word.mean()) / of_word.std()
            does = does + sd * np.sqrt(share) * of_word[codes]
        return dict(zip(colours["colour"], does.round(3).tolist(), strict=True))


def ending_shares(truth: Truth, frame: pd.DataFrame, rule: VerdictRule) -> np.ndarray:
    """Share of each pair's patches that come to each ending, as the average grader sees them.

    Tile, patch and session vary from one to the next; nothing else is left to know.

    Returns
    -------
    ndarray, shape (n, 3)
        In the order of `kit.model.ENDINGS`.
    """
    spread, pull_through = (
        _state(truth, frame, scale, rule) for scale in ("spread", "pull_through")
    )
    return ending_chances(spread, pull_through, truth.state_correlation)


def _state(truth: Truth, frame: pd.DataFrame, scale: str, rule: VerdictRule) -> ScoreState:
    own = truth.scales[scale]
    mean = truth.latent(frame, scale)[:, None] - np.array(own.cuts)
    varies = own.tile_sd**2 + own.patch_sd**2 + own.session_sd**2
    return ScoreState(
        mean,
        np.zeros_like(mean),
        np.arange(len(own.cuts) + 1.0),
        varies,
        np.full(1, varies),
        own.grader_sd**2,
        fine=rule.fine_edge_at_most,
        broken=rule.breaks_through_from - 1,
    )
