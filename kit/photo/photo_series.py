"""The photographs of a series measured, and the table of measurements brought up to date."""

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from kit.errors import Misuse
from kit.photo.photo_folder import DECISIONS, FolderResult, measure_folder
from kit.photo.review.decisions import (
    Decision,
    add_decisions,
    decided,
    read_decisions,
    turns,
    typed_decisions,
    with_accepted,
)
from kit.photo.tile_plan import photo_plan
from kit.series import MEASURES, Series, inside, patches_in_full, read_series

PHOTOS = "photos"
_DECIMALS = 4
_QUALITIES = ("good", "fair", "poor", "not measured")

WORST_FIRST = ("retake", "refused", "asked about", "not measured", "poor", "fair", "good")
MISSING = "missing"


@dataclass(frozen=True, eq=False)
class Measured:
    """A series with its measurements, and everything to be reviewed about its photographs.

    Parameters
    ----------
    series : Series
    found : FolderResult
    decisions : tuple of Decision
        In the order in which they were made.
    withdrawn : dict of str to int
        Pictures that were there and are gone, and how many of their measurements went with them.
    """

    series: Series
    found: FolderResult
    decisions: tuple[Decision, ...]
    withdrawn: dict[str, int]

    @property
    def unmeasured(self) -> pd.DataFrame:
        """The pictures that could not be measured: picture, picture_sha256, reason."""
        return self.found.unmeasured

    @property
    def states(self) -> pd.Series:
        """One word on each picture, by its fingerprint."""
        counts = decided(self.decisions)
        return picture_states(self.found.pictures, self.series.measurements, counts)

    @property
    def grid(self) -> pd.DataFrame:
        """Tiles against firings: how good the best picture is, and what is missing."""
        patches = patches_in_full(self.series)
        due = self.series.firings[["tile", "firing"]].merge(
            patches[["tile", "before_firing", "lost_from"]], on="tile"
        )
        due = due[(due["firing"] >= due["before_firing"]) & (due["firing"] < due["lost_from"])]
        return firing_grid(due, self.found.pictures, self.states)

    def as_decided(self, folder: Path) -> "Measured":
        """The same with the decisions that stand in the series' folder now."""
        decisions = read_decisions(inside(folder, PHOTOS) / DECISIONS)
        table = with_accepted(self.series.measurements, decisions)
        return replace(
            self, series=replace(self.series, measurements=table), decisions=tuple(decisions)
        )

    def retakes(self) -> list[str]:
        """What to photograph again or for the first time, and why, each in a sentence."""
        states, counts = self.states, decided(self.decisions)
        grid = self.grid
        told = []
        for row in self.found.pictures.itertuples():
            state = states.get(row.picture_sha256, "refused")
            name = _whose(row.tile, row.firing)
            if state == "retake":
                told.append(f"{row.picture}{name}: asked for.")
            elif state == "refused" and counts.get((row.picture_sha256, "")) != "strike out":
                told.append(f"{row.picture}{name}: {row.reason}")
        told += [
            f"{row.picture}: {row.reason}"
            for row in self.unmeasured.itertuples()
            if row.picture not in set(self.found.pictures["picture"])
        ]
        lacking: dict[tuple[str, ...], list[str]] = {}
        for tile, cells in grid.iterrows():
            firings = tuple(str(firing) for firing, state in cells.items() if state == MISSING)
            lacking.setdefault(firings, []).append(str(tile))
        told += [
            f"No picture of tile {', '.join(tiles)} after firing {', '.join(firings)}."
            for firings, tiles in lacking.items()
            if firings
        ]
        return told

    def describe(self) -> str:
        """Say how much was measured and how well, what is asked, and what to take again."""
        table, pictures = self.series.measurements, self.found.pictures
        counts = table["quality"].value_counts()
        shares = ", ".join(f"{counts.get(quality, 0)} {quality}" for quality in _QUALITIES)
        refused = len(self.unmeasured)
        told = [
            f"{pictures['picture'].nunique() - (pictures['reason'] != '').sum()} pictures gave "
            f"{len(table)} measurements of {table['patch'].nunique()} patches: {shares}. "
            f"{refused} picture{'' if refused == 1 else 's'} refused."
        ]
        told += [
            f"{name} is the same picture as {kept}." for name, kept in self.found.copies.items()
        ]
        told += [
            f"{name} is gone: its {count} measurements are withdrawn. What was decided on them is "
            "kept, should it come back."
            for name, count in self.withdrawn.items()
        ]
        told += self.found.notes
        turned = turns(self.decisions)
        here = pictures[pictures["picture_sha256"].isin(list(turned))]
        told += [
            f"In {row.picture} the tile lies turned, as was decided: it was measured as it lies."
            for row in here.itertuples()
        ]
        told += _under("Asked about, and not counted until you accept:", self._open_questions())
        told += _under("To photograph:", self.retakes())
        return "\n".join(told)

    def _open_questions(self) -> list[str]:
        counts = decided(self.decisions)
        names = self.found.pictures.drop_duplicates("picture_sha256")
        named = dict(zip(names["picture_sha256"], names["picture"], strict=True))
        asked: dict[str, list[str]] = {}
        for question in self.found.questions:
            if not any((sha, "") in counts for sha in question.pictures):
                asked.setdefault(question.words, []).extend(named[s] for s in question.pictures)
        return [
            words if all(name in words for name in about) else f"{', '.join(about)}: {words}"
            for words, about in asked.items()
        ]


