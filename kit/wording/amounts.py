"""Amounts, counts, lists and dates as a sentence needs them.

Lengths have inches beside them, grams are as a bench scale shows them. A measure is a column of
the measurements; a name that ends in `_share` holds shares, any other mm.
"""

import datetime as dt
import math
from collections.abc import Sequence

_SMALLEST_WEIGHT_G = 100
"""From here on a bench scale shows whole grams."""
_NEXT_TO_NOTHING = 0.05
"""Sizes in steps of a scale below this are not told from none."""


def mm_and_inches(mm: float) -> str:
    """Write a length: '50 mm (1.97 in)'."""
    digits = 3 if mm < 10 else 2
    return f"{mm:g} mm ({mm / 25.4:.{digits}f} in)"


def size_and_inches(width_mm: float, height_mm: float) -> str:
    """Write a size: '50 × 40 mm (1.97 × 1.57 in)'."""
    inches = f"{width_mm / 25.4:.2f} × {height_mm / 25.4:.2f} in"
    return f"{width_mm:g} × {height_mm:g} mm ({inches})"


def area_and_inches(cm2: float) -> str:
    """Write an area: '675 cm² (105 sq in)'."""
    return f"{cm2:.0f} cm² ({cm2 / 6.4516:.0f} sq in)"


def sifter(mesh: int, micrometres: float) -> str:
    """Write a sifter by its number and opening: '80 mesh, 180 µm (0.0071 in)'."""
    return f"{mesh} mesh, {opening(micrometres)}"


def opening(micrometres: float) -> str:
    """Write a sifter's opening: '180 µm (0.0071 in)'."""
    return f"{micrometres:g} µm ({micrometres / 25400:.4f} in)"


def coat_weight(mg_per_cm2: float) -> str:
    """Write the weight of a coat: '40 mg/cm²'."""
    return f"{mg_per_cm2:g} mg/cm²"


def grams(weight_g: float) -> str:
    """Write a weight to the hundredth of a gram, as a bench scale shows it."""
    return f"{weight_g:.2f} g" if weight_g < _SMALLEST_WEIGHT_G else f"{weight_g:.0f} g"


def fine_grams(weight_g: float) -> str:
    """Write a patch's weight to the thousandth of a gram: '0.088 g'."""
    return f"{weight_g:.3f} g"


def gauge_mm(gauge: int) -> float:
    """Thickness of an American gauge in mm.

    d_n = 0.127 mm × 92^((36 - n) / 39), ASTM B258-18, section 4: no. 36 is 0.0050 in, no. 0000
    is 0.4600 in, and the 38 sizes between them step by equal ratios. No. 0000 is n = -3.
    """
    return float(0.127 * 92 ** ((36 - gauge) / 39))


def nearest_gauge(thickness_mm: float) -> int:
    """Number of the gauge whose thickness is nearest by ratio, by the formula of `gauge_mm`."""
    n = 36 - 39 * math.log(thickness_mm / 0.127, 92)
    return round(n)


def gauge_in_words(thickness_mm: float) -> str:
    """Say which gauge a sheet is nearest to: 'nearest gauge 17 (1.150 mm, 0.0453 in)'."""
    number = nearest_gauge(thickness_mm)
    exact = gauge_mm(number)
    return f"nearest gauge {number} ({exact:.3f} mm, {exact / 25.4:.4f} in)"


def is_share(measure: str) -> bool:
    """Say whether a measure is a share, by its name."""
    return measure.endswith("_share")


def amount(value: float, measure: str) -> str:
    """Say a value of a measure: '0.42 mm' or '12 %'."""
    unit = "\u00a0%" if is_share(measure) else " mm"
    return _number(value, measure) + unit


def between(low: float, high: float, measure: str) -> str:
    """Say an interval of a measure: '0.31 to 0.52 mm' or '8.1 to 12 %'.

    A share ends at none and at all, also where its interval was worked out beyond.
    """
    if is_share(measure):
        low, high = max(low, 0.0), min(high, 1.0)
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


_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


def counted(count: int, thing: str, things: str | None = None) -> str:
    """Say a count with its noun: '1 tile', '12 tiles'."""
    return f"{count:,} {thing if count == 1 else things or thing + 's'}".replace(",", " ")


def times(count: int) -> str:
    """Say how often: 'once', 'twice', '3 times'."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def listed(words: Sequence[str], last: str = "and") -> str:
    """Join words as a sentence does: 'a, b and c'; 'a; b, dark; and c' where one has a comma."""
    if len(words) < 2:
        return "".join(words)
    if any(", " in word for word in words):
        return f"{'; '.join(words[:-1])}; {last} {words[-1]}"
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def upper_first(text: str) -> str:
    """Start a text with a capital and leave the rest as it is."""
    return text[:1].upper() + text[1:]


def lower_first(text: str) -> str:
    """Start a text with a small letter and leave the rest as it is."""
    return text[:1].lower() + text[1:]


def day(date: dt.date) -> str:
    """Write a date out, the same in every locale: '14 March 2026'."""
    return f"{date.day} {_MONTHS[date.month - 1]} {date.year}"
