"""'Which pairs work': a survey of pairs, with the recipe varied beside it."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.design.layout import Draft, deal_recipe, held_in_words, usual_recipe
from kit.design.surveys import (
    Ints,
    PairKnowledge,
    Places,
    TileFormat,
    after_firing,
    known_of_series,
    next_patches,
    survey,
    survey_plan,
    survey_task,
)
from kit.errors import Misuse
from kit.model import LearnedPrior, PairSetting
from kit.series import Series, Settings, over_another, patches_in_full, patches_per_stripe
from kit.wording import counted, listed, plain_name

_UNEQUAL = 3
"""Families are unequal when one has so many times the colours of the other."""

_WISHED = 3.0
"""Weight of a pair wished for, where all others count one."""


@dataclass(frozen=True, eq=False)
class Aim:
    """What a survey is for, and what it must spare.

    Parameters
    ----------
    targets : pandas.DataFrame
        Columns base, overlay and weight.
    wrong_costs : float
        What a wrong 'fine edge' costs, in right verdicts missed.
    not_bases : collection of str
        Colours of which there is too little to cover a tile.
    """

    targets: pd.DataFrame
    wrong_costs: float = 0.0
    not_bases: Collection[str] = ()


def asked_format(settings: Settings) -> TileFormat:
    """How the settings divide tiles, whatever colours there are."""
    stripes = settings.stripes
    each = patches_per_stripe(settings, stripes) if stripes > 1 else 1
    return TileFormat(settings.patches_per_tile, stripes, each)


def tile_format(
    settings: Settings, colours: pd.DataFrame, not_bases: Collection[str] = ()
) -> TileFormat:
    """How the tiles of a series are divided, as far as its colours go."""
    bases = (~colours["colour"].isin(not_bases)).sum()
    return asked_format(settings).fitted(len(colours), int(bases))


def pair_targets(
    settings: Settings,
    colours: pd.DataFrame,
    palette: Sequence[str] = (),
    wishes_alone: bool = False,
) -> pd.DataFrame:
    """Weigh every ordered pair by how much it matters.

    Parameters
    ----------
    settings : Settings
        Pairs wished for count three times as much as the rest.
    colours : pandas.DataFrame
        Columns colour and family.
    palette : sequence of str
        Colours that alone matter, over each other; all when empty.
    wishes_alone : bool
        Whether only the pairs wished for count.

    Returns
    -------
    DataFrame
        Columns base, overlay and weight.

    Raises
    ------
    Misuse
        When a colour is not in use.
    """
    strange = sorted(set(palette) - set(colours["colour"]))
    if strange:
        raise Misuse(f"{listed(strange)} cannot be planned for: not among the colours in use.")
    names = list(palette) or list(colours["colour"])
    wished = {(wish.base, wish.overlay) for wish in settings.wishes}
    others = 0.0 if wishes_alone else 1.0
    rows = [
        (base, overlay, _WISHED if (base, overlay) in wished else others)
        for base in (colours["colour"] if wished else names)
        for overlay in (colours["colour"] if wished else names)
        if base != overlay and ((base, overlay) in wished or {base, overlay} <= set(names))
    ]
    return pd.DataFrame(rows, columns=["base", "overlay", "weight"])


def draft_pairs(
    settings: Settings,
    colours: pd.DataFrame,
    aim: Aim,
    progress: Callable[[str], None] | None = None,
    learned: Mapping[str, LearnedPrior] | None = None,
) -> Draft:
    """Draft a survey of pairs.

    Parameters
    ----------
    settings : Settings
    colours : pandas.DataFrame
        Columns colour and family.
    aim : Aim
    progress : callable, optional
    learned : mapping of str to LearnedPrior, optional
        What earlier series showed, by score.

    Raises
    ------
    Misuse
        When no such survey exists; the message says what would.
    """
    patches = survey(
        colours,
        settings.tiles,
        tile_format(settings, colours, aim.not_bases),
        setting=PairSetting.of(settings.verdict),
        counts=range(1, settings.last_firing + 1),
        graders=max(1, len(settings.graders)),
        targets=aim.targets,
        wrong_costs=aim.wrong_costs,
        not_bases=aim.not_bases,
        seed=settings.seed,
        learned=learned,
        progress=progress,
    )
    return _with_recipe(patches, settings, colours, "pair survey", _why(patches, colours))


def draft_next_pairs(
    settings: Settings,
    colours: pd.DataFrame,
    earlier: Sequence[Series],
    aim: Aim,
    progress: Callable[[str], None] | None = None,
) -> Draft:
    """Draft the patches that would do most for the pairs that earlier series left open.

    Parameters
    ----------
    settings : Settings
    colours : pandas.DataFrame
        Columns colour and family.
    earlier : sequence of Series
        What has been graded.
    aim : Aim
    progress : callable, optional

    Raises
    ------
    Misuse
        When nothing has been graded, or no such plan exists.
    """
    divided = tile_format(settings, colours, aim.not_bases)
    patches = next_patches(
        earlier,
        len(divided.places(settings.tiles).stripe),
        colours=colours,
        setting=PairSetting.of(settings.verdict),
        tile_format=divided,
        targets=aim.targets,
        wrong_costs=aim.wrong_costs,
        not_bases=aim.not_bases,
        seed=earlier[-1].settings.seed,
        progress=progress,
    )
    names = listed([series.name for series in earlier])
    why = (
        f"{len(patches)} patches on {patches['tile'].nunique()} tiles were chosen by what {names} "
        "left open: they do most for the pairs that are not known yet."
    )
    return _with_recipe(patches.drop(columns="reason"), settings, colours, "next round", why)


def draft_more_pairs(
    settings: Settings,
    colours: pd.DataFrame,
    kept: Series,
    aim: Aim,
    progress: Callable[[str], None] | None = None,
    after: Sequence[Series] = (),
) -> Draft:
    """Draft further tiles of a survey, beside those of it that are kept.

    What the kept tiles were graded is known; what they are yet to show counts as well. Every colour
    that is on none of them comes in.

    Parameters
    ----------
    settings : Settings
        With as many tiles as are to be drafted.
    colours, aim, progress
        As for `draft_pairs`.
    kept : Series
        With the kept tiles alone.
    after : sequence of Series
        Graded series that it goes on from: what they showed is known as well.
    """
    known = known_of_series(replace(kept, settings=settings), colours, [*after, kept])
    awaited = _awaited(kept)
    if len(awaited):
        known = after_firing(known, *patches_in_places(awaited, known))
    seen = pd.concat([patches_in_full(one) for one in (*after, kept)], ignore_index=True)
    new = ~colours["colour"].isin({*seen["base"], *seen["overlay"]}).to_numpy()
    task = survey_task(known, aim.targets, aim.wrong_costs, aim.not_bases)
    task = replace(task, bases=task.bases & new, overlays=task.overlays & new)
    places = tile_format(settings, colours, aim.not_bases).places(settings.tiles)
    patches = survey_plan(known, task, places, settings.seed, progress).frame(known)
    why = (
        f"{counted(len(patches), 'patch', 'patches')} on "
        f"{counted(patches['tile'].nunique(), 'tile')} were chosen: they do most for what the "
        "other tiles leave open."
    )
    return _with_recipe(patches, settings, colours, "pair survey", why, seen)


def _awaited(kept: Series) -> pd.DataFrame:
    """Sound patches that are still to be graded."""
    patches = patches_in_full(kept)
    sound = patches["lost_from"] > patches["before_firing"]
    return patches[sound & ~patches["patch"].isin(kept.grades["patch"])]


def patches_in_places(patches: pd.DataFrame, known: PairKnowledge) -> tuple[Ints, Places]:
    """The patches of a series, in full, as numbers of pairs in places; controls tell nothing."""
    patches = over_another(patches).sort_values(["tile", "stripe"], ignore_index=True)
    patches = patches[patches["base"].isin(known.colours) & patches["overlay"].isin(known.colours)]
    stripe, tile = (pd.factorize(patches[name])[0] for name in ("stripe", "tile"))
    _, first = np.unique(stripe, return_index=True)
    return known.numbers(patches), Places(stripe, tile[first], patches["small"].to_numpy() == 1)


def _with_recipe(
    patches: pd.DataFrame,
    settings: Settings,
    colours: pd.DataFrame,
    kind: str,
    why: str,
    beside: pd.DataFrame | None = None,
) -> Draft:
    """The draft of patches at the usual recipe; what it cannot tell is said of those beside too."""
    family = colours.set_index("colour")["family"]
    patches["base_family"] = patches["base"].map(family)
    patches["overlay_family"] = patches["overlay"].map(family)
    recipe = usual_recipe(settings)
    varied = {name: settings.factors[name] for name in recipe if len(settings.factors[name]) > 1}
    patches = patches.assign(**recipe).assign(**deal_recipe(patches, varied, settings.seed))
    patches["before_firing"] = 1
    patches["last_firing"] = settings.last_firing
    every = patches if beside is None else pd.concat([patches, beside])
    limits = (*_fewer_on_a_base(settings, colours), *_limits(every, colours, recipe, varied))
    return Draft(patches, kind, why, limits)


def _fewer_on_a_base(settings: Settings, colours: pd.DataFrame) -> list[str]:
    """Say where colours are too few to fill a tile as the settings divide it."""
    asked, fitted = asked_format(settings), tile_format(settings, colours)
    if (asked.patches, asked.per_stripe) == (fitted.patches, fitted.per_stripe):
        return []
    patches = counted(len(colours) - 1, "patch", "patches")
    others = counted(len(colours) - 1, "different overlay")
    return [
        f"A base carries {patches} at most, fewer than it has room for, as "
        f"{len(colours)} colours give {others} for it."
    ]


def _why(patches: pd.DataFrame, colours: pd.DataFrame) -> str:
    possible = len(colours) * (len(colours) - 1)
    return (
        "You asked which pairs work, so a pair survey was picked: "
        f"{len(patches)} patches on {patches['tile'].nunique()} tiles, chosen so that as many as "
        f"can be of all {possible} pairs of {len(colours)} colours get the right verdict."
    )


def _limits(
    patches: pd.DataFrame,
    colours: pd.DataFrame,
    recipe: dict[str, object],
    varied: dict[str, tuple[object, ...]],
) -> tuple[str, ...]:
    fired = len(patches[["base", "overlay"]].drop_duplicates())
    limits = []
    if fired < len(colours) * (len(colours) - 1):
        limits.append(
            f"It fires {fired} different pairs; what to expect of every other pair comes from "
            "its two colours and its families, less surely than if it had been fired."
        )
    if fired == len(patches):
        limits.append(
            "No pair is fired twice: the same number of patches with some of them repeats settled "
            "no more verdicts in invented studios."
        )
    never = sorted(set(colours["colour"]) - set(patches["base"]))
    if never:
        limits.append(
            f"{listed(never)} {'is' if len(never) == 1 else 'are'} never a base, so what they do "
            "below another colour comes from their family alone. A stripe for each would show it."
        )
    sizes = colours["family"].value_counts()
    if len(sizes) > 1 and sizes.max() >= _UNEQUAL * sizes.min():
        limits.append(
            f"There are {sizes.max()} {sizes.idxmax()} colours and {sizes.min()} "
            f"{sizes.idxmin()}: what is said of {sizes.idxmin()} colours rests on few of them."
        )
    if fired < 2 * len(colours):
        limits.append(
            "There are too few patches to know each colour well: two for each colour as overlay "
            "would take more tiles, or several bases on a tile (stripes in series.toml)."
        )
    if varied:
        names = listed([plain_name(name) for name in varied])
        limits.append(
            f"Each pair meets few of the levels of {names}: their effect is known over all pairs, "
            "not for each."
        )
    held = {name: value for name, value in recipe.items() if name not in varied}
    if held:
        limits.append(f"It says nothing about other recipes than {held_in_words(held)}.")
    return tuple(limits)