def measure_series(folder: Path, progress: Callable[[str], None] | None = None) -> Measured:
    """Measure the pictures in a series' photos/ and write measurements.csv.

    Pictures that were measured before are not measured again. What a person decided is kept by the
    pictures' content: renaming, moving and copying lose nothing. Measurements of pictures that are
    gone are withdrawn.

    Parameters
    ----------
    folder : Path
        Of the series.
    progress : callable, optional

    Raises
    ------
    Misuse
        When there is no folder of photos with a picture in it, or nothing is planned.
    DataProblems
        When the series has problems.
    """
    series = read_series(folder)
    if series.patches.empty:
        raise Misuse(f"{series.name} is not planned yet, so there is nothing to measure.")
    photos = inside(folder, PHOTOS)
    if not photos.is_dir():
        raise Misuse(f"There is no folder {photos}. Make it and put the photographs there.")
    before = series.measurements
    said = read_decisions(photos / DECISIONS)
    accepted = [sha for (sha, patch), c in decided(said).items() if c == "accept" and not patch]
    turned = dict.fromkeys(accepted, 0.0) | turns(said)
    found = measure_folder(photos, photo_plan(series), progress=progress, turned=turned)
    if found.pictures.empty and len(before):
        raise Misuse(
            f"There is no picture in {photos}, but measurements of {before['picture'].nunique()} "
            "pictures. Put the pictures back, or delete measurements.csv. Nothing was changed."
        )
    decisions = _with_typed(photos / DECISIONS, before)
    table = with_accepted(_rounded(found.measurements), decisions)
    here = set(found.pictures["picture_sha256"])
    gone = before[~before["picture_sha256"].isin(here)]
    measured = replace(series, measurements=table)
    measured.write(folder)
    withdrawn = {str(name): len(rows) for name, rows in gone.groupby("picture")}
    return Measured(measured, found, tuple(decisions), withdrawn)


def decide(folder: Path, picture_sha256: str, choice: str, patch: str = "", by: str = "") -> None:
    """Write what a person decided on a picture, or on one patch in it.

    Parameters
    ----------
    folder : Path
        Of the series.
    picture_sha256 : str
        Fingerprint of the picture, as measurements.csv has it.
    choice : str
        As `Decision` has it.
    patch : str
        Blank for the picture as a whole.
    by : str
        Who decides.
    """
    enter_decisions(folder, [Decision(picture_sha256, patch, choice, by, _now())])


