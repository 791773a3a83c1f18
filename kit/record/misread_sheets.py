"""Whether a sheet of grades makes more sense read in another way than as it stands.

What each patch is expected to be given comes from the standard model, fitted to all that is on
record but the sheet itself. The sheet as it stands is then weighed against what it would be had a
row slipped, a tile or every tile been held the other way round, a scale been taken the other way
round, the two scores been exchanged, or another grader filled it in: by how much the grades are
likelier then. How strict the grader is counts neither for nor against a reading.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.model import ExpectedGrades, ScaleFit, fit_observations
from kit.series import Scale

STANDS_OUT = 3.0
"""Log-likelihood by which another reading must beat the sheet as it stands to be asked about. Set
by tests/benchmarks/bench_second_thoughts.py, so that good sheets are hardly ever doubted."""

RARE = 4.0
"""What a rarer mistake must bring beyond that: a scale taken the other way round or exchanged with
another, which would show far more plainly, and another grader, who may grade much alike."""

FEWEST_ON_RECORD = 12
"""Grades of a scale on record below which nothing is expected of it."""

_SHIFTS = np.linspace(-4, 4, 17)
"""How much lower than expected a grader may see everything, in logits."""
_SHIFT_SD = 1.5

Numbers = np.ndarray


@dataclass(frozen=True)
class OtherReading:
    """Another way to read a sheet.

    Parameters
    ----------
    gain : float
        Log-likelihood over the sheet as it stands, less what such a reading must bring more than
        others to be asked about.
    question : str
        What is asked, after "The grades by Ada after firing 2".
    tile : str or None
        The one tile that is read otherwise.
    """

    gain: float
    question: str
    tile: str | None = None


def other_readings(
    record: pd.DataFrame, sheet: pd.DataFrame, scales: Sequence[Scale], last: pd.Series
) -> list[OtherReading]:
    """Find the other ways to read a sheet that stand out, the likeliest first.

    Parameters
    ----------
    record : DataFrame
        All other grades, as `kit.series.observations` gives them.
    sheet : DataFrame
        One grader's grades after one firing, in the order that they were typed, likewise.
    scales : sequence of Scale
    last : Series
        How many places each tile has, by tile.

    Returns
    -------
    list of OtherReading
        Of several tiles each, where single tiles stand out most; otherwise at most one.
    """
    own = _Sheet.of(record, sheet, scales)
    if own is None:
        return []
    found = [
        *own.slipped(),
        *own.turned(last),
        *own.other_way_round(),
        *own.exchanged(),
        *own.of_others(record),
    ]
    found = sorted((r for r in found if r.gain > STANDS_OUT), key=lambda r: -r.gain)
    if found and found[0].tile is not None:
        return [reading for reading in found if reading.tile is not None]
    return found[:1]


class _Sheet:
    """A sheet's grades by scale, and the log chance of every grade of every row."""

    def __init__(
        self, rows: pd.DataFrame, fits: Mapping[str, ScaleFit], scales: Sequence[Scale]
    ) -> None:
        self.rows, self.fits = rows, fits
        self.scales = [scale for scale in scales if scale.name in fits]
        self.grades = [rows[s.name].fillna(-1).to_numpy(dtype=int) for s in self.scales]
        expected = [ExpectedGrades.of(fits[s.name], rows) for s in self.scales]
        self.logs = [
            np.stack([each.milder_by(shift).log_chance() for shift in _SHIFTS]) for each in expected
        ]
        self.own = self._cells(np.arange(len(rows)))

    @classmethod
    def of(
        cls, record: pd.DataFrame, sheet: pd.DataFrame, scales: Sequence[Scale]
    ) -> "_Sheet | None":
        fits = {}
        for scale in scales:
            if (
                record[scale.name].notna().sum() < FEWEST_ON_RECORD
                or sheet[scale.name].isna().all()
            ):
                continue
            try:
                fits[scale.name] = fit_observations(record, scale.name, steps=scale.grades)
            except (Misuse, ArithmeticError, np.linalg.LinAlgError):
                continue
        return cls(sheet.reset_index(drop=True), fits, scales) if fits and len(sheet) else None

    def _cells(self, giver: Numbers, grades: Sequence[Numbers] | None = None) -> Numbers:
        """Log chance at each row of the grades given in another, (shifts, rows); 0 where none."""
        told = np.zeros((len(_SHIFTS), len(self.rows)))
        for logs, given in zip(self.logs, grades or self.grades, strict=True):
            grade = np.where(giver >= 0, given[giver], -1)
            rows = np.flatnonzero(grade >= 0)
            told[:, rows] += logs[:, rows, grade[rows]]
        return told

    def slipped(self) -> Iterator[OtherReading]:
        """Grades from some row on belong one row higher, or one lower."""
        count = len(self.rows)
        if count < 3:
            return
        patches = self.rows["patch"]
        at = np.arange(count)
        head = _sums_before(self.own)
        whole = self.own.sum(axis=1, keepdims=True)
        # One higher: row i has what was typed in row i + 1; what was typed in the first is spare.
        moved = self._cells(np.append(at[1:], -1))
        gains = _best(head + _sums_from(moved)) - _best(whole - self.own)
        start = int(gains[:-1].argmax())
        patch = patches.iloc[start + 1]
        yield OtherReading(
            float(gains[start]) - np.log(count),
            f"fit better one row higher, from about patch {patch} on. Did a row slip?",
        )
        # One lower: row i has what was typed in row i - 1; what was typed in the last is spare.
        moved = self._cells(np.append(-1, at[:-1]))
        gains = _best(head + _sums_from(moved) - moved) - _best(whole - self.own[:, -1:])
        start = int(gains[:-1].argmax())
        yield OtherReading(
            float(gains[start]) - np.log(count),
            f"fit better one row lower, from about patch {patches.iloc[start]} on. Did a row slip?",
        )

    def turned(self, last: pd.Series) -> Iterator[OtherReading]:
        """A tile, or every tile, was held the other way round."""
        rows = self.rows
        tile, position = rows["tile"], rows["position"]
        places = pd.MultiIndex.from_arrays([tile, position])
        opposite = pd.MultiIndex.from_arrays([tile, tile.map(last) - position + 1])
        giver = places.get_indexer(opposite) if places.is_unique else np.full(len(rows), -1)
        both = giver >= 0
        moved = np.where(both, self._cells(giver), self.own)
        yield OtherReading(
            self._gain(moved),
            "fit better with every tile turned round. Were they held upside down?",
        )
        for number in tile.unique():
            here = np.where((tile == number).to_numpy(), moved, self.own)
            question = (
                f"on tile {number} fit better with the tile turned round. Was it held upside down?"
            )
            yield OtherReading(self._gain(here) - np.log(tile.nunique()), question, str(number))

    def other_way_round(self) -> Iterator[OtherReading]:
        """A scale was taken the other way round."""
        at = np.arange(len(self.rows))
        for n, scale in enumerate(self.scales):
            most = len(scale.steps) - 1
            grades = [np.where(g >= 0, most - g, -1) if k == n else g
                      for k, g in enumerate(self.grades)]  # fmt: skip
            yield OtherReading(
                self._gain(self._cells(at, grades)) - RARE,
                f"run the other way round for {scale.title}: high where low is expected. "
                "Was 0 taken for the worst?",
            )

    def exchanged(self) -> Iterator[OtherReading]:
        """The two scores stand in each other's columns."""
        if len(self.scales) == 2:
            moved = self._cells(np.arange(len(self.rows)), self.grades[::-1])
            one, other = (scale.title for scale in self.scales)
            yield OtherReading(
                self._gain(moved) - RARE,
                f"fit better with {one} and {other} exchanged. Were two columns mixed up?",
            )

    def of_others(self, record: pd.DataFrame) -> Iterator[OtherReading]:
        """Another grader filled the sheet in."""
        graded = record["grader"].value_counts()
        grader = self.rows["grader"].iloc[0]
        if graded.get(grader, 0) < FEWEST_ON_RECORD:
            return
        as_given = self._told_by(grader)
        # Only beside grades of the same firing is a grader told from what that firing did.
        there = record.loc[record["firing"] == self.rows["firing"].iloc[0], "grader"]
        others = there.value_counts().drop(grader, errors="ignore")
        for other in others.index[others >= FEWEST_ON_RECORD]:
            yield OtherReading(
                self._told_by(str(other)) - as_given - RARE,
                f"look more like those that {other} gives. Were two graders' files swapped?",
            )

    def _told_by(self, grader: str) -> float:
        rows = self.rows.assign(grader=grader)
        told = 0.0
        for scale, given in zip(self.scales, self.grades, strict=True):
            graded = given >= 0
            expected = ExpectedGrades.of(self.fits[scale.name], rows[graded])
            told += expected.told(given[graded])
        return told

    def _gain(self, moved: Numbers) -> float:
        whole = (each.sum(axis=1, keepdims=True) for each in (moved, self.own))
        other, as_is = map(_best, whole)
        return float((other - as_is)[0])


def _best(told: Numbers) -> Numbers:
    """The likeliest shift of the grader, column by column."""
    best: Numbers = (told - (_SHIFTS[:, None] / _SHIFT_SD) ** 2 / 2).max(axis=0)
    return best


def _sums_before(cells: Numbers) -> Numbers:
    before: Numbers = np.cumsum(cells, axis=1) - cells
    return before


def _sums_from(cells: Numbers) -> Numbers:
    onwards: Numbers = cells.sum(axis=1, keepdims=True) - _sums_before(cells)
    return onwards
