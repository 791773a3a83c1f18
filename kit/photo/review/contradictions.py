"""Whether pictures of one tile agree: with each other, with the order of firing, and in time."""

from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pandas as pd

from kit.photo.review.colour_memory import Question
from kit.photo.tile_plan import PhotoPlan
from kit.wording import amount

_MEASURES = {
    "spread_mm": ("spread", 0.03, 0.12),
    "pull_through_share": ("pull-through", 0.02, 0.07),
}
"""Of each measure its name, what two pictures differ by beyond their standard errors, and the least
difference worth asking about."""

_STANDARD_ERRORS = 3.5
_TRUSTED = ("good", "fair")
_HAND_MINUTES = 30.0
"""Pictures of one tile after one firing are usually taken within this time."""


def agreement_questions(measurements: pd.DataFrame, taken: pd.DataFrame) -> list[Question]:
    """Find pictures of one tile that cannot both be what their slips say.

    Parameters
    ----------
    measurements : DataFrame
        Of all pictures of a series, with a column tile beside those of measurements.csv.
    taken : DataFrame
        picture_sha256, tile, firing, camera, at: when each picture says that it was taken (NaT if
        it does not say), by the clock of its own camera.
    """
    sure = measurements[measurements["quality"].isin(_TRUSTED)]
    names = measurements.drop_duplicates("picture_sha256").set_index("picture_sha256")["picture"]
    when = taken.drop_duplicates("picture_sha256").set_index("picture_sha256")["at"]
    questions = list(_of_one_firing(sure, names, when))
    asked = {sha for question in questions for sha in question.pictures}
    questions += _fallen_back(sure[~sure["picture_sha256"].isin(asked)], names)
    return questions + list(_out_of_order(taken, names))


def firing_questions(taken: pd.DataFrame, plan: PhotoPlan) -> list[Question]:
    """Hold what the slips say against the firings that are written down in firings.csv.

    Parameters
    ----------
    taken : DataFrame
        picture, picture_sha256, tile, firing, camera, at of each picture that was measured.
    plan : PhotoPlan
    """
    known = taken[taken["tile"].isin(list(plan.fired)) & (taken["firing"] > 0)]
    questions = []
    for row in known.itertuples():
        firings = plan.fired[int(row.tile)]
        if int(row.firing) not in firings:
            told = (
                f"{row.picture} says tile {row.tile:.0f} after firing {row.firing:.0f}, which "
                "firings.csv does not have. Is the slip wrong, or is that firing not entered yet?"
            )
            questions.append(Question((row.picture_sha256,), (), told))
    return questions + list(_between_sessions(known, plan))


def _between_sessions(known: pd.DataFrame, plan: PhotoPlan) -> Iterator[Question]:
    """Ask whether pictures of one session lie before those of the sessions after it.

    They must, when the tile went on to another firing in between: its face was gone by then.
    """
    sessions = [
        plan.fired[int(tile)].get(int(firing))
        for tile, firing in zip(known["tile"], known["firing"], strict=True)
    ]
    follows = [
        plan.fired[int(tile)].get(int(firing) + 1)
        for tile, firing in zip(known["tile"], known["firing"], strict=True)
    ]
    dated = known.assign(session=sessions, gone=follows).dropna(subset=["at", "session"])
    for _, group in dated.groupby("camera"):
        for row in group.dropna(subset=["gone"]).itertuples():
            later = group[(group["session"] > row.gone) & (group["at"] < row.at)]
            if len(later):
                first = later.sort_values("at").iloc[0]
                told = (
                    f"{row.picture} says tile {row.tile:.0f} after firing {row.firing:.0f}, but "
                    f"was taken after {first['picture']} of session {first['session']:.0f}, when "
                    "by firings.csv the tile had been fired again. Was the firing slip forgotten?"
                )
                yield Question((row.picture_sha256,), (), told)


