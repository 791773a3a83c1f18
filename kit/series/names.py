"""Names of series, which become folder names, and of patches, which pass through spreadsheets."""

import re

from kit.errors import Misuse

_PLAIN = re.compile(r"[a-z0-9][a-z0-9-]{0,62}")
_RESERVED = re.compile(r"con|prn|aux|nul|(com|lpt)[0-9]")


def checked_name(name: str) -> str:
    """Return `name` if it can safely be a folder on any machine.

    Raises
    ------
    Misuse
        When it holds anything but small letters, digits and hyphens.
    """
    if not _PLAIN.fullmatch(name) or _RESERVED.fullmatch(name):
        raise Misuse(
            f"'{name}' cannot name a series. Use small letters, digits and hyphens, "
            "such as 'autumn-stencils'."
        )
    return name


def patch_name(tile: int, position: int) -> str:
    """Name a patch by its tile and position: 'T7-3'.

    The letter keeps spreadsheets from reading it as a date.
    """
    return f"T{tile}-{position}"
