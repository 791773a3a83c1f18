"""What was measured, as a person would say it."""

from kit.model.measured import is_share


def amount(value: float, measure: str) -> str:
    """Say a value of a measure: '0.42 mm' or '12 %'."""
    unit = "\u00a0%" if is_share(measure) else " mm"
    return _number(value, measure) + unit


def between(low: float, high: float, measure: str) -> str:
    """Say an interval of a measure: '0.31 to 0.52 mm' or '8.1 to 12 %'."""
    return f"{_number(low, measure)} to {amount(high, measure)}"


def gap(value: float, measure: str) -> str:
    """Say a difference of a measure: '0.42 mm' or '12 percentage points'."""
    if is_share(measure):
        return f"{_number(value, measure)} percentage points"
    return amount(value, measure)


def gap_between(low: float, high: float, measure: str) -> str:
    """Say an interval of a difference: '0.31 to 0.52 mm' or '8.1 to 12 percentage points'."""
    return f"{_number(low, measure)} to {gap(high, measure)}"


def _number(value: float, measure: str) -> str:
    if is_share(measure):
        told = f"{100 * value:.1f}" if abs(value) < 0.0995 else f"{100 * value:.0f}"
    else:
        told = f"{value:.2f}"
    return told.replace("-", "−") if float(told) else told.lstrip("-")
