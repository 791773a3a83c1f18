"""What a picture's file name claims about its tile and firing."""

import re

from kit.photo.finding import Slips
from kit.photo.opening import Unmeasurable

_CLAIMS = (
    ("tile", re.compile(r"tile[ _-]?0*(\d+)", re.IGNORECASE)),
    ("firing", re.compile(r"firing[ _-]?0*(\d+)", re.IGNORECASE)),
)


def check_name(name: str, slips: Slips) -> None:
    """Refuse a picture whose name says another tile or firing than its slips.

    Names need say nothing; one such as 'tile07-firing2.jpg' is held to what it says.

    Raises
    ------
    Unmeasurable
        When name and slips disagree.
    """
    for kind, pattern in _CLAIMS:
        claim = pattern.search(name)
        said = getattr(slips, kind)
        if claim and int(claim[1]) != said:
            raise Unmeasurable(
                f"The slip says {kind} {said}, the file's name says {kind} {int(claim[1])}. "
                "One of them is wrong."
            )
