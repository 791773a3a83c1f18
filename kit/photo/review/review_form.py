"""The form for deciding on photographs: one picture at a time, the worst first."""

from pathlib import Path

import ipywidgets as widgets

from kit.photo.photo_series import PHOTOS, Measured, decide, measure_series
from kit.photo.review.contact_sheet import (
    TURNED,
    picture_html,
    seems_turned,
    summary_html,
    worst_first,
)
from kit.photo.review.decisions import Choice, decided, turned_by, turns
from kit.wording import escape

_WIDE = widgets.Layout(width="auto", min_height="52px", margin="4px 6px 4px 0")
_CHOSEN, _OTHER = "#ffd76a", "#eeeeee"
_CSS = (Path(__file__).parent / "contact_sheet.css").read_text("utf-8")
_NO_BUTTONS = "<style>.kit-review button { display: none; }</style>"
_WORDS: dict[Choice, str] = {
    "accept": "Accept",
    "strike out": "Strike out",
    "retake": "Take again",
    "clear": "Undecided",
}


class PhotoReviewForm(widgets.VBox):
    """Pictures of a series to accept, strike out or take again; every tap is saved at once.

    Parameters
    ----------
    folder : Path
        Of the series.
    by : str
        Who decides.
    measured : Measured, optional
        As `measure_series` gave it; measured now when left out.
    """

    def __init__(self, folder: Path, by: str = "", measured: Measured | None = None) -> None:
        self.folder, self.by = folder, by
        self.measured = measured or measure_series(folder)
        self.order = worst_first(self.measured)
        self.place = 0
        self.picture = widgets.HTML()
        self.where = widgets.HTML()
        self.patch = widgets.Dropdown(description="About", layout=widgets.Layout(width="22rem"))
        self.buttons = {choice: self._button(word, choice) for choice, word in _WORDS.items()}
        self.turned = widgets.Button(description=TURNED, layout=_WIDE)
        self.turned.on_click(lambda _: self.choose_turned())
        self.back = widgets.Button(description="Picture before", layout=_WIDE)
        self.next = widgets.Button(description="Next picture", layout=_WIDE)
        self.back.on_click(lambda _: self.move(-1))
        self.next.on_click(lambda _: self.move(1))
        self.patch.observe(lambda _: self._colour(), "value")
        super().__init__(
            [
                widgets.HTML(f"<style>{_CSS}</style>{_NO_BUTTONS}{summary_html(self.measured)}"),
                self.where,
                self.picture,
                self.patch,
                widgets.HBox([*self.buttons.values(), self.turned]),
                widgets.HBox([self.back, self.next]),
            ]
        )
        self.show()

    def show(self) -> None:
        """Show the picture whose turn it is, with what was decided on it."""
        if self.order.empty:
            self.where.value = "There is no picture to decide on."
            return
        row = next(self.order.iloc[[self.place]].itertuples())
        self.where.value = f"<b>Picture {self.place + 1} of {len(self.order)}</b>"
        html = picture_html(self.measured, row, self.folder / PHOTOS)
        self.picture.value = f"<div class='kit-review'>{html}</div>"
        self.patch.options = [("the whole picture", ""), *((p, p) for p in row.spots)]
        self._colour()

    def move(self, step: int) -> None:
        """Go on to another picture."""
        self.place = min(max(self.place + step, 0), max(len(self.order) - 1, 0))
        self.show()

    def choose(self, choice: Choice) -> None:
        """Write a decision on what is shown, and go on when it was about the whole picture."""
        was_turned = self._sha256() in turns(self.measured.decisions)
        decide(self.folder, self._sha256(), choice, self._patch(), self.by)
        self.measured = self.measured.as_decided(self.folder)
        if was_turned and self._sha256() not in turns(self.measured.decisions):
            self._measure_again()
        elif self._patch() or choice == "clear":
            self._colour()
        else:
            self.move(1)

    def choose_turned(self) -> None:
        """Write that the tile lies turned as it seems to, and measure its picture as it lies."""
        degrees, *_ = seems_turned(self.measured, self._sha256())
        decide(self.folder, self._sha256(), turned_by(degrees), by=self.by)
        self._measure_again()

    def _measure_again(self) -> None:
        sha256 = self._sha256()
        self.measured = measure_series(self.folder)
        self.order = worst_first(self.measured)
        self.place = self.order["picture_sha256"].tolist().index(sha256)
        self.show()

    def _patch(self) -> str:
        """The patch that is decided on; blank for the whole picture, as when none is chosen yet."""
        return self.patch.value or ""

    def _sha256(self) -> str:
        return str(self.order["picture_sha256"].iloc[self.place])

    def _colour(self) -> None:
        if self.order.empty:
            return
        said = decided(self.measured.decisions).get((self._sha256(), self._patch()), "clear")
        for choice, button in self.buttons.items():
            button.style.button_color = _CHOSEN if choice == said else _OTHER
        asked = seems_turned(self.measured, self._sha256())
        self.turned.layout.display = None if asked and not self._patch() else "none"
        turned = self._sha256() in turns(self.measured.decisions)
        self.turned.style.button_color = _CHOSEN if turned else _OTHER

    def _button(self, word: str, choice: Choice) -> widgets.Button:
        button = widgets.Button(description=escape(word), layout=_WIDE)
        button.on_click(lambda _: self.choose(choice))
        return button
