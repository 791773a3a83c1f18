"""How a fitted model prints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from kit.mixed.joint import JointMixedModel
    from kit.mixed.linear import LinearMixedModel
    from kit.mixed.ordinal import OrdinalMixedModel
    from kit.mixed.results import MixedResults


@dataclass(frozen=True, eq=False)
class Summary:
    """A fit's tables with their heading; it prints as text and shows as HTML in a notebook.

    Attributes
    ----------
    title : str
    facts : dict of str to str
    parameters, spreads : DataFrame
    notes : tuple of str
    """

    title: str
    facts: dict[str, str]
    parameters: pd.DataFrame
    spreads: pd.DataFrame
    notes: tuple[str, ...]

    def __str__(self) -> str:
        width = max(map(len, self.facts))
        facts = [f"{name:<{width}}  {value}" for name, value in self.facts.items()]
        tables = [self.parameters.to_string(float_format="{:.4f}".format)]
        if len(self.spreads):
            tables.append(self.spreads.to_string(float_format="{:.4f}".format))
        parts = [self.title, "\n".join(facts), *tables, *self.notes]
        return "\n\n".join(parts)

    __repr__ = __str__

    def _repr_html_(self) -> str:
        facts = "".join(f"<tr><th>{n}</th><td>{v}</td></tr>" for n, v in self.facts.items())
        notes = "".join(f"<p>{note}</p>" for note in self.notes)
        tables = self.parameters.to_html(float_format="{:.4f}".format)
        tables += self.spreads.to_html(float_format="{:.4f}".format) if len(self.spreads) else ""
        return f"<h4>{self.title}</h4><table>{facts}</table>{tables}{notes}"


def model_line(model: OrdinalMixedModel | LinearMixedModel | JointMixedModel) -> str:
    """A model in one line."""
    terms = ", ".join(term.name for term in model.terms) or "no groups"
    return f"<{type(model).__name__}: {model.formula} by {terms}; {model.nobs} rows>"


def one_line(fitted: MixedResults) -> str:
    """A fit in one line: what was fitted to what, and how well."""
    terms = ", ".join(fitted.group_sizes) or "no groups"
    reached = "" if fitted.converged else "; the best fit was NOT reached"
    return (
        f"<{type(fitted).__name__}: {fitted.formula} by {terms}; {fitted.nobs} rows, "
        f"log-likelihood {fitted.llf:.2f}{reached}>"
    )


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
    share = f"{100 * confidence:g} %"
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
    spreads = pd.DataFrame(
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
    return Summary(title, facts, parameters, spreads, notes)
