"""Small forms of the notebooks that write into a series: a plan by a tap, and who grades what."""

from dataclasses import replace
from html import escape
from pathlib import Path

import ipywidgets as widgets
import pandas as pd

from kit.errors import DataProblems, Misuse
from kit.record.form import GradingForm
from kit.series import read_series
from kit.wording import counted

_WIDE = widgets.Layout(width="20rem")
_BUTTON = widgets.Layout(width="20rem", height="3rem")


def plan_saver(folder: Path | str, tiles: pd.DataFrame, patches: pd.DataFrame) -> widgets.Widget:
    """Offer to write a plan into its series; a series that has tiles keeps them.

    Parameters
    ----------
    folder : Path
        Of the series.
    tiles, patches : DataFrame
        Of the plan.
    """
    series = read_series(folder)
    if len(series.tiles):
        return _said(
            f"{series.name} has its {counted(len(series.tiles), 'tile')} already. Nothing is "
            "written over: start a new series to use this plan."
        )
    button = widgets.Button(description="Write this plan into the series", layout=_BUTTON)
    told = widgets.HTML()

    def save(_: widgets.Button) -> None:
        try:
            replace(series, tiles=tiles, patches=patches).write(folder)
        except (Misuse, DataProblems) as problem:
            told.value = _paragraph(str(problem))
            return
        button.disabled = True
        told.value = _paragraph(f"Written. Now print the bench paper: kit sheets {series.name}")

    button.on_click(save)
    return widgets.VBox([button, told])


def grading_picker(folder: Path | str) -> widgets.Widget:
    """Pick who grades, and after which firing; then grade patch by patch."""
    series = read_series(folder)
    names = series.settings.graders or tuple(sorted(set(series.grades["grader"]))) or ("me",)
    firings = sorted(set(series.firings["firing"]) - {0}) or [1]
    grader = widgets.Combobox(
        options=names, value=names[0], description="Grader", continuous_update=False, layout=_WIDE
    )
    firing = widgets.Dropdown(options=firings, description="Firing", layout=_WIDE)
    place = widgets.VBox()

    def show(_: object = None) -> None:
        try:
            place.children = (GradingForm(folder, grader.value, int(firing.value)),)
        except (Misuse, DataProblems) as problem:
            place.children = (_said(str(problem)),)

    grader.observe(show, "value")
    firing.observe(show, "value")
    show()
    return widgets.VBox([widgets.HBox([grader, firing]), place])


def _said(text: str) -> widgets.Widget:
    return widgets.HTML(_paragraph(text))


def _paragraph(text: str) -> str:
    return f"<p>{escape(text)}</p>"
