"""The factors of a series as a person says them."""

FACTOR_WORDS = {
    "base_family": "base family",
    "overlay_family": "overlay family",
    "base_coats": "coats of base",
    "base_mesh": "sifter for the base (mesh)",
    "base_coat_weight": "base coat weight",
    "mesh": "sifter for the overlay (mesh)",
    "coat_weight": "overlay coat weight",
    "firings": "firings of a patch",
}

_MOVES = {
    "base_family": "taking {to} for the base instead of {start}",
    "overlay_family": "taking {to} for the overlay instead of {start}",
    "base_coats": "going from {start} to {to} coats of base",
    "base_mesh": "going from mesh {start} to {to} for the base",
    "base_coat_weight": "going from {start} to {to} mg/cm² a coat of base",
    "mesh": "going from mesh {start} to {to} for the overlay",
    "coat_weight": "going from {start} to {to} mg/cm² of overlay",
    "firings": "going from {start} to {to} firings",
}


def move(factor: str, start: str, to: str) -> str:
    """Say a change of a factor: 'going from 1 to 3 firings'."""
    return _MOVES[factor].format(start=start, to=to)
