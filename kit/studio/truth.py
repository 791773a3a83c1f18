"""What is really so in the invented studio: how families and colours behave in the heat.

The tendencies are common practice, no source: leaded over unleaded spreads, unleaded over leaded
is pulled through, like over like mostly behaves, every firing makes it more so, and each colour
reacts in its own way. The sizes are invented.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from kit.model import ScoreState, VerdictRule, ending_chances
from kit.series import FAMILIES, family_pair


@dataclass(frozen=True)
class ScaleTruth:
    """The truth about one scale, in the letters of the model (latent logistic units).

    Parameters
    ----------
    cuts : tuple of float
        Where the latent value passes from each grade to the next.
    families : mapping of str to float
        Latent value at the first firing by family pair ('leaded over unleaded').
    per_firing : mapping of str to float
        What each further firing adds, by family pair.
    per_finer_mesh : float
        What the next finer sifter adds: per 20 mesh numbers above 100.
    per_10_mg : float
        What 10 mg/cm² of overlay above 40 add.
    base, overlay : mapping of str to float
        Deviation of each colour in that role.
    pair : mapping of (str, str) to float
        Deviation of each (base, overlay).
    tile_sd, patch_sd, grader_sd, session_sd, stripe_sd : float
        Standard deviations of what changes from tile to tile, and so on; that of stripes on tiles
        with several bases only.
    small_patch_sd : float
        What the small patches on such tiles vary by beyond `patch_sd`.
    base_refirings, overlay_refirings : mapping of str to float
        What each further firing adds for a colour in that role, beyond its family; 0 where it is
        not named.
    """

    cuts: tuple[float, ...]
    families: Mapping[str, float]
    per_firing: Mapping[str, float]
    per_finer_mesh: float
    per_10_mg: float
    base: Mapping[str, float]
    overlay: Mapping[str, float]
    pair: Mapping[tuple[str, str], float]
    tile_sd: float = 0.5
    patch_sd: float = 0.4
    grader_sd: float = 0.4
    session_sd: float = 0.2
    stripe_sd: float = 0.3
    small_patch_sd: float = 0.45
    base_refirings: Mapping[str, float] = field(default_factory=dict)
    overlay_refirings: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Truth:
    """The truth about every scale, and how often a tile is spoiled.

    Parameters
    ----------
    scales : mapping of str to ScaleTruth
    loss_rate : float
        Chance that one firing spoils a tile.
    state_correlation : float
        Of what tile, patch and session do on one scale with what they do on the next.
    halo_sd : float
        Standard deviation of what one look of a grader moves all scales by alike.
    """

    scales: Mapping[str, ScaleTruth]
    loss_rate: float = 0.01
    state_correlation: float = 0.0
    halo_sd: float = 0.0

    def latent(self, frame: pd.DataFrame, scale: str) -> np.ndarray:
        """Latent value of patches, without tile, patch, grader and session.

        Parameters
        ----------
        frame : DataFrame, n rows
            Columns base, overlay, base_family, overlay_family, mesh, coat_weight, firings.
        scale : str

        Returns
        -------
        ndarray, shape (n,)
        """
        truth = self.scales[scale]
        families = [
            family_pair(b, o)
            for b, o in zip(frame["base_family"], frame["overlay_family"], strict=True)
        ]
        pairs = zip(frame["base"], frame["overlay"], strict=True)
        again = frame["firings"].to_numpy() - 1
        return (
            np.array([truth.families[f] for f in families])
            + np.array([truth.per_firing[f] for f in families]) * again
            + np.array([truth.base_refirings.get(b, 0.0) for b in frame["base"]]) * again
            + np.array([truth.overlay_refirings.get(o, 0.0) for o in frame["overlay"]]) * again
            + truth.per_finer_mesh * (frame["mesh"].to_numpy(float) - 100) / 20
            + truth.per_10_mg * (frame["coat_weight"].to_numpy(float) - 40) / 10
            + np.array([truth.base[b] for b in frame["base"]])
            + np.array([truth.overlay[o] for o in frame["overlay"]])
            + np.array([truth.pair[pair] for pair in pairs])
        )

    def ending_shares(self, frame: pd.DataFrame, rule: VerdictRule) -> np.ndarray:
        """Share of each pair's patches that come to each ending, as the average grader sees them.

        Tile, patch and session vary from one to the next; nothing else is left to know.

        Returns
        -------
        ndarray, shape (n, 3)
            In the order of `kit.model.ENDINGS`.
        """
        spread, pull_through = (
            self._state(frame, scale, rule) for scale in ("spread", "pull_through")
        )
        return ending_chances(spread, pull_through, self.state_correlation)

    def _state(self, frame: pd.DataFrame, scale: str, rule: VerdictRule) -> ScoreState:
        own = self.scales[scale]
        mean = self.latent(frame, scale)[:, None] - np.array(own.cuts)
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


_CUTS = (0.0, 2.2, 4.4, 6.6)

_TENDENCIES = {
    "spread": (
        {
            "leaded over leaded": -1.8,
            "leaded over unleaded": 2.3,
            "unleaded over leaded": -1.4,
            "unleaded over unleaded": -2.1,
        },
        {
            "leaded over leaded": 0.5,
            "leaded over unleaded": 1.0,
            "unleaded over leaded": 0.4,
            "unleaded over unleaded": 0.4,
        },
        -0.2,
        0.3,
    ),
    "pull_through": (
        {
            "leaded over leaded": -1.7,
            "leaded over unleaded": -1.9,
            "unleaded over leaded": 2.3,
            "unleaded over unleaded": -2.1,
        },
        {
            "leaded over leaded": 0.5,
            "leaded over unleaded": 0.4,
            "unleaded over leaded": 1.0,
            "unleaded over unleaded": 0.3,
        },
        0.1,
        -0.4,
    ),
}


def draw_truth(
    colours: pd.DataFrame,
    seed: int,
    *,
    base_sd: float = 0.7,
    overlay_sd: float = 0.9,
    pair_sd: float = 0.7,
    loss_rate: float = 0.01,
) -> Truth:
    """Draw how each colour of a stock behaves, about the tendencies of its family.

    Parameters
    ----------
    colours : DataFrame
        Columns colour, family.
    seed : int
    base_sd, overlay_sd, pair_sd : float
        How much colours and pairs differ within their family, latent units.
    loss_rate : float
        Chance that one firing spoils a tile.
    """
    random = np.random.default_rng(seed)
    names = list(colours["colour"])

    scales = {}
    for scale, (families, per_firing, per_finer_mesh, per_10_mg) in _TENDENCIES.items():
        scales[scale] = ScaleTruth(
            cuts=_CUTS,
            families=families,
            per_firing=per_firing,
            per_finer_mesh=per_finer_mesh,
            per_10_mg=per_10_mg,
            base=_deviations(names, base_sd, random),
            overlay=_deviations(names, overlay_sd, random),
            pair=_deviations([(b, o) for b in names for o in names], pair_sd, random),
        )
    return Truth(scales, loss_rate)


def _deviations(keys: list, sd: float, random: np.random.Generator) -> dict:
    return dict(zip(keys, random.normal(0, sd, len(keys)).round(3).tolist(), strict=True))


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
        scales = {name: self._scale(colours, name, random) for name in _TENDENCIES}
        return Truth(
            scales,
            loss_rate,
            float(random.uniform(*self.state_correlation)),
            float(random.uniform(*self.halo_sd)),
        )

    def _scale(self, colours: pd.DataFrame, scale: str, random: np.random.Generator) -> ScaleTruth:
        tendencies = _TENDENCIES[scale][0]
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
            per_finer_mesh=_TENDENCIES[scale][2],
            per_10_mg=_TENDENCIES[scale][3],
            base=self._of_colours(colours, sd["base"], random),
            overlay=self._of_colours(colours, sd["overlay"], random),
            pair=_deviations([(b, o) for b in names for o in names], sd["pair"], random),
            tile_sd=sd["tile"],
            patch_sd=sd["patch"],
            grader_sd=sd["grader"],
            session_sd=sd["session"],
            base_refirings=_deviations(names, random.uniform(*self.refirings_sd), random),
            overlay_refirings=_deviations(names, random.uniform(*self.refirings_sd), random),
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
