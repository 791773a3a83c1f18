"""The mixed model of a plan, solved before anything is fired.

    y = mean[family pair] + slope[family pair] (firings - middle) + side factors
        + u_base + u_overlay + u_pair + u_tile + u_patch + e

Where minutes or heat change from session to session they are side factors too, and u_session is
added: such a factor is known from sessions, as that of whole plots is in a split plot.

Effects have weak normal priors and each u its standard deviation, so everything is normal, and what
the grades will leave unsure is known in advance: for quantities g, Var(g | y) = G - C' K⁻¹ C, with
G their covariance before, K that of the rows and C that of rows with quantities (the variances of
Henderson's mixed-model equations; Henderson 1975, Biometrics 31, 423-447).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from kit.design.surveys import Floats, checked_colours
from kit.errors import Misuse
from kit.model import LearnedPrior
from kit.series import (
    FAMILIES,
    FAMILY_PAIRS,
    HEATS,
    SESSION_FACTORS,
    Series,
    family_pair,
    over_another,
    patches_in_full,
)
from kit.wording import listed

_TERMS = {
    "base": "base", "overlay": "overlay", "pair": "base:overlay", "tile": "tile", "patch": "patch",
    "session": "session",
}  # fmt: skip
"""What the models call each source."""

_WAVERS = math.pi / math.sqrt(3)
"""Standard deviation of the standard logistic distribution: what one reading wavers by."""


@dataclass(frozen=True)
class StandardDeviations:
    """Standard deviation of each source of variation, in grades.

    They are what a plan is made with. Only their sizes relative to each other matter for which
    plan is best; their absolute size matters for how sure it is said to be.

    Parameters
    ----------
    base, overlay : float
        How much colours of one family differ, as a base and as an overlay.
    pair : float
        What two colours do together beyond what each does on its own.
    tile : float
        Tiles of one base colour: sifting, heat, place in the kiln.
    session : float
        Tiles of one base colour from one session to the next, with nothing changed on purpose.
    patch : float
        Patches of one pair on one tile.
    grading : float
        Two grades given to the same patch.
    family : float
        How large the effects of family on family could be; a weak prior.

    Notes
    -----
    The values are common practice, no source: a person's rough idea of a bench. A
    series that learns from earlier ones is planned with what those showed instead.
    """

    base: float = 0.35
    overlay: float = 0.4
    pair: float = 0.35
    tile: float = 0.25
    session: float = 0.2
    patch: float = 0.2
    grading: float = 0.8
    family: float = 2.0

    def __post_init__(self) -> None:
        wrong = [f.name for f in fields(self) if not 0 <= getattr(self, f.name) < math.inf]
        if wrong:
            raise Misuse(
                f"A standard deviation is zero or more grades; {listed(wrong)} is not. A good "
                "guess is how far two tiles or colours that should be alike usually lie apart."
            )
        if self.patch == 0 and self.grading == 0:
            raise Misuse("Patches or grades must differ a little: give patch or grading above 0.")

    @classmethod
    def learned(cls, scores: Mapping[str, LearnedPrior]) -> "StandardDeviations":
        """Those that earlier series showed, in grades, on average over the scores."""
        found = [
            {name: own.amounts.source(term).mean / own.step for name, term in _TERMS.items()}
            | {"grading": math.hypot(_WAVERS, own.amounts.source("grader").mean) / own.step}
            for own in scores.values()
        ]
        return cls(**{name: sum(one[name] for one in found) / len(found) for name in found[0]})

    def noise_variance(self, grades_per_patch: int) -> float:
        """Variance of the mean grade of a patch about what its pair and tile would give.

        The variance is patch² + grading² / grades_per_patch, in grades².
        """
        return self.patch**2 + self.grading**2 / grades_per_patch


TYPICAL = StandardDeviations()


SIDE_FACTORS = ("mesh", "coat_weight", "base_mesh", "base_coat_weight", "base_coats")
TREND_SD = 1.0
"""Weak prior of what a firing adds, grades."""

SIDE_SD = 1.0
"""Weak prior of what a side factor does over one standard deviation of its levels, grades."""

OF_PAIRS = (("base",), ("overlay",), ("base", "overlay"))


def in_sessions(series: Series) -> pd.DataFrame:
    """Patches in full, with the session of their tile and what is planned for it.

    Returns
    -------
    DataFrame
        With session, minutes and heat (a number: the place in `kit.series.HEATS`), missing where
        nothing is planned.
    """
    patches = patches_in_full(series)
    session = patches["tile"].map(series.tiles.set_index("tile")["session"])
    planned = series.sessions.set_index("session").reindex(session).set_index(patches.index)
    heat = planned["heat"].map({word: float(n) for n, word in enumerate(HEATS)})
    return patches.assign(session=session, minutes=planned["minutes"], heat=heat.astype(float))


def planned_patches(plan: Series | pd.DataFrame) -> pd.DataFrame:
    """One row per patch: tile, base, overlay, before_firing and the factors that vary.

    Parameters
    ----------
    plan : Series or DataFrame
        A frame needs tile, base and overlay, as `survey` gives them.

    Raises
    ------
    Misuse
        When there is nothing planned.
    """
    patches = plan if isinstance(plan, pd.DataFrame) else in_sessions(plan)
    patches = patches.reset_index(drop=True)
    missing = {"tile", "base", "overlay"} - set(patches.columns)
    if missing:
        raise Misuse(f"A plan needs the column {' and '.join(sorted(missing))}.")
    if patches.empty:
        raise Misuse("Nothing is planned yet: plan some tiles with patches first.")
    if "before_firing" not in patches:
        patches = patches.assign(before_firing=1)
    return patches


def planned_rows(plan: Series | pd.DataFrame, colours: pd.DataFrame, firings: int) -> pd.DataFrame:
    """One row per patch of one colour over another and firing that it sees.

    Parameters
    ----------
    plan : Series or DataFrame
    colours : DataFrame
        Columns colour and family.
    firings : int
        How often each tile is fired with stencils on it.

    Returns
    -------
    DataFrame
        Columns patch (a number), tile, base, overlay, family_pair, firings and the side factors
        that vary; and session where one of those changes by session.
    """
    patches = over_another(planned_patches(plan)).reset_index(drop=True)
    family = checked_colours(colours).set_index("colour")["family"]
    strangers = sorted({*patches["base"], *patches["overlay"]} - set(family.index))
    if strangers:
        raise Misuse(f"The plan uses {', '.join(strangers)}, which the list of colours lacks.")
    if firings < 1:
        raise Misuse("Tiles are fired at least once.")
    varied = _varied(patches, SIDE_FACTORS)
    if by_session := _varied(patches, SESSION_FACTORS):
        varied += [*by_session, "session"]
    couples = zip(patches["base"].map(family), patches["overlay"].map(family), strict=True)
    named = patches[["tile", "base", "overlay", "before_firing", *varied]].assign(
        patch=np.arange(len(patches)), family_pair=[family_pair(b, o) for b, o in couples]
    )
    rows = named.merge(pd.DataFrame({"firing": range(1, firings + 1)}), how="cross")
    rows = rows[rows["firing"] >= rows["before_firing"]]
    rows = rows.assign(firings=rows["firing"] - rows["before_firing"] + 1)
    if rows.empty:
        raise Misuse(f"No patch goes on before firing {firings}; fire the tiles more often.")
    return rows.drop(columns=["firing", "before_firing"]).reset_index(drop=True)


def _varied(patches: pd.DataFrame, factors: Sequence[str]) -> list[str]:
    return [f for f in factors if f in patches and patches[f].min() < patches[f].max()]


@dataclass(frozen=True, eq=False)
class Forecast:
    """A plan that can be asked what it will tell.

    Parameters
    ----------
    rows : DataFrame
        As from `planned_rows`.
    sds : StandardDeviations
    X : (n, p) array
        Effects: means, then slopes, in the order of `kit.series.FAMILY_PAIRS`, then side factors.
    prior : (p, p) array
        Covariance of the effects beforehand.
    root : (n, n) array
        Lower Cholesky factor of K.
    """

    rows: pd.DataFrame
    sds: StandardDeviations
    X: Floats
    prior: Floats
    root: Floats

    def effects(self, contrasts: Floats) -> Floats:
        """Variance that remains of contrasts of the family effects.

        Parameters
        ----------
        contrasts : (k, 8) array
            Or wider, for the side factors too.

        Returns
        -------
        (k,) array
            In grades².
        """
        a = np.zeros((len(contrasts), len(self.prior)))
        a[:, : contrasts.shape[1]] = contrasts
        return self._beforehand(a) - self._told(a @ self.prior @ self.X.T)

    def from_to(self, factor: str) -> Floats:
        """Contrast of a side factor: from its lowest level to its highest."""
        values = self.rows[factor]
        contrast = np.zeros(len(self.prior))
        place = 2 * len(FAMILY_PAIRS) + _sides(self.rows).index(factor)
        contrast[place] = (values.max() - values.min()) / values.std(ddof=0)
        return contrast

    def pairs(self, pairs: pd.DataFrame, firings: float) -> Floats:
        """Variance that remains of pairs' values after so many firings.

        Parameters
        ----------
        pairs : DataFrame, n rows
            Columns base, overlay, family_pair.

        Returns
        -------
        (n,) array
            In grades².
        """
        a = np.zeros((len(pairs), len(self.prior)))
        a[:, : 2 * len(FAMILY_PAIRS)] = _family_effects(pairs, firings - self.middle)
        before = self._beforehand(a)
        C = a @ self.prior @ self.X.T
        for names, sd in zip(OF_PAIRS, _of_pairs(self.sds), strict=True):
            C += sd**2 * _shared(pairs, self.rows, names)
            before += sd**2
        return before - self._told(C)

    @property
    def middle(self) -> float:
        """The firing count that slopes turn about."""
        return float(self.rows["firings"].mean())

    def _beforehand(self, a: Floats) -> Floats:
        variance: Floats = np.einsum("ij,jk,ik->i", a, self.prior, a)
        return variance

    def _told(self, C: Floats) -> Floats:
        """Diagonal of C K⁻¹ C', for quantities in the rows of C."""
        half = solve_triangular(self.root, C.T, lower=True)
        told: Floats = np.einsum("ij,ij->j", half, half)
        return told


