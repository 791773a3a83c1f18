"""The fixed words of the kit: what a table cell may say, and how a family pair is called."""

FAMILIES = ("leaded", "unleaded")
MEANT = {
    "lead-free": "unleaded",
    "leadfree": "unleaded",
    "lead free": "unleaded",
    "no lead": "unleaded",
    "lead-bearing": "leaded",
    "lead bearing": "leaded",
    "lead": "leaded",
}
"""What people write for a family, and the word that the tables hold."""

OPACITIES = ("opaque", "transparent", "opalescent")
GRAINS = ("fine", "medium", "coarse")
FUSINGS = ("soft", "medium", "hard")
"""How a jar or a maker's list says that an enamel flows: soft early, hard late."""

ASKS = ("which things matter", "which pairs work", "is this pair safe")

ACCIDENTS = ("chipped", "cracked", "dropped", "mis-sifted", "overfired", "mixed up", "lost")
"""Words for what spoils a tile or a patch. The tables take other words too."""


def family_pair(base_family: str, overlay_family: str) -> str:
    """Name a family-on-family combination the way it lies: 'leaded over unleaded'."""
    return f"{overlay_family} over {base_family}"


FAMILY_PAIRS = tuple(family_pair(base, overlay) for base in FAMILIES for overlay in FAMILIES)
