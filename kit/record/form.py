"""The form for a tablet at the bench: large buttons over `Grading`."""

import datetime as dt
from collections.abc import Callable
from html import escape
from pathlib import Path

import ipywidgets as widgets

from kit.errors import DataProblems, Misuse
from kit.record.form_state import Grading
from kit.series import (
    ACCIDENTS,
    DEFERENCE,
    Scale,
    Settings,
    cautions_for,
    patches_in_full,
    positions,
)

_WIDE = widgets.Layout(width="100%", height="auto", min_height="64px", margin="4px 0")
_HALF = widgets.Layout(width="49%", height="auto", min_height="64px", margin="4px 0.5%")
_WRAPPED = "kit-large-button"
_STYLE = f"<style>.{_WRAPPED} {{ white-space: normal; line-height: 1.3; padding: 8px; }}</style>"
_CHOSEN, _OTHER = "#ffd76a", "#eeeeee"


class GradingForm(widgets.VBox):
    """One patch at a time, in the order of the grader; every tap is saved at once.

    Parameters
    ----------
    folder : Path
        Of the series.
    grader : str
    firing : int
    """

    def __init__(self, folder: Path | str, grader: str, firing: int) -> None:
        self.grading = Grading(folder, grader, firing)
        settings = self.grading.series.settings
        self.heading, self.message = widgets.HTML(), widgets.HTML()
        self.scale_buttons = {scale.name: self._buttons(scale) for scale in settings.scales}
        self.note = widgets.Textarea(
            placeholder="Anything seen", continuous_update=False, layout=_WIDE, description="Note"
        )
        self.reason = widgets.Combobox(
            placeholder="Chipped? Mis-sifted?", options=ACCIDENTS, continuous_update=False,
            layout=_WIDE, description="Lost",
        )  # fmt: skip
        self.undo_button = self._button("Undo the last tap", self.grading.undo, _HALF)
        self.next_button = self._button("Next patch", self.grading.forward, _HALF)
        self.back_button = self._button("Patch before", self.grading.back, _HALF)
        self.note.observe(lambda change: self._typed(self.grading.note, change.new), "value")
        self.reason.observe(lambda change: self._typed(self.grading.lost, change.new), "value")
        self._showing = False
        head = [widgets.HTML(_STYLE), self.heading, self.message]
        super().__init__([*head, *self._scale_parts(), *self._rest()])
        self.show()

    def show(self) -> None:
        """Bring the form in line with what is on disk."""
        self._showing = True
        answers = self.grading.answers(self.grading.patch)
        for name, buttons in self.scale_buttons.items():
            for grade, button in enumerate(buttons):
                chosen = answers[name] == grade
                button.style.button_color = _CHOSEN if chosen else _OTHER
                button.style.font_weight = "bold" if chosen else "normal"
        self.note.value = str(answers["note"] or "")
        self.reason.value = self.grading.accident(self.grading.patch)
        self.undo_button.disabled = not self.grading.can_undo
        self.heading.value = self._heading()
        self._showing = False

    def _heading(self) -> str:
        grading = self.grading
        patches = patches_in_full(grading.series).set_index("patch")
        row = patches.loc[grading.patch]
        recipe = "" if grading.series.settings.blind else f"{row['overlay']} over {row['base']}"
        picture = tile_picture(grading.series.settings, int(row["position"]))
        return (
            f"<div style='font-size:20px;line-height:1.4'><b>Tile {int(row['tile'])}, place "
            f"{int(row['position'])}</b> after firing {grading.firing}<br>{escape(recipe)}"
            f"{picture}<br>Patch {grading.place} of {len(grading.patches)}; "
            f"{grading.count_done} done by {escape(grading.grader)}</div>"
        )

    def _scale_parts(self) -> list[widgets.Widget]:
        parts: list[widgets.Widget] = []
        for scale in self.grading.series.settings.scales:
            question = f"<b>{escape(scale.title)}.</b> {escape(scale.question)}"
            parts.append(widgets.HTML(f"<div style='font-size:18px'>{question}</div>"))
            parts += self.scale_buttons[scale.name]
        return parts

    def _rest(self) -> list[widgets.Widget]:
        cautions = "".join(
            f"<li><b>{escape(c.title)}.</b> {escape(c.text)}</li>" for c in cautions_for("grade")
        )
        return [
            self.note,
            self.reason,
            widgets.HBox([self.undo_button, self.next_button]),
            widgets.HBox([self.back_button]),
            widgets.HTML(f"<ul>{cautions}</ul>{escape(DEFERENCE)}"),
        ]

    def _buttons(self, scale: Scale) -> list[widgets.Button]:
        return [
            self._button(f"{grade}   {step}", self._grades(scale.name, grade), _WIDE)
            for grade, step in enumerate(scale.steps)
        ]

    def _grades(self, scale: str, grade: int) -> Callable[[], None]:
        return lambda: self.grading.grade(scale, grade)

    def _button(
        self, text: str, does: Callable[[], None], layout: widgets.Layout
    ) -> widgets.Button:
        button = widgets.Button(description=text, layout=layout, style={"font_size": "18px"})

        button.add_class(_WRAPPED)
        button.on_click(lambda _: self._do(does))
        return button

    def _typed(self, says: Callable[[str], None], text: str) -> None:
        if not self._showing:
            self._do(lambda: says(text))

    def _do(self, does: Callable[[], None]) -> None:
        """Do what was tapped, and say whether it is safely down."""
        try:
            does()
        except (Misuse, DataProblems) as problem:
            self.message.value = f"<b>Not saved.</b> {escape(str(problem))}"
        else:
            self.message.value = f"All is saved, {dt.datetime.now():%H:%M:%S}."
        self.show()


def tile_picture(settings: Settings, position: int, height_px: int = 160) -> str:
    """Draw the tile as SVG with one of its patches filled in.

    Parameters
    ----------
    settings : Settings
    position : int
        The patch to show.
    height_px : int

    Returns
    -------
    str
        An SVG element with its description.
    """
    blank, stencil = settings.blank, settings.stencil
    marks = []
    for place in positions(blank, stencil, settings.patches_per_tile):
        fill = "#222" if place.number == position else "#fff"
        ink = "#fff" if place.number == position else "#222"
        half, high = stencil.size_mm / 2, stencil.height_mm / 2
        marks.append(
            f"<rect x='{place.x_mm - half:.2f}' y='{place.y_mm - high:.2f}' "
            f"width='{2 * half:.2f}' height='{2 * high:.2f}' "
            f"rx='{half if stencil.shape == 'disc' else 0:.2f}' fill='{fill}' stroke='#222'/>"
            f"<text x='{place.x_mm:.2f}' y='{place.y_mm:.2f}' fill='{ink}' "
            f"font-size='{half:.2f}' text-anchor='middle' dominant-baseline='central'>"
            f"{place.number}</text>"
        )
    width, height = blank.width_mm, blank.height_mm
    rounded = width / 2 if blank.shape == "round" else 0
    return (
        f"<svg role='img' aria-label='Place {position} on the tile' height='{height_px}' "
        f"viewBox='-1 -1 {width + 2:g} {height + 2:g}' style='display:block;max-width:100%'>"
        f"<rect width='{width:g}' height='{height:g}' rx='{rounded:g}' fill='#ddd' stroke='#222'/>"
        f"{''.join(marks)}</svg>"
    )
