"""How much the sources of variation are thought to differ, before anything is fired."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

from kit.errors import Misuse
from kit.model import LearnedPrior
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