def enter_decisions(folder: Path, new: Sequence[Decision]) -> None:
    """Write decisions and bring the column `accepted` of measurements.csv up to date."""
    series = read_series(folder)
    path = inside(folder, PHOTOS) / DECISIONS
    _with_typed(path, series.measurements)
    names = series.measurements.drop_duplicates("picture_sha256").set_index("picture_sha256")
    stamped = [
        replace(d, at=d.at or _now(), picture=d.picture or _name(names, d.picture_sha256))
        for d in new
    ]
    add_decisions(path, stamped)
    table = with_accepted(series.measurements, read_decisions(path))
    replace(series, measurements=table).write(folder)


def _with_typed(path: Path, table: pd.DataFrame) -> list[Decision]:
    """Read the decisions, those first written down that a person typed in measurements.csv."""
    decisions = read_decisions(path)
    typed = typed_decisions(table, decisions, _now())
    if typed:
        add_decisions(path, typed)
    return [*decisions, *typed]


def _name(names: pd.DataFrame, picture_sha256: str) -> str:
    return str(names.at[picture_sha256, "picture"]) if picture_sha256 in names.index else ""


def _now() -> str:
    return dt.datetime.now().astimezone().isoformat(timespec="seconds")


def _whose(tile: float | None, firing: float | None) -> str:
    if tile is None or firing is None or pd.isna(tile) or pd.isna(firing):
        return ""
    return f" (tile {tile:.0f} after firing {firing:.0f})"


def _under(heading: str, lines: list[str]) -> list[str]:
    return [heading, *(f"  {line}" for line in lines)] if lines else []


def _rounded(table: pd.DataFrame) -> pd.DataFrame:
    columns = [c for name in MEASURES for c in (name, f"{name}_se")]
    return table.assign(**table[columns].round(_DECIMALS))


def picture_states(
    pictures: pd.DataFrame, measurements: pd.DataFrame, decisions: Mapping[tuple[str, str], str]
) -> pd.Series:
    """Give each picture one word, by its fingerprint: the worst that can be said of it.

    Parameters
    ----------
    pictures : DataFrame
        picture_sha256 and reason of each.
    measurements : DataFrame
        With quality, and accepted as decided.
    decisions : mapping
        As `decided` gives them.
    """
    states = {}
    by_picture = dict(list(measurements.groupby("picture_sha256")))
    for sha256, reason in zip(pictures["picture_sha256"], pictures["reason"], strict=True):
        rows = by_picture.get(sha256)
        choices = [c for (picture, _), c in decisions.items() if picture == sha256]
        if "retake" in choices:
            states[sha256] = "retake"
        elif reason or rows is None:
            states[sha256] = "refused"
        else:
            kept = rows[rows["accepted"] != "no"]
            words = [
                "fair" if yes else q
                for q, yes in zip(kept["quality"], kept["accepted"] == "yes", strict=True)
            ]
            states[sha256] = min(words, key=WORST_FIRST.index, default="struck out")
    return pd.Series(states, dtype="str")


def firing_grid(fired: pd.DataFrame, pictures: pd.DataFrame, states: pd.Series) -> pd.DataFrame:
    """Lay tiles against firings, with the best picture's state in each cell.

    Parameters
    ----------
    fired : DataFrame
        tile, firing: every firing after which a tile with patches on it can be photographed.
    pictures : DataFrame
        picture_sha256, tile, firing.
    states : Series
        Of each picture, by fingerprint.

    Returns
    -------
    DataFrame
        Rows tiles, columns firings; 'missing' where there is no picture, blank where none is due.
    """
    due = fired[["tile", "firing"]].drop_duplicates().assign(state=MISSING)
    seen = pictures.dropna(subset=["tile", "firing"])
    seen = seen.assign(state=seen["picture_sha256"].map(states))[["tile", "firing", "state"]]
    both = pd.concat([due, seen], ignore_index=True).astype({"tile": int, "firing": int})
    order = {state: n for n, state in enumerate((MISSING, "struck out", *WORST_FIRST))}
    best = both.assign(rank=both["state"].map(order)).sort_values("rank")
    best = best.drop_duplicates(["tile", "firing"], keep="last")
    return best.pivot_table(
        index="tile", columns="firing", values="state", aggfunc="last", fill_value=""
    )
