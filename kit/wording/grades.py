"""How grades, half grades and sizes in steps of a scale are written, and where a half belongs."""

import math

_NEXT_TO_NOTHING = 0.05


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


def of_a_step(size: float) -> str:
    """Say a size in steps of a scale: '0.8 of a step', '1.6 steps'."""
    if abs(size) < _NEXT_TO_NOTHING:
        return "under a twentieth of a step"
    said = f"{abs(size):.1f}"
    return f"{said} of a step" if float(said) < 1 else f"{said} step{'s' * (said != '1.0')}"


def interval(low: float, high: float) -> str:
    """Say an interval of steps: '(0.1 to 0.4)'; only what is below zero has a sign."""
    low, high = (0.0 if abs(end) < _NEXT_TO_NOTHING else end for end in (low, high))
    return f"({low:.1f} to {high:.1f})".replace("-", "−")
