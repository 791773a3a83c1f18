"""Grading one patch after another: the form's logic, without its buttons."""

from dataclasses import replace
from pathlib import Path

import pandas as pd

from kit.errors import Misuse
from kit.record.comparison import enter, standing
from kit.record.entries import Change, Entry, TableName, Value
from kit.record.worklist import grading_order
from kit.series import Series, nearest, read_series

_FORM = "form"


class Grading:
    """One grader going through the patches of one firing.

    Every answer is on disk before the method that took it returns, so that the place where one
    stopped is found again by what is there.

    Parameters
    ----------
    folder : Path
        Of the series.
    grader : str
    firing : int
        Firing of the tiles that is graded.

    Raises
    ------
    Misuse
        When the series does not know the grader or has nothing to grade after that firing.
    """

    def __init__(self, folder: Path | str, grader: str, firing: int) -> None:
        self.folder = Path(folder)
        self.series: Series = read_series(self.folder)
        self.grader = _known_grader(self.series, grader)
        self.firing = firing
        self.patches = tuple(grading_order(self.series, firing, self.grader))
        if not self.patches:
            raise Misuse(f"{self.series.name} has no patches to grade after firing {firing}.")
        self.patch = next((p for p in self.patches if not self.is_done(p)), self.patches[-1])
        self._done: list[Change] = []

    @property
    def place(self) -> int:
        """Place of the patch in the order, from 1."""
        return self.patches.index(self.patch) + 1

    @property
    def count_done(self) -> int:
        """How many patches have a grade on every scale, or are lost."""
        return sum(map(self.is_done, self.patches))

    @property
    def can_undo(self) -> bool:
        return bool(self._done)

    def answers(self, patch: str) -> dict[str, Value]:
        """Return what this grader has said about a patch: a value for each scale, and the note."""
        names = [*(scale.name for scale in self.series.settings.scales), "note"]
        grades = self.series.grades
        mine = grades[
            (grades["patch"] == patch)
            & (grades["firing"] == self.firing)
            & (grades["grader"] == self.grader)
        ]
        if mine.empty:
            return dict.fromkeys(names)
        row = mine.astype(object).iloc[0]
        return {n: None if pd.isna(row[n]) or row[n] == "" else row[n] for n in names}

    def is_done(self, patch: str) -> bool:
        """Whether a patch has a grade on every scale, or is lost."""
        graded = self.answers(patch)
        scales = [scale.name for scale in self.series.settings.scales]
        return self.accident(patch) != "" or all(graded[name] is not None for name in scales)

    def accident(self, patch: str) -> str:
        """Why a patch is lost; blank if it is not."""
        return str(self.series.patches.set_index("patch").at[patch, "accident"])

    def grade(self, scale: str, grade: int) -> None:
        """Grade the patch on one scale."""
        if grade not in self.series.settings.scale(scale).grades:
            raise Misuse(f"{grade} is not a step of {scale}.")
        self._say("grades", (self.patch, self.firing, self.grader), scale, grade)

    def note(self, text: str) -> None:
        """Write a note on the patch; blank takes it back."""
        key = (self.patch, self.firing, self.grader)
        self._say("grades", key, "note", " ".join(text.split()) or None)

    def lost(self, reason: str) -> None:
        """Say why the patch is lost; blank takes it back."""
        self._say("patches", (self.patch,), "accident", " ".join(reason.split()) or None)

    def undo(self) -> None:
        """Take back the last answer. What it was stays in corrections.csv."""
        if not self._done:
            raise Misuse("There is nothing to take back.")
        change = self._done.pop()
        patch = str(change.entry.key[0])
        self._write(replace(change.entry, value=change.was), f"{_FORM}, taken back")
        self.patch = patch

    def forward(self) -> None:
        """Go to the next patch, if there is one."""
        self.patch = self.patches[min(self.place, len(self.patches) - 1)]

    def back(self) -> None:
        """Go to the patch before, if there is one."""
        self.patch = self.patches[max(self.place - 2, 0)]

    def _say(self, table: TableName, key: tuple[str | int, ...], column: str, value: Value) -> None:
        entry = Entry(table, key, column, value, _FORM)
        self.series = read_series(self.folder)
        was = standing(self.series, entry)
        if was != value:
            self._write(entry, _FORM)
            self._done.append(Change(entry, was))

    def _write(self, entry: Entry, source: str) -> None:
        self.series = enter(self.folder, [entry], self.grader, source)


def _known_grader(series: Series, name: str) -> str:
    name = " ".join(name.split())
    graders = series.settings.graders
    if not name:
        raise Misuse("Say who grades.")
    if graders and name not in graders:
        raise Misuse(
            f"'{name}' is not among the graders of {series.name}: {', '.join(graders)}. Add the "
            f"name to graders in series.toml, or choose one of them.{nearest(name, graders)}"
        )
    return name
