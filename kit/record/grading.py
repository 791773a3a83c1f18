"""Grading one patch after another: what the form does, without its buttons."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from kit.errors import Misuse
from kit.record.comparison import enter, rows_of, standing
from kit.record.entries import Change, Entry, TableName, Value
from kit.record.worklist import grading_order
from kit.series import NEVER_RIGHT, Series, lost_by_itself_from, nearest, read_series

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
        series = read_series(self.folder)
        self.grader = _known_grader(series, grader)
        self.firing = firing
        self.patches = tuple(grading_order(series, firing, self.grader))
        if not self.patches:
            raise Misuse(f"{series.name} has no patches to grade after firing {firing}.")
        self._take_in(series)
        self.patch = self._next_open(0) or self.patches[-1]
        self._done: list[list[Change]] = []

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
        row = self._rows.get((patch, self.firing, self.grader), {})
        names = [*(scale.name for scale in self.series.settings.scales), "note"]
        return {name: row.get(name) for name in names}

    def is_done(self, patch: str) -> bool:
        """Whether a patch has a grade on every scale, or is lost."""
        graded = self.answers(patch)
        scales = [scale.name for scale in self.series.settings.scales]
        return self.accident(patch) != "" or all(graded[name] is not None for name in scales)

    def accident(self, patch: str) -> str:
        """Why a patch is lost by this firing; blank if it is not."""
        return self._accidents[patch] if self._lost_from[patch] <= self.firing else ""

    def refresh(self) -> None:
        """Read what is on disk by now."""
        self._take_in(read_series(self.folder))

    def go_to(self, patch: str) -> None:
        """Show a patch of this firing.

        Raises
        ------
        Misuse
            When it is not among those to grade.
        """
        if patch not in self.patches:
            raise Misuse(f"Patch {patch} is not among those to grade after firing {self.firing}.")
        self.patch = patch

    def grade(self, scale: str, grade: int) -> None:
        """Grade the patch on one scale; when that was the last thing missing, go on."""
        steps = {scale.name: scale.grades for scale in self.series.settings.scales}
        if grade not in steps.get(scale, ()):
            raise Misuse(f"{grade} is not a step of {scale}.")
        self._say("grades", (self.patch, self.firing, self.grader), {scale: grade})

    def note(self, text: str) -> None:
        """Write a note on the patch; blank takes it back."""
        key = (self.patch, self.firing, self.grader)
        self._say("grades", key, {"note": " ".join(text.split()) or None})

    def lost(self, reason: str) -> None:
        """Say why the patch is lost since this firing, and go on; blank takes it back.

        An accident that was put down at an earlier firing stays there. After a word of
        `NEVER_RIGHT` no firing is kept, for then no grade of the patch counts.
        """
        why = " ".join(reason.split()) or None
        if why is None and not self.accident(self.patch):
            return
        since = None if why is None or why in NEVER_RIGHT else self.firing
        before = self._lost_from[self.patch]
        if since is not None and 0 < before < since:
            since = int(before)
        self._say("patches", (self.patch,), {"accident": why, "lost_at": since})

    def undo(self) -> None:
        """Take back the last answer. What it was stays in corrections.csv."""
        if not self._done:
            raise Misuse("There is nothing to take back.")
        changes = self._done.pop()
        patch = str(changes[0].entry.key[0])
        back = [replace(change.entry, value=change.was) for change in changes]
        self._write(back, f"{_FORM}, taken back")
        self.patch = patch

    def forward(self) -> None:
        """Go to the next patch, if there is one."""
        self.patch = self.patches[min(self.place, len(self.patches) - 1)]

    def back(self) -> None:
        """Go to the patch before, if there is one."""
        self.patch = self.patches[max(self.place - 2, 0)]

    def _say(self, table: TableName, key: tuple[str | int, ...], values: dict[str, Value]) -> None:
        was_done = self.is_done(self.patch)
        series = read_series(self.folder)
        entries = [Entry(table, key, column, value, _FORM) for column, value in values.items()]
        changes = [Change(entry, standing(series, entry)) for entry in entries]
        changes = [change for change in changes if change.was != change.entry.value]
        if changes:
            self._write([change.entry for change in changes], _FORM)
            self._done.append(changes)
        else:
            self._take_in(series)
        if self.is_done(self.patch) and not was_done:
            self.patch = self._next_open(self.place) or self._next_open(0) or self.patch

    def _next_open(self, start: int) -> str | None:
        """Return the first patch from a place on, from 0, that is not done."""
        return next((patch for patch in self.patches[start:] if not self.is_done(patch)), None)

    def _write(self, entries: Sequence[Entry], source: str) -> None:
        self._take_in(enter(self.folder, entries, self.grader, source))

    def _take_in(self, series: Series) -> None:
        self.series = series
        self._rows = rows_of(series, "grades")
        names = series.patches["patch"].astype(str)
        self._accidents = dict(zip(names, series.patches["accident"], strict=True))
        self._lost_from = dict(zip(names, lost_by_itself_from(series.patches), strict=True))


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
