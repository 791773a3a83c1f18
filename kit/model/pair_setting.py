"""The work that pairs are judged for, and the rule they are judged by."""

from dataclasses import dataclass, fields

from kit.errors import Misuse
from kit.series import Verdict


@dataclass(frozen=True)
class PairSetting:
    """The work that pairs are judged for, and the rule they are judged by.

    Parameters
    ----------
    mesh, base_mesh : int
        Sifters of the overlay and of the base.
    coat_weight, base_coat_weight : float
        mg/cm².
    firings : int
        How often the overlay will have been fired.
    fine_edge_at_most : int
        A fine edge holds when spread and pull-through are both at or below this step.
    breaks_through_from : int or None
        The base breaks through when pull-through is at or above this step; None for the step
        after `fine_edge_at_most`.
    fine_edge_mm, fine_edge_share : float
        The same rule for what photographs measured: a fine edge holds when the mean distance of
        the edge beyond the stencil's line and the share of the core in which the base shows are
        both at or below these; above `fine_edge_share` the base breaks through.
    confidence : float
        Least chance at which a verdict is given; also the chance that the intervals state.
    """

    mesh: int = 100
    coat_weight: float = 40.0
    base_mesh: int = 80
    base_coat_weight: float = 60.0
    firings: int = 3
    fine_edge_at_most: int = 1
    breaks_through_from: int | None = None
    fine_edge_mm: float = 0.5
    fine_edge_share: float = 0.10
    confidence: float = 0.8

    @classmethod
    def of(cls, verdict: Verdict) -> "PairSetting":
        """The setting that a series' settings ask for."""
        names = {f.name for f in fields(cls)} & {f.name for f in fields(verdict)}
        return cls(**{name: getattr(verdict, name) for name in names})

    def __post_init__(self) -> None:
        if not 0.5 < self.confidence < 1:
            raise Misuse(f"confidence must lie above 0.5 and below 1, not {self.confidence}.")
        if self.breaks_from <= self.fine_edge_at_most:
            raise Misuse("breaks_through_from must lie above fine_edge_at_most.")

    @property
    def breaks_from(self) -> int:
        """The step from which the base breaks through."""
        if self.breaks_through_from is None:
            return self.fine_edge_at_most + 1
        return self.breaks_through_from
