"""How a fitted model prints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from kit.wording import exact_percent

if TYPE_CHECKING:
    from kit.mixed.results import MixedResults


@dataclass(frozen=True, eq=False)
class Summary:
    """A fit's tables with their heading; it prints as text and shows as HTML in a notebook.

    Attributes
    ----------
    title : str
    facts : dict of str to str
    parameters, standard_deviations : DataFrame
    notes : tuple of str
    """

    title: str
    facts: dict[str, str]
    parameters: pd.DataFrame
    standard_deviations: pd.DataFrame
    notes: tuple[str, ...]

    def __str__(self) -> str:
        width = max(map(len, self.facts))
        facts = [f"{name:<{width}}  {value}" for name, value in self.facts.items()]
        tables = [
            table.to_string(float_format="{:.4f}".format)
            for table in (self.parameters, self.standard_deviations)
            if len(table)
        ]
        parts = [self.title, "\n".join(facts), *tables, *self.notes]
        return "\n\n".join(parts)

    __repr__ = __str__

    def _repr_html_(self) -> str:
        facts = "".join(f"<tr><th>{n}</th><td>{v}</td></tr>" for n, v in self.facts.items())
        notes = "".join(f"<p>{note}</p>" for note in self.notes)
        tables = "".join(
            table.to_html(float_format="{:.4f}".format)
            for table in (self.parameters, self.standard_deviations)
            if len(table)
        )
        return f"<h4>{self.title}</h4><table>{facts}</table>{tables}{notes}"


def summarise(
    fitted: MixedResults, title: str, confidence: float, notes: tuple[str, ...]
) -> Summary:
    """Lay a fit's estimates out in tables.

    Parameters
    ----------
    fitted : MixedResults
    title : str
    confidence : float
        Of the intervals.
    notes : tuple of str
        Sentences to close with.
    """
    interval = fitted.conf_int(confidence)
    share = exact_percent(confidence)
    parameters = pd.DataFrame(
        {
            "estimate": fitted.params,
            "standard error": fitted.bse,
            "z": fitted.tvalues,
            "p": fitted.pvalues,
            f"low ({share})": interval["low"],
            f"high ({share})": interval["high"],
        }
    )
    sizes = fitted.group_sizes
    standard_deviations = pd.DataFrame(
        {
            "standard deviation": fitted.random_sd,
            "levels": {name: str(sizes.get(name, "")) for name in fitted.random_sd},
        }
    )
    facts = {
        "model": fitted.formula,
        "rows": str(fitted.nobs),
        "log-likelihood": f"{fitted.llf:.4f}",
        "AIC": f"{fitted.aic:.2f}",
        "BIC": f"{fitted.bic:.2f}",
        "reached the best fit": "yes" if fitted.converged else "NO",
    }
    return Summary(title, facts, parameters, standard_deviations, notes)
