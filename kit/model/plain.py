"""Factors, groups and effects as a person would say them."""

import re

PLAIN = {
    "base_family": "the base's family",
    "overlay_family": "the overlay's family",
    "firings": "the number of firings",
    "mesh": "the overlay's mesh",
    "coat_weight": "the overlay's coat weight",
    "base_mesh": "the base's mesh",
    "base_coat_weight": "the base's coat weight",
    "base_coats": "the number of base coats",
    "base": "base colour",
    "overlay": "overlay colour",
    "base:overlay": "the pair itself",
    "grader": "grader",
    "tile": "tile",
    "patch": "patch",
    "session": "session",
    "series": "series",
}


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
    said = PLAIN.get(bare, bare)
    return f"{said} ({level.group(1)})" if level else said
