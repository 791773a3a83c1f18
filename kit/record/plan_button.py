"""The button of a notebook by which a plan is written into its series."""

from pathlib import Path
from typing import Protocol

import ipywidgets

from kit.errors import DataProblems, Misuse
from kit.record.plan_changes import replanned
from kit.series import Series, read_series
from kit.wording import escape

_BUTTON = ipywidgets.Layout(width="20rem", height="3rem")


class Planned(Protocol):
    """A plan: anything that holds a planned series."""

    @property
    def series(self) -> Series: ...


def plan_saver(folder: Path | str, plan: Planned) -> ipywidgets.Widget:
    """Offer to write a plan into its series, in place of what is not made yet."""
    series = read_series(folder)
    words = "Replace the plan of the series" if len(series.tiles) else "Write this plan"
    button = ipywidgets.Button(description=words, layout=_BUTTON)
    told = ipywidgets.HTML()

    def save(_: ipywidgets.Button) -> None:
        try:
            replanned(folder, plan.series)
        except (Misuse, DataProblems) as problem:
            told.value = _paragraph(str(problem)).value
            return
        button.disabled = True
        said = f"Written. Now print the bench paper: kit sheets {series.name}"
        told.value = _paragraph(said).value

    button.on_click(save)
    return ipywidgets.VBox([button, told])


def _paragraph(text: str) -> ipywidgets.HTML:
    return ipywidgets.HTML(f"<p>{escape(text)}</p>")
