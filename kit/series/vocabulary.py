"""The fixed words of the kit: what a table cell may say, family pairs, numbers of sifters."""

FAMILIES = ("leaded", "unleaded")
ON_JARS = {
    "lead-free": "unleaded",
    "lead free": "unleaded",
    "leadfree": "unleaded",
    "lead-bearing": "leaded",
    "lead bearing": "leaded",
    "leadbearing": "leaded",
}
"""What jars say for a family, and the word of the tables. Nothing that is merely near is taken."""

MEANT = {**ON_JARS, "no lead": "unleaded", "lead": "leaded"}
"""What people may mean by a word that is not taken; it is suggested."""

OPACITIES = ("opaque", "transparent", "opalescent")
GRAINS = ("fine", "medium", "coarse")
FUSINGS = ("soft", "medium", "hard")
"""How a jar or a maker's list says that an enamel flows: soft early, hard late."""

HEATS = ("torch", "kiln")
"""What a session may be fired with, where that is compared."""

ASKS = ("which things matter", "which pairs work", "is this pair safe")

ACCIDENTS = ("chipped", "cracked", "dropped", "mis-sifted", "overfired", "mixed up", "lost")

NEVER_RIGHT = ("mis-sifted", "mixed up")
"""Accidents after which nothing of a patch counts, whenever somebody noticed."""
"""Words for what spoils a tile or a patch. The tables take other words too."""


def family_pair(base_family: str, overlay_family: str) -> str:
    """Name a family-on-family combination the way it lies: 'leaded over unleaded'."""
    return f"{overlay_family} over {base_family}"


FAMILY_PAIRS = tuple(family_pair(base, overlay) for base in FAMILIES for overlay in FAMILIES)


OPENING_UM = {
    20: 850,
    25: 710,
    30: 600,
    35: 500,
    40: 425,
    45: 355,
    50: 300,
    60: 250,
    70: 212,
    80: 180,
    100: 150,
    120: 125,
    140: 106,
    170: 90,
    200: 75,
    230: 63,
    270: 53,
    325: 45,
    400: 38,
}
"""Nominal opening in micrometres by mesh number.

ASTM E11, table 1, alternative sieve designations; the openings are those of ISO 3310-1 (R 40/3
series). Written from memory of the standards and checked against the series' own rule in
tests/series/test_vocabulary.py.
"""
