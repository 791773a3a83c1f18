"""The chances of the three endings as one bar."""

from collections.abc import Sequence

from kit.drawing.pair_chart import sign
from kit.drawing.svg import PAPER, Drawing, element, ink_on, text_width, words
from kit.model import ENDINGS, LOOKS
from kit.wording import listed, percent, upper_first, whole_percent

_WIDTH, _HIGH, _DIGITS, _SIGN = 320.0, 26.0, 13.0, 10.0


def ending_bar(chances: Sequence[float], of: str, name: str = "endings") -> Drawing:
    """Draw the chances of the endings side by side; a field as wide as its chance.

    Parameters
    ----------
    chances : sequence of float
        In the order of `kit.model.ENDINGS`; they sum to one.
    of : str
        What they are the chances of: 'Jam Violet over Custard, after 2 firings'.
    """
    marks, x = [], 0.0
    for ending, chance in zip(ENDINGS, chances, strict=True):
        marks += _field(ending, chance, x)
        x += _WIDTH * chance
    likeliest = max(zip(chances, ENDINGS, strict=True), key=lambda pair: pair[0])
    told = [f"{LOOKS[e].label} {percent(c)}" for e, c in zip(ENDINGS, chances, strict=True)]
    return Drawing(
        name,
        f"{of}: {LOOKS[likeliest[1]].label} with a chance of {percent(likeliest[0])}",
        f"{upper_first(listed(told))}.",
        _WIDTH,
        _HIGH,
        "".join(marks),
    )


def _field(ending: str, chance: float, x: float) -> list[str]:
    look, wide = LOOKS[ending], _WIDTH * chance
    marks = [
        element(
            "rect", x=x, y=0, width=wide, height=_HIGH, fill=look.colour, stroke=PAPER,
            stroke_width=1, class_="paper-edge",
        )
    ]  # fmt: skip
    said = str(whole_percent(chance))
    takes = _SIGN + 4 + text_width(said, _DIGITS)
    if takes + 6 <= wide:
        left = x + (wide - takes) / 2
        marks.append(sign(look, left, (_HIGH - _SIGN) / 2, _SIGN))
        ink = ink_on(look.colour)
        marks.append(
            words(left + _SIGN + 4, _HIGH / 2 + 4.6, said, _DIGITS, None, ink, "700", theme=None)
        )
    return marks
