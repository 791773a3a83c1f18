"""'Which pairs work': a survey of pairs, with the recipe varied beside it."""

from collections.abc import Callable, Sequence

import pandas as pd

from kit.design.draft import Draft, held_in_words, usual_recipe
from kit.design.layout import deal_recipe
from kit.design.surveys import next_patches, survey
from kit.model import PairSetting
from kit.series import Series, Settings
from kit.wording import listed, plain_name


def draft_pairs(
    settings: Settings,
    colours: pd.DataFrame,
    progress: Callable[[str], None] | None = None,
) -> Draft:
    """Draft a survey of pairs.

    Parameters
    ----------
    settings : Settings
        Pairs wished for count three times as much as the rest.
    colours : pandas.DataFrame
        Columns colour and family.
    progress : callable, optional

    Raises
    ------
    Misuse
        When no such survey exists; the message says what would.
    """
    patches = survey(
        colours,
        settings.tiles,
        settings.patches_per_tile,
        wishes=_weights(settings, colours),
        grades_per_patch=settings.last_firing,
        seed=settings.seed,
        progress=progress,
    )
    return _with_recipe(patches, settings, colours, "pair survey", _why(patches, colours))


def draft_next_pairs(
    settings: Settings,
    colours: pd.DataFrame,
    earlier: Sequence[Series],
    progress: Callable[[str], None] | None = None,
) -> Draft:
    """Draft the patches that would do most for the pairs that earlier series left open.

    Parameters
    ----------
    settings : Settings
        Only pairs wished for count, if there are any.
    colours : pandas.DataFrame
        Columns colour and family.
    earlier : sequence of Series
        What has been graded.
    progress : callable, optional

    Raises
    ------
    Misuse
        When nothing has been graded, or no such plan exists.
    """
    wishes = pd.DataFrame([vars(wish) for wish in settings.wishes]) if settings.wishes else None
    patches = next_patches(
        earlier,
        settings.tiles * settings.patches_per_tile,
        colours=colours,
        setting=PairSetting.of(settings.verdict),
        patches_per_tile=settings.patches_per_tile,
        wishes=wishes,
        seed=earlier[-1].settings.seed,
        starts=1,
        progress=progress,
    )
    names = listed([series.name for series in earlier])
    why = (
        f"{len(patches)} patches on {patches['tile'].nunique()} tiles were chosen by what {names} "
        "left open: they do most for the pairs that are not known yet."
    )
    return _with_recipe(patches.drop(columns="reason"), settings, colours, "next round", why)


def _with_recipe(
    patches: pd.DataFrame, settings: Settings, colours: pd.DataFrame, kind: str, why: str
) -> Draft:
    family = colours.set_index("colour")["family"]
    patches["base_family"] = patches["base"].map(family)
    patches["overlay_family"] = patches["overlay"].map(family)
    recipe = usual_recipe(settings)
    varied = {name: settings.factors[name] for name in recipe if len(settings.factors[name]) > 1}
    patches = patches.assign(**recipe).assign(**deal_recipe(patches, varied, settings.seed))
    patches["before_firing"] = 1
    patches["last_firing"] = settings.last_firing
    return Draft(patches, kind, why, _limits(patches, colours, recipe, varied))


def _weights(settings: Settings, colours: pd.DataFrame) -> pd.DataFrame | None:
    if not settings.wishes:
        return None
    names = colours["colour"]
    every = pd.MultiIndex.from_product([names, names], names=["base", "overlay"]).to_frame(
        index=False
    )
    every = every[every["base"] != every["overlay"]]
    wished = {(wish.base, wish.overlay) for wish in settings.wishes}
    pair = zip(every["base"], every["overlay"], strict=True)
    return every.assign(weight=[3.0 if p in wished else 1.0 for p in pair])


def _why(patches: pd.DataFrame, colours: pd.DataFrame) -> str:
    possible = len(colours) * (len(colours) - 1)
    return (
        "You asked which pairs work, so a pair survey was picked: "
        f"{len(patches)} patches on {patches['tile'].nunique()} tiles, chosen so that all "
        f"{possible} pairs of {len(colours)} colours can be expected as surely as possible."
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
