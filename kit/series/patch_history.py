"""What each patch lies on, how often it was fired and when it was lost; what is joined to that.

Grades are, and measurements: which of those the models may use.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from kit.series.stripes import bases_by_stripe, stripe_counts
from kit.series.tables import MEASUREMENTS
from kit.series.vocabulary import HEATS

if TYPE_CHECKING:
    from kit.series.series import Series
    from kit.series.settings import Settings

RECIPE = (
    "series", "tile", "patch", "position", "base", "overlay", "base_family", "overlay_family",
    "base_coats", "base_mesh", "base_coat_weight", "mesh", "coat_weight", "firings", "firing",
    "session", "minutes", "heat", "stripe", "small",
)  # fmt: skip
"""What is known of a patch after a firing before anyone looks at it."""


def colours_in_stock(colours: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """The colours that a series uses: all but those that its settings leave out."""
    return colours[~colours["colour"].isin(settings.leave_out)].reset_index(drop=True)


def observations(series: Series) -> pd.DataFrame:
    """Join grades to patch, tile and colours; lost patches are left out.

    Parameters
    ----------
    series : Series

    Returns
    -------
    DataFrame
        One row per graded patch, firing and grader, with columns series, tile, patch, position,
        base, overlay, base_family, overlay_family, base_coats, base_mesh, base_coat_weight, mesh,
        coat_weight, firings (how often the patch has been fired), firing (the tile's), session,
        grader, a column per scale (missing where not graded) and note. Coat weights in mg/cm².
    """
    scales = [scale.name for scale in series.settings.scales]
    return with_recipes(series, series.grades[["patch", "firing", "grader", *scales, "note"]])


def over_another(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows of one colour over another.

    A colour over itself is a control: no edge can be seen on it, nor what comes up through it, so
    that its grades say nothing of what a colour does as a base or as an overlay.

    Parameters
    ----------
    rows : DataFrame
        With base and overlay; without them every row stays.
    """
    if not {"base", "overlay"} <= set(rows.columns):
        return rows
    return rows[rows["base"].astype("str") != rows["overlay"].astype("str")]


def with_recipes(series: Series, seen: pd.DataFrame) -> pd.DataFrame:
    """Join what was seen of patches to their recipes; lost patches are left out.

    Parameters
    ----------
    series : Series
    seen : DataFrame
        Columns patch and firing (the tile's), and what was seen.

    Returns
    -------
    DataFrame
        The rows of `seen` that count, with the columns of `RECIPE` first.
    """
    joined = seen.merge(patches_in_full(series), on="patch", validate="many_to_one")
    heat = _heat_met(series)
    joined = joined.merge(heat, on=["tile", "firing"], how="left", validate="many_to_one")
    joined = joined[joined["firing"] < joined["lost_from"]]
    joined = joined.assign(
        series=series.name, firings=joined["firing"] - joined["before_firing"] + 1
    )
    own = [column for column in seen.columns if column not in RECIPE]
    return joined[[*RECIPE, *own]].reset_index(drop=True)


def _heat_met(series: Series) -> pd.DataFrame:
    """What every firing met: as it was written down, and else as planned for its session.

    Where torch and kiln are compared, 'Torch, orange' counts as torch.
    """
    met = series.firings[["tile", "firing", "session", "minutes", "heat"]]
    met = met.assign(heat=met["heat"].fillna("").str.strip().str.lower())
    planned = series.sessions.set_index("session").reindex(met["session"])
    meant = planned["heat"].fillna("").to_numpy()
    for word in HEATS:
        others = "|".join(other for other in HEATS if other != word)
        named = met["heat"].str.contains(word) & ~met["heat"].str.contains(others)
        met["heat"] = met["heat"].mask(named & (meant != ""), word)
    return met.assign(
        minutes=met["minutes"].fillna(pd.Series(planned["minutes"].to_numpy(), met.index)),
        heat=met["heat"].mask(met["heat"] == "", pd.Series(meant, met.index)).astype("str"),
    )


def heat_of_session(series: Series, session: int) -> str:
    """Say what is planned for a session where sessions differ: '2.5 minutes in the kiln'."""
    own = series.sessions[series.sessions["session"] == session]
    if own.empty:
        return ""
    minutes, heat = own["minutes"].iloc[0], own["heat"].iloc[0]
    where = {"torch": "under the torch", "kiln": "in the kiln"}.get(heat, "in the heat")
    return where if pd.isna(minutes) else f"{minutes:g} minutes {where}"


def patches_in_full(series: Series) -> pd.DataFrame:
    """Join every patch to its tile and colours.

    Returns
    -------
    DataFrame
        One row per patch: the columns of patches.csv, then base, base_family, overlay_family,
        base_coats, base_mesh, base_coat_weight, stripe ('7.2': tile and stripe), small (1 on a tile
        with several stripes, where patches are smaller, else 0), lost_from (the first firing of the
        tile from which nothing can be learnt from the patch; infinite when it is sound) and
        reason.
    """
    family = series.colours.set_index("colour")["family"]
    tiles = series.tiles.rename(
        columns={"coats": "base_coats", "mesh": "base_mesh", "coat_weight": "base_coat_weight"}
    )
    of_tile = ["tile", "base_coats", "base_mesh", "base_coat_weight"]
    patches = series.patches.merge(tiles[of_tile], on="tile", how="left", validate="many_to_one")
    stripes = patches["tile"].map(stripe_counts(series)).fillna(1).astype("int64")
    number = (patches["position"] - 1) % stripes + 1
    bases = bases_by_stripe(series).set_index(["tile", "stripe"])["base"]
    where = pd.MultiIndex.from_arrays([patches["tile"], number])
    patches = patches.assign(
        base=bases.reindex(where).astype("str").to_numpy(),
        stripe=patches["tile"].astype(str) + "." + number.astype(str),
        small=(stripes > 1).astype("int64"),
    )
    patches = patches.assign(
        base_family=patches["base"].map(family), overlay_family=patches["overlay"].map(family)
    )
    first = tiles_lost(series)
    lost_from = patches["tile"].map(first["firing"]).astype("float64").fillna(float("inf"))
    reason = patches["tile"].map(first["accident"]).astype("str").fillna("")
    by_itself = lost_by_itself_from(patches)
    own = (patches["accident"] != "") & (by_itself <= lost_from)
    return patches.assign(
        lost_from=lost_from.mask(own, by_itself), reason=reason.mask(own, patches["accident"])
    )


def lost_by_itself_from(patches: pd.DataFrame) -> pd.Series:
    """From which firing of its tile each patch is lost by an accident of its own.

    Infinite without an accident; 0, so that nothing of the patch counts, where the firing of the
    accident is not on record: nobody can tell then which grades came before it.
    """
    known = patches["lost_at"].astype("Int64").astype("float64").fillna(0.0)
    return known.where(patches["accident"] != "", float("inf"))


def last_firings(series: Series) -> pd.Series:
    """How often each tile is to be fired with its stencils on, by tile number."""
    planned = series.tiles.set_index("tile")["firings"]
    return planned.fillna(series.settings.last_firing).astype("int64")


def tiles_lost(series: Series) -> pd.DataFrame:
    """Rows of firings.csv at which a tile was lost, by tile number: the first for each."""
    spoiled = series.firings[series.firings["accident"] != ""].sort_values("firing")
    return spoiled.drop_duplicates("tile").set_index("tile")


def losses(series: Series) -> pd.DataFrame:
    """List every lost patch with its reason, its pair and from which firing it is lost."""
    patches = patches_in_full(series)
    columns = ["patch", "tile", "base", "overlay", "base_family", "overlay_family"]
    lost = patches[patches["lost_from"] < float("inf")]
    return lost[[*columns, "lost_from", "reason"]].reset_index(drop=True)


_NAMES = [column.name for column in MEASUREMENTS.columns]

MEASURES = tuple(name for name in _NAMES if f"{name}_se" in _NAMES)
"""The measured columns; each has its standard error beside it, named with `_se`."""

TRUSTED = ("good", "fair")


def usable_measurements(measurements: pd.DataFrame) -> pd.DataFrame:
    """Take what can be trusted, several pictures of one patch after one firing averaged.

    A person's word goes before the kit's: 'no' under `accepted` strikes a measurement out, 'yes'
    keeps one that the kit calls poor. Standard errors are averaged too, not made smaller, because
    pictures of one patch share most of their errors.

    Parameters
    ----------
    measurements : DataFrame
        As in measurements.csv.

    Returns
    -------
    DataFrame
        patch, firing, each of `MEASURES` and its `_se`, and pictures: how many were averaged.
    """
    said = measurements["accepted"].fillna("").str.strip().str.lower()
    measured = measurements["spread_mm"].notna()
    trusted = measurements["quality"].isin(TRUSTED) & (said != "no")
    kept = measurements[measured & (trusted | (said == "yes"))]
    columns = [column for name in MEASURES for column in (name, f"{name}_se")]
    groups = kept.groupby(["patch", "firing"], sort=False)
    return groups[columns].mean().assign(pictures=groups.size()).reset_index()


def join_measurements(series: Series) -> pd.DataFrame:
    """Join what can be trusted of a series' measurements to patch, tile and colours.

    Parameters
    ----------
    series : Series

    Returns
    -------
    DataFrame
        One row per measured patch and firing, lost patches left out. Columns as
        `kit.series.observations` has them, without grader and grades, then those of
        `usable_measurements`: lengths in mm, shares from 0 to 1.
    """
    return with_recipes(series, usable_measurements(series.measurements))
