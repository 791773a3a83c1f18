"""What is really so in the invented studio: how families and colours behave in the heat.

The tendencies are common practice, no source: leaded over unleaded spreads, unleaded over leaded
is pulled through, like over like mostly behaves, every firing makes it more so, and each colour
reacts in its own way. The sizes are invented.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
import pandas as pd

from kit.series import family_pair

_Key = TypeVar("_Key", bound=Hashable)


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
        latent: np.ndarray = (
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
        return latent


_CUTS = (0.0, 2.2, 4.4, 6.6)

TENDENCIES = {
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
"""What families do on each scale: at first, each firing, a finer mesh, 10 mg/cm² more."""


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
    for scale, (families, per_firing, per_finer_mesh, per_10_mg) in TENDENCIES.items():
        scales[scale] = ScaleTruth(
            cuts=_CUTS,
            families=families,
            per_firing=per_firing,
            per_finer_mesh=per_finer_mesh,
            per_10_mg=per_10_mg,
            base=deviations(names, base_sd, random),
            overlay=deviations(names, overlay_sd, random),
            pair=deviations([(b, o) for b in names for o in names], pair_sd, random),
        )
    return Truth(scales, loss_rate)


def deviations(keys: Sequence[_Key], sd: float, random: np.random.Generator) -> dict[_Key, float]:
    """Draw what each colour or pair does of its own."""
    return dict(zip(keys, random.normal(0, sd, len(keys)).round(3).tolist(), strict=True))
