"""Half grades: which step one counts as, and how grades, whole or half, are written."""

import math


def nearest_step(grade: float) -> int:
    """Step that a middle grade counts as: a half counts as the step above, which is the worse.

    The middle of an even number of grades may lie half way between two steps. Every picture, title
    and sentence colours and counts it by this one rule.

    Parameters
    ----------
    grade : float
        0 or more.
    """
    return math.floor(grade + 0.5)


def grade(value: float) -> str:
    """Write a grade, whole or half: '2', '2½'; an average with one decimal: '2.3'."""
    if value == math.floor(value):
        return f"{value:.0f}"
    if 2 * value == math.floor(2 * value):
        return f"{math.floor(value) or ''}½"
    return f"{value:.1f}"
