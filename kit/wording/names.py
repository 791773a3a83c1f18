"""What factors, sources of variation and effects are called.

One entry for each holds every form in which people meet it; no other part of the kit has names of
its own for them.
"""

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class FactorName:
    """What a factor is called.

    Parameters
    ----------
    plain : str
        In mid-sentence: "the base's family".
    heading : str
        Over a column or beside an axis, with its unit.
    change : str
        A change of it, with {start} and {to}.
    """

    plain: str
    heading: str
    change: str


@dataclass(frozen=True)
class SourceName:
    """What a source of variation is called.

    Parameters
    ----------
    plain : str
        One of its levels: 'base colour', 'tile'.
    varies : str
        That it varies, as a clause: 'base colours differ'.
    letter : str
        How the formula of the model writes it: 'u_base[b]'.
    """

    plain: str
    varies: str
    letter: str


FACTOR_NAMES = {
    "base_family": FactorName(
        "the base's family", "base family", "taking {to} for the base instead of {start}"
    ),
    "overlay_family": FactorName(
        "the overlay's family", "overlay family", "taking {to} for the overlay instead of {start}"
    ),
    "base_coats": FactorName(
        "the number of base coats", "coats of base", "going from {start} to {to} coats of base"
    ),
    "base_mesh": FactorName(
        "the base's sifter",
        "sifter for the base (mesh)",
        "going from mesh {start} to {to} for the base",
    ),
    "base_coat_weight": FactorName(
        "the base's coat weight",
        "base coat weight (mg/cm²)",
        "going from {start} to {to} mg/cm² a coat of base",
    ),
    "mesh": FactorName(
        "the overlay's sifter",
        "sifter for the overlay (mesh)",
        "going from mesh {start} to {to} for the overlay",
    ),
    "coat_weight": FactorName(
        "the overlay's coat weight",
        "overlay coat weight (mg/cm²)",
        "going from {start} to {to} mg/cm² of overlay",
    ),
    "firings": FactorName(
        "the number of firings", "firings of a patch", "going from {start} to {to} firings"
    ),
    "minutes": FactorName(
        "the time in the heat",
        "time in the heat (min)",
        "going from {start} to {to} minutes in the heat",
    ),
    "heat": FactorName("the heat", "heat", "firing by {to} instead of {start}"),
}

SOURCE_NAMES = {
    "base": SourceName("base colour", "base colours differ", "u_base[b]"),
    "overlay": SourceName("overlay colour", "overlay colours differ", "u_overlay[o]"),
    "base:overlay": SourceName(
        "the pair itself", "pairs differ beyond their two colours", "u_pair[b, o]"
    ),
    "base.refirings": SourceName(
        "how a base takes repeated firing",
        "bases take repeated firing differently",
        "v_base[b] (f - 1)",
    ),
    "overlay.refirings": SourceName(
        "how an overlay takes repeated firing",
        "overlays take repeated firing differently",
        "v_overlay[o] (f - 1)",
    ),
    "base:series": SourceName("the jar of a base", "jars of one base differ", "w_base[b, r]"),
    "overlay:series": SourceName(
        "the jar of an overlay", "jars of one overlay differ", "w_overlay[o, r]"
    ),
    "base_opacity": SourceName(
        "the base's opacity", "bases of one opacity go together", "t_opacity[b]"
    ),
    "overlay_opacity": SourceName(
        "the overlay's opacity", "overlays of one opacity go together", "t_opacity[o]"
    ),
    "base_grain": SourceName("the base's grain", "bases of one grain go together", "t_grain[b]"),
    "overlay_grain": SourceName(
        "the overlay's grain", "overlays of one grain go together", "t_grain[o]"
    ),
    "base_fusing": SourceName(
        "how soon the base fuses", "bases that fuse alike go together", "t_fusing[b]"
    ),
    "overlay_fusing": SourceName(
        "how soon the overlay fuses", "overlays that fuse alike go together", "t_fusing[o]"
    ),
    "softer_overlay": SourceName(
        "how soft the overlay is against the base",
        "overlays as soft against their bases go together",
        "t_softer[b, o]",
    ),
    "tile": SourceName("tile", "tiles differ", "u_tile[t]"),
    "stripe": SourceName("stripe", "stripes of one tile differ", "u_stripe[t, .]"),
    "stripe.small": SourceName("stripe", "stripes of one tile differ", "u_stripe[t, .]"),
    "small_patch.small": SourceName(
        "being a small patch", "small patches differ more than large ones", "u_small[p]"
    ),
    "patch": SourceName("patch", "patches of one recipe differ", "u_patch[p]"),
    "grader": SourceName("grader", "graders differ", "u_grader[g]"),
    "session": SourceName("session", "sessions at the heat differ", "u_session[s]"),
    "series": SourceName("series", "series differ", "u_series[r]"),
}


SCORE_NAMES = {"pull_through": "pull-through"}


def change_of(factor: str, start: str, to: str) -> str:
    """Say a change of a factor: 'going from 1 to 3 firings'."""
    return FACTOR_NAMES[factor].change.format(start=start, to=to)


def plain_name(name: str) -> str:
    """Say a factor, a score or a source of variation in mid-sentence; any other name as it is."""
    known = FACTOR_NAMES.get(name) or SOURCE_NAMES.get(name)
    return known.plain if known else SCORE_NAMES.get(name, name.replace("_", " "))


def plain_effect(name: str) -> str:
    """Say an effect of a formula in words.

    Examples
    --------
    >>> plain_effect("base_family[T.unleaded]:center(firings)")
    "the base's family (unleaded) together with the number of firings"
    """
    return " together with ".join(_plain_part(part) for part in name.split(":"))


def _plain_part(part: str) -> str:
    level = re.search(r"\[T\.(.*)\]", part)
    bare = re.sub(r"^center\((.*)\)$", r"\1", re.sub(r"\[T\..*\]", "", part))
    said = plain_name(bare)
    return f"{said} ({level.group(1)})" if level else said