def _of_one_firing(sure: pd.DataFrame, names: pd.Series, when: pd.Series) -> Iterator[Question]:
    """Pictures of one patch after one firing must read the same within their errors."""
    for (tile, firing), group in sure.groupby(["tile", "firing"]):
        by_picture = {sha: rows.set_index("patch") for sha, rows in group.groupby("picture_sha256")}
        for one, other in combinations(sorted(by_picture, key=lambda sha: names[sha]), 2):
            apart = _disagreements(by_picture[one], by_picture[other])
            if not apart:
                continue
            common = by_picture[one].index.intersection(by_picture[other].index)
            everywhere = len(apart) > 1 or len(common) == 1
            patch, words = next(iter(apart.items()))
            told = (
                f"{names[one]} and {names[other]} both say tile {tile} after firing {firing}, but "
                f"{patch} has {words}. {_reason(when.get(one), when.get(other))}"
            )
            yield Question((one, other), () if everywhere else tuple(apart), told)


def _disagreements(one: pd.DataFrame, other: pd.DataFrame) -> dict[str, str]:
    """Say by patch what two pictures of one tile read differently, the worst first."""
    found = {}
    for patch in one.index.intersection(other.index):
        for measure, (name, floor, least) in _MEASURES.items():
            values = [float(rows.at[patch, measure]) for rows in (one, other)]
            errors = [float(rows.at[patch, f"{measure}_se"]) for rows in (one, other)]
            apart = abs(values[0] - values[1])
            usual = float(np.sqrt(np.square([*errors, floor]).sum()))
            if apart > least and apart > _STANDARD_ERRORS * usual:
                both = " and ".join(amount(value, measure) for value in values)
                found[patch] = (apart / usual, f"{name} {both}")
    return {patch: words for patch, (_, words) in sorted(found.items(), key=lambda f: -f[1][0])}


def _reason(one: pd.Timestamp | None, other: pd.Timestamp | None) -> str:
    if one is not None and other is not None and pd.notna(one) and pd.notna(other):
        apart = abs((other - one).total_seconds()) / 60
        if apart > _HAND_MINUTES:
            between = f"{apart / 60:.0f} hours" if apart > 90 else f"{apart:.0f} minutes"
            return f"They were taken {between} apart: was a firing slip forgotten?"
    return "Was a slip forgotten or swapped? Keep the right one, strike out the other."


def _fallen_back(sure: pd.DataFrame, names: pd.Series) -> list[Question]:
    """What has spread or been pulled through does not go back: common practice, no source."""
    questions = []
    for tile, group in sure.groupby("tile"):
        by_firing = {f: rows.set_index("patch") for f, rows in group.groupby("firing")}
        for earlier, later in zip(sorted(by_firing), sorted(by_firing)[1:], strict=False):
            before, after = (
                by_firing[f][~by_firing[f].index.duplicated()] for f in (earlier, later)
            )
            back = [
                patch
                for patch in _disagreements(before, after)
                if any(
                    after.at[patch, m] < before.at[patch, m] - _MEASURES[m][2] for m in _MEASURES
                )
            ]
            common = before.index.intersection(after.index)
            if len(back) >= max(2, len(common) / 2):
                pair = (before["picture_sha256"].iloc[0], after["picture_sha256"].iloc[0])
                told = (
                    f"Tile {tile} shows less after firing {later} ({names[pair[1]]}) than after "
                    f"firing {earlier} ({names[pair[0]]}) on {', '.join(back)}. Were the firing "
                    "slips mixed up?"
                )
                questions.append(Question(pair, (), told))
    return questions


def _out_of_order(taken: pd.DataFrame, names: pd.Series) -> Iterator[Question]:
    """A picture after a later firing cannot have been taken before one after an earlier."""
    known = taken.dropna(subset=["at"])
    for (tile, _), group in known.groupby(["tile", "camera"]):
        ordered = group.sort_values(["firing", "at"])
        for earlier, later in combinations(ordered.itertuples(), 2):
            shas = (earlier.picture_sha256, later.picture_sha256)
            if later.firing > earlier.firing and later.at < earlier.at and set(shas) <= set(names):
                told = (
                    f"{names[shas[1]]} says tile {tile} after firing {later.firing} and was taken "
                    f"{later.at:%d %B, %H:%M}, before {names[shas[0]]}, which says firing "
                    f"{earlier.firing} ({earlier.at:%d %B, %H:%M}). Was a firing slip wrong?"
                )
                yield Question(shas, (), told)
