"""Whether there is anything to report on yet."""

from kit.errors import Misuse
from kit.series import Series


def checked_ready(series: Series) -> Series:
    """Hand the series back if a report of it would say something.

    Raises
    ------
    Misuse
        When no colour is listed, or nothing is planned.
    """
    name = series.name
    if series.colours.empty:
        raise Misuse(
            f"Nothing is graded yet in {name}, and no colour is listed: list your jars in "
            f"colours.csv, then kit plan {name}"
        )
    if series.patches.empty:
        raise Misuse(f"Nothing is graded yet in {name}, and nothing is planned: kit plan {name}")
    return series
