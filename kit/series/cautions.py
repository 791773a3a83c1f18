"""The usual cautions of the bench, each tied to the steps it belongs to.

Common practice in enamelling studios and in the leaflets of health and safety bodies on lead and
on crystalline silica; no single source. They remind, and do not replace local rules.
"""

from dataclasses import dataclass
from typing import Literal

BenchStep = Literal["cut", "sift", "fire", "cool", "pickle", "clean", "photograph", "grade", "use"]


@dataclass(frozen=True)
class Caution:
    """One thing that can hurt somebody, and what is usually done about it.

    Parameters
    ----------
    title : str
    text : str
    steps : tuple of str
        Steps of the work that it belongs to.
    """

    title: str
    text: str
    steps: tuple[BenchStep, ...]


CAUTIONS = (
    Caution(
        "Lead and silica dust",
        "Lead-bearing powder poisons, and fine glass dust can harm the lungs for good. Wear a "
        "respirator that fits your face, rated for fine dust. Do not eat, drink or smoke at the "
        "bench. Wash your hands and change out of dusty clothes before you leave it.",
        ("sift", "clean"),
    ),
    Caution(
        "Wet clean-up only",
        "Wipe up spilt powder with a damp cloth. Never sweep or blow it, and never use a household "
        "vacuum cleaner. Collect what you wipe up as local rules for lead waste ask.",
        ("sift", "clean"),
    ),
    Caution(
        "Hot metal, flame and glare",
        "Wear eye protection for heat and glare, gloves against heat, closed shoes and cotton or "
        "wool. Keep a clear path to the cooling place. A piece that no longer glows still burns.",
        ("fire", "cool"),
    ),
    Caution(
        "Fumes",
        "Fire with the window open and an extractor running, so that nobody breathes what rises "
        "from hot enamel, flux and torch.",
        ("fire", "pickle"),
    ),
    Caution(
        "Never quench a hot tile",
        "Let every tile cool slowly on the rack. In water it cracks and throws glass and steam.",
        ("fire", "cool"),
    ),
    Caution(
        "Flying glass",
        "Enamel can spit chips while it cools and when an edge is stoned. Keep your glasses on.",
        ("cool", "photograph", "grade"),
    ),
    Caution(
        "Sharp edges",
        "Cut copper is sharp. Wear gloves, file every edge, and mind where the offcuts fall.",
        ("cut",),
    ),
    Caution(
        "Pickle",
        "Add the acid or salt to the water, never water to acid. Goggles, gloves, ventilation; no "
        "iron in the bath; only cold tiles go in. Used pickle holds copper: hand it in, do not "
        "pour it away.",
        ("pickle", "cut"),
    ),
    Caution(
        "Not for food, drink or children",
        "Never put lead-bearing colours on anything that touches food or drink, or that a child "
        "may mouth. These samples are for looking at.",
        ("use", "grade"),
    ),
)

DEFERENCE = (
    "These are the usual cautions, not the whole of them. The maker's safety data sheets, local "
    "rules and licensed practice decide."
)


def cautions_for(*steps: BenchStep) -> tuple[Caution, ...]:
    """Return the cautions that belong to any of the steps, in their fixed order."""
    return tuple(caution for caution in CAUTIONS if set(caution.steps) & set(steps))
