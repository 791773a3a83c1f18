"""Every error and warning that the kit raises on purpose.

Two errors reach a person: `Misuse`, when what was asked for cannot be done, and `DataProblems`,
when a file says something that cannot be right. Both carry finished sentences. The warnings are
named for what went wrong statistically.
"""

from collections.abc import Sequence
from dataclasses import dataclass


class _Told:
    """An error that a notebook shows as its message alone: what is wrong is not in the code."""

    def _render_traceback_(self) -> list[str]:
        return [str(self)]


class Misuse(_Told, ValueError):
    """A request that cannot be met. The message says what would work instead."""


class ChangedMeanwhile(Misuse):
    """The files on disk are no longer the ones that a change was made from."""


_MOST_SHOWN = 200


@dataclass(frozen=True, order=True)
class Problem:
    """One thing that is wrong in one place.

    Parameters
    ----------
    file : str
        File name inside the series folder.
    row : int or None
        Row as a spreadsheet numbers it (the heading is row 1), or line of a text file; None for
        the file as a whole.
    column : str
        Column heading or key; blank for the row or file as a whole.
    wrong, fix : str
        What is wrong and what would be right, each a full sentence.
    """

    file: str
    row: int | None
    column: str
    wrong: str
    fix: str

    def __str__(self) -> str:
        place = [self.file]
        if self.row is not None:
            place.append(f"{'line' if self._is_text else 'row'} {self.row}")
        if self.column:
            place.append(self.column if self._is_text else f"column {self.column}")
        return f"{', '.join(place)}: {self.wrong} {self.fix}".rstrip()

    @property
    def _is_text(self) -> bool:
        """Whether the file has lines and keys, not rows and columns."""
        return self.file.endswith((".toml", ".log"))


class DataProblems(_Told, ValueError):
    """All the problems found in a set of files, at once.

    Attributes
    ----------
    problems : tuple of Problem
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        count = len(self.problems)
        heading = f"{count} problem{'s' if count != 1 else ''} found. Nothing was changed."
        shown = [str(problem) for problem in self.problems[:_MOST_SHOWN]]
        if count > _MOST_SHOWN:
            shown.append(f"... and {count - _MOST_SHOWN} more.")
        super().__init__("\n".join([heading, *shown]))


class NotebookFailed(RuntimeError):
    """A cell of a notebook failed.

    Parameters
    ----------
    notebook, part : str
        File name, and the heading that the cell stands under.
    kind, message : str
        The error as Python names it, and what it said.
    kept : str
        Where the notebook was kept as far as it came; blank if it was not.
    """

    def __init__(self, notebook: str, part: str, kind: str, message: str, kept: str = "") -> None:
        super().__init__(
            f"{notebook} stopped under '{part}': {message or kind} ({kind})."
            + (f" It is kept, as far as it came, at {kept}." if kept else "")
        )
        self.notebook, self.part, self.kind, self.message = notebook, part, kind, message

    def kept_at(self, path: object) -> "NotebookFailed":
        """Return the same failure, saying where the notebook was kept."""
        return NotebookFailed(self.notebook, self.part, self.kind, self.message, str(path))


class StatisticalWarning(UserWarning):
    """A fit is usable, but something about it must be said aloud."""


class SeparationWarning(StatisticalWarning):
    """A factor splits the grades perfectly, so its effect has no finite estimate."""


class EmptyGradeWarning(StatisticalWarning):
    """A step of the scale was never used, so its threshold cannot be estimated."""


class BoundaryVarianceWarning(StatisticalWarning):
    """A source of variation was estimated at zero."""


class NotConvergedWarning(StatisticalWarning):
    """The search stopped before it reached the best fit."""


class FewGradersWarning(StatisticalWarning):
    """Too few graders, or grades in common, to say how well they agree."""


class AliasedEffectWarning(StatisticalWarning):
    """Two or more effects cannot be told apart with these data."""


class ExtrapolationWarning(StatisticalWarning):
    """Something was foretold that lies outside what was fired."""


class ConstantGraderWarning(StatisticalWarning):
    """A grader gave the same grade throughout, so agreement with that grader cannot be seen."""