def forecast(
    rows: pd.DataFrame,
    sds: StandardDeviations,
    graders: int,
    learned: Mapping[str, LearnedPrior] | None = None,
) -> Forecast:
    """Solve the model for the rows of a plan, each graded by so many graders.

    What earlier series showed of families and firings takes the place of the weak priors.
    """
    away = rows["firings"].to_numpy(dtype=float)
    effects = [_family_effects(rows, away - away.mean())]
    prior = [sds.family] * len(FAMILY_PAIRS) + [TREND_SD] * len(FAMILY_PAIRS)
    for factor in _sides(rows):
        # What is not known of earlier rounds is put in the middle, where it tells nothing.
        values = rows[factor].fillna(rows[factor].mean()).to_numpy(dtype=float)
        effects.append(((values - values.mean()) / values.std())[:, None])
        prior.append(SIDE_SD)
    X, before = np.hstack(effects), np.diag(np.square(prior))
    families = _learned_families(rows, learned or {})
    if families is not None:
        before[: len(families), : len(families)] = families
    K = X @ before @ X.T + sds.grading**2 / graders * np.eye(len(rows))
    sources = [*zip(OF_PAIRS, _of_pairs(sds), strict=True)]
    sources += [(("tile",), sds.tile), (("patch",), sds.patch)]
    if "session" in rows:
        sources.append((("session",), sds.session))
    for names, sd in sources:
        K += sd**2 * _shared(rows, rows, names)
    return Forecast(rows, sds, X, before, np.linalg.cholesky(K))


