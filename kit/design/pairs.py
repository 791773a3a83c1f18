"""'Which pairs work': a survey of pairs, with the recipe varied beside it."""

from collections.abc import Callable

import pandas as pd

from kit.design.deal_recipe import deal_recipe
from kit.design.draft import Draft, held_in_words, last_firing, usual_recipe
from kit.design.factors import listed
from kit.design.survey import survey
from kit.series import Settings


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
        grades_per_patch=last_firing(settings),
        seed=settings.seed,
        progress=progress,
    )
    family = colours.set_index("colour")["family"]
    patches["base_family"] = patches["base"].map(family)
    patches["overlay_family"] = patches["overlay"].map(family)
    recipe = usual_recipe(settings)
    varied = {name: settings.factors[name] for name in recipe if len(settings.factors[name]) > 1}
    patches = patches.assign(**recipe).assign(**deal_recipe(patches, varied, settings.seed))
    patches["before_firing"] = 1
    patches["last_firing"] = last_firing(settings)
    return Draft(patches, "pair survey", _why(patches, colours), _costs(patches, recipe, varied))


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
        f"{possible} pairs of {len(colours)} colours can be foretold as surely as possible."
    )


def _costs(
    patches: pd.DataFrame, recipe: dict[str, object], varied: dict[str, tuple[object, ...]]
) -> tuple[str, ...]:
    fired = len(patches[["base", "overlay"]].drop_duplicates())
    costs = [
        f"It fires {fired} different pairs; every other pair is foretold from its two colours and "
        "its families, less surely than if it had been fired."
    ]
    if varied:
        names = listed(name.replace("_", " ") for name in varied)
        costs.append(
            f"Each pair meets few of the levels of {names}: their effect is known over all pairs, "
            "not for each."
        )
    held = {name: value for name, value in recipe.items() if name not in varied}
    if held:
        costs.append(f"It says nothing about other recipes than {held_in_words(held)}.")
    return tuple(costs)
