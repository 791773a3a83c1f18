"""One memory of colours for a series: who lies turned, swapped, or sifted with another colour.

Under the card's light the same named colour looks alike on every tile. So each picture can be held
against what all the others remember of its colours, as its slips say and as if the tile lay turned,
were another tile, or carried another colour.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.photo.raster import colour_shift
from kit.photo.tile_plan import PhotoPlan

MOST = 30.0
"""CIEDE2000 at which one colour is simply another."""

_PLAINLY_OTHER = 14.0
_MUCH_BETTER = 7.0
_BETTER_STILL = 2.0
_AS_MANY = 0.75
_FITS = 7.0
_STEADY = 7.0
"""An overlay whose colour differs by less than this between bases is remembered over all bases."""

_ROUNDS = 2
_OVERLAY = ["overlay_l", "overlay_a", "overlay_b"]
_BASE = ["base_l", "base_a", "base_b"]


@dataclass(frozen=True)
class Question:
    """What does not fit, to be asked of a person.

    Parameters
    ----------
    pictures : tuple of str
        Fingerprints of the pictures that it is about.
    patches : tuple of str
        Patches that it is about; all of the pictures' when empty.
    words : str
        The suspect and the reason, in a finished sentence or two.
    turned_deg : float
        How far the tile seems to lie turned clockwise; 0 when that is not the question.
    """

    pictures: tuple[str, ...]
    patches: tuple[str, ...]
    words: str
    turned_deg: float = 0.0


@dataclass(frozen=True)
class _Seen:
    """The colours in one picture, by position on the tile as its slips say it lies."""

    sha256: str
    tile: int
    firing: int
    overlay: Mapping[int, NDArray[np.float64]]
    base: NDArray[np.float64]


def colour_questions(measurements: pd.DataFrame, plan: PhotoPlan) -> list[Question]:
    """Hold every picture against what the others remember of its colours.

    Parameters
    ----------
    measurements : DataFrame
        Of all pictures of a series, with columns tile and position beside those of
        measurements.csv.
    plan : PhotoPlan

    Returns
    -------
    list of Question
    """
    pictures = _pictures(measurements)
    suspects: dict[str, Question] = {}
    for _ in range(_ROUNDS):
        trusted = [p for p in pictures if p.sha256 not in suspects]
        suspects = {}
        for picture in pictures:
            witnesses = trusted if len(trusted) > 1 else pictures
            others = [p for p in witnesses if p.sha256 != picture.sha256]
            if question := _suspicion(picture, others, plan):
                suspects[picture.sha256] = question
    return list(suspects.values())


def untold_questions(
    measurements: pd.DataFrame, plan: PhotoPlan, known: Collection[str]
) -> list[Question]:
    """Ask about pictures of which nothing tells which way up the tile lies.

    A way is told by overlays that tiles seen the right way up show too, by a patch of the base's
    own colour, and by another picture of the same tile of which it is told.

    Parameters
    ----------
    measurements : DataFrame
        As for `colour_questions`.
    plan : PhotoPlan
    known : collection of str
        Fingerprints of pictures of which a person said how the tile lies.
    """
    pictures = _pictures(measurements)
    told = set(known)
    for picture in pictures:
        elsewhere = [p for p in pictures if p.tile != picture.tile]
        if picture.sha256 not in told and _way_is_told(picture, elsewhere, plan):
            told.add(picture.sha256)
    sure = [p for p in pictures if p.sha256 in told]
    unsure = [p for p in pictures if p.sha256 not in told]
    return [_untold(p, plan) for p in unsure if not _way_is_told(p, sure, plan)]


def _untold(picture: _Seen, plan: PhotoPlan) -> Question:
    half = any(degrees == 180.0 for _, degrees, _ in _turns(plan, picture.tile))
    told = (
        "Nothing yet tells which way up this tile lies: no other picture shows its colours. Look "
        "at it: does patch 1 lie at the end the card says? Then accept it; if it "
        + ("lies upside down, say 'Lies turned'." if half else "does not, photograph it again.")
    )
    return Question((picture.sha256,), (), told, 180.0 if half else 0.0)


def _way_is_told(picture: _Seen, others: list[_Seen], plan: PhotoPlan) -> bool:
    """Whether every other way of laying the tile would put known colours in wrong places."""
    named = plan.overlays_on(picture.tile, picture.firing)
    fits = _overlays_away(picture, others, plan, picture.overlay)
    for turned, _, _ in _turns(plan, picture.tile):
        if all(named.get(seen_at) == named.get(own) for seen_at, own in turned.items()):
            continue
        overlay = {turned[n]: lab for n, lab in picture.overlay.items() if n in turned}
        away = _overlays_away(picture, others, plan, overlay)
        if not (fits and away and np.mean(away) - np.mean(fits) > _MUCH_BETTER):
            return False
    return True


def _overlays_away(
    picture: _Seen, others: list[_Seen], plan: PhotoPlan, overlay: Mapping[int, NDArray[np.float64]]
) -> list[float]:
    away = _distances(picture, picture.tile, others, plan, overlay)
    return [distance for place, distance in away.items() if place != _BASE_PLACE]


def _pictures(measurements: pd.DataFrame) -> list[_Seen]:
    table = measurements.dropna(subset=["overlay_l", "base_l"])
    # Hardly any pure overlay left, or something hiding it: its colour is no witness.
    clear = (table["quality"] != "poor") & ~(table["pull_through_share"] > 0.6)
    pictures = []
    for sha256, rows in table[clear].groupby("picture_sha256", sort=False):
        overlay = {
            int(position): np.array(lab, float)
            for position, *lab in rows[["position", *_OVERLAY]].itertuples(index=False)
        }
        base = rows[_BASE].median().to_numpy(float)
        tile, firing = int(rows["tile"].iloc[0]), int(rows["firing"].iloc[0])
        pictures.append(_Seen(str(sha256), tile, firing, overlay, base))
    return pictures


def _suspicion(picture: _Seen, others: list[_Seen], plan: PhotoPlan) -> Question | None:
    """Ask about this picture, or about some of its patches, if its colours are not as told."""
    away = _distances(picture, picture.tile, others, plan, picture.overlay)
    if len(away) < 2:
        return None
    cost = float(np.mean(list(away.values())))
    suspicion = None
    if cost > _FITS:
        for question, tile, overlay in _other_readings(picture, plan):
            found = list(_distances(picture, tile, others, plan, overlay).values())
            limit = cost - (_BETTER_STILL if suspicion else _MUCH_BETTER)
            # It must explain nearly as many colours as the slips' own reading does.
            if len(found) >= max(2, _AS_MANY * len(away)) and np.mean(found) < min(limit, _FITS):
                cost, suspicion = float(np.mean(found)), question
    return suspicion or _other_colours(picture, away, others, plan)


def _other_readings(
    picture: _Seen, plan: PhotoPlan
) -> Iterator[tuple[Question, int, Mapping[int, NDArray[np.float64]]]]:
    """What else a picture may show: its own tile turned, or another tile, and the colours then."""
    for turned, degrees, name in _turns(plan, picture.tile):
        told = (
            f"The tile seems to lie turned {name}: turned so, its overlays have the colours that "
            "they have elsewhere. If it does, say 'Lies turned' and it is measured as it lies; or "
            "photograph it again with patch 1 at the end the card says."
        )
        overlay = {turned[n]: lab for n, lab in picture.overlay.items() if n in turned}
        yield Question((picture.sha256,), (), told, degrees), picture.tile, overlay
    for tile in sorted(set(plan.patches["tile"].tolist()) - {picture.tile}):
        told = (
            f"The slip says tile {picture.tile}, but base and overlays have the colours of tile "
            f"{tile}. Was the slip of another tile left on the card?"
        )
        yield Question((picture.sha256,), (), told), tile, picture.overlay


def _other_colours(
    picture: _Seen, away: Mapping[int, float], others: list[_Seen], plan: PhotoPlan
) -> Question | None:
    """Name overlays and bases whose colour is plainly another than their name has elsewhere."""
    own = plan.patches[plan.patches["tile"] == picture.tile].set_index("position")
    odd = [n for n, distance in away.items() if distance > _PLAINLY_OTHER]
    if not odd:
        return None
    if odd == [_BASE_PLACE]:
        words = (
            f"The base of tile {picture.tile} has another colour here than elsewhere. Is it the "
            "tile that the slip says?"
        )
        return Question((picture.sha256,), (), words)
    told, patches = [], []
    for position in odd:
        if position == _BASE_PLACE:
            continue
        name = str(own.at[position, "overlay"])
        like = _looks_like(picture, position, others, plan)
        alike = f"; it looks like {like}" if like and like != name else ""
        told.append(f"{own.at[position, 'patch']} does not have the colour of {name}{alike}")
        patches.append(str(own.at[position, "patch"]))
    words = f"{'; '.join(told)}. Was another colour sifted, or another tile laid?"
    return Question((picture.sha256,), tuple(patches), words)


_BASE_PLACE = 0


def _distances(
    picture: _Seen,
    tile: int,
    others: list[_Seen],
    plan: PhotoPlan,
    overlay: Mapping[int, NDArray[np.float64]],
) -> dict[int, float]:
    """CIEDE2000 of each colour of a picture from what is remembered of it, by position.

    The picture is read as one of `tile` with the given overlays at its positions; position 0
    stands for the base. What nobody remembers is left out.
    """
    named = plan.overlays_on(tile, picture.firing)
    away = {}
    for position, lab in overlay.items():
        if position in named:
            known = _remembered(tile, position, named[position], others, plan)
            if not len(known) and named[position] == plan.base_at(tile, position):
                known = picture.base[None]
            if len(known):
                away[position] = _apart(lab, known)
    if len(bases := _remembered_base(tile, others, plan)):
        away[_BASE_PLACE] = _apart(picture.base, bases)
    return away


def _apart(lab: NDArray[np.float64], known: NDArray[np.float64]) -> float:
    """How far a colour lies from what is known of it; of two that contradict, the nearer."""
    away = np.minimum(colour_shift(known, lab), MOST)
    return float(np.quantile(away, 0.5, method="lower"))


def _remembered(
    tile: int, position: int, overlay: str, others: list[_Seen], plan: PhotoPlan
) -> NDArray[np.float64]:
    """What others saw of an overlay: on the same base elsewhere, else here, else on any base."""
    places = plan.places_of(overlay)
    seen = [(p, n) for p in others for t, n in places if p.tile == t and n in p.overlay]
    base = plan.base_at(tile, position)
    same_base = [
        p.overlay[n] for p, n in seen if p.tile != tile and base and plan.base_at(p.tile, n) == base
    ]
    here = [p.overlay[position] for p in others if p.tile == tile and position in p.overlay]
    if same_base or here:
        return np.array(same_base or here)
    anywhere = np.array([p.overlay[n] for p, n in seen]).reshape(-1, 3)
    if len(anywhere) > 1:
        middle = np.median(anywhere, axis=0)
        if float(np.max(colour_shift(anywhere, middle))) > _STEADY:
            return np.empty((0, 3))
    return anywhere


def _remembered_base(tile: int, others: list[_Seen], plan: PhotoPlan) -> NDArray[np.float64]:
    if tile in plan.striped:
        return np.empty((0, 3))
    others = [p for p in others if p.tile not in plan.striped]
    base = plan.bases.get(tile)
    alike = [p.base for p in others if p.tile != tile and base and plan.bases.get(p.tile) == base]
    here = [p.base for p in others if p.tile == tile]
    return np.array(alike or here).reshape(-1, 3)


def _looks_like(picture: _Seen, position: int, others: list[_Seen], plan: PhotoPlan) -> str | None:
    """Name the overlay whose remembered colour is nearest, if it is near."""
    near = {}
    for overlay in sorted(set(plan.patches["overlay"])):
        known = _remembered(picture.tile, position, overlay, others, plan)
        if len(known):
            near[overlay] = _apart(picture.overlay[position], known)
    best = min(near, key=lambda name: near[name], default=None)
    return best if best is not None and near[best] < _FITS else None


def _turns(plan: PhotoPlan, tile: int) -> Iterator[tuple[dict[int, int], float, str]]:
    """How positions change places when the tile is turned so that it looks the same.

    Yields
    ------
    turned : dict of int to int
        From the place at which a patch is seen to its own number.
    degrees : float
        Clockwise.
    name : str
    """
    places = plan.layout(tile).places
    middle = np.array([plan.blank.width_mm, plan.blank.height_mm]) / 2
    spots = {n: np.array([p.x_mm, p.y_mm]) - middle for n, p in places.items()}
    round_ = plan.blank.shape == "round"
    square = round_ or abs(plan.blank.width_mm - plan.blank.height_mm) < 2
    parts = len(places) if round_ and len(places) > 1 else 4 if square else 2
    for n in range(1, parts):
        angle = 2 * np.pi * n / parts
        cos, sin = np.cos(angle), np.sin(angle)
        turn = np.array([[cos, -sin], [sin, cos]])
        turned = {}
        for number, spot in spots.items():
            seen_at = turn @ spot
            nearest = min(spots, key=lambda other: float(np.hypot(*(spots[other] - seen_at))))
            if np.hypot(*(spots[nearest] - seen_at)) < 1.5:
                turned[nearest] = number
        if len(turned) > 1:
            yield turned, 360.0 * n / parts, _turn_name(n, parts)


def _turn_name(n: int, parts: int) -> str:
    if 2 * n == parts:
        return "upside down (by half a turn)"
    if parts == 4:
        return f"by a quarter to the {'right' if n == 1 else 'left'}"
    return f"by {n} places"