def _sides(rows: pd.DataFrame) -> list[str]:
    return [factor for factor in (*SIDE_FACTORS, *SESSION_FACTORS) if factor in rows]


def _learned_families(rows: pd.DataFrame, learned: Mapping[str, LearnedPrior]) -> Floats | None:
    """Covariance of the means and slopes of `FAMILY_PAIRS`, in grades², over the scores.

    None where families or firings of the plan lie outside of what was learned.
    """
    counts = sorted({int(rows["firings"].min()), int(rows["firings"].max())})
    pairs = [(base, overlay) for base in FAMILIES for overlay in FAMILIES]
    asked = pd.DataFrame(pairs, columns=["base_family", "overlay_family"])
    if not learned or len(counts) < 2 or not all(o.covers(asked, counts) for o in learned.values()):
        return None
    low, high = counts
    middle = (rows["firings"].mean() - low) / (high - low)
    of_ends = np.array([[1 - middle, middle], [-1 / (high - low), 1 / (high - low)]])
    back = np.kron(of_ends, np.eye(len(pairs)))
    found = []
    for own in learned.values():
        ends = asked.merge(pd.DataFrame({"firings": counts}), how="cross")
        _, covariance = own.families_after(ends.sort_values("firings", kind="stable"))
        found.append(back @ covariance @ back.T / own.step**2)
    average: Floats = np.mean(found, axis=0)
    return average


def _of_pairs(sds: StandardDeviations) -> tuple[float, float, float]:
    return sds.base, sds.overlay, sds.pair


def _family_effects(rows: pd.DataFrame, away: Floats | float) -> Floats:
    place = {name: i for i, name in enumerate(FAMILY_PAIRS)}
    cell = np.eye(len(FAMILY_PAIRS))[rows["family_pair"].map(place).to_numpy(dtype=np.intp)]
    return np.hstack([cell, cell * np.broadcast_to(away, len(rows))[:, None]])


def _shared(one: pd.DataFrame, other: pd.DataFrame, names: Sequence[str]) -> NDArray[np.bool_]:
    """Which rows of one frame share the named level with which of the other."""
    both = pd.concat([one[list(names)], other[list(names)]], ignore_index=True)
    level = both.groupby(list(names), sort=False).ngroup().to_numpy()
    shared: NDArray[np.bool_] = level[: len(one), None] == level[None, len(one) :]
    return shared
