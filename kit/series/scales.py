"""Grading scales: what is looked at, and a word for each step."""

from dataclasses import dataclass

STEPS = 5


@dataclass(frozen=True)
class Scale:
    """An ordinal scale from 0 (none) to 4 (total).

    Parameters
    ----------
    name : str
        Column heading in grades.csv.
    title : str
        The name people read.
    question : str
        What the grader asks the patch.
    steps : tuple of str
        Words for the steps 0, 1, 2, 3, 4.
    """

    name: str
    title: str
    question: str
    steps: tuple[str, ...]

    @property
    def grades(self) -> range:
        return range(len(self.steps))


SPREAD = Scale(
    name="spread",
    title="Spread",
    question="How far has the overlay crept past the stencil's edge?",
    steps=(
        "crisp: the edge stands where it was sifted",
        "feathered: crept by less than a hair",
        "blurred: crept, the shape still reads",
        "flowed: the shape is going",
        "lost: no edge left",
    ),
)

PULL_THROUGH = Scale(
    name="pull_through",
    title="Pull-through",
    question="How much of the base has come up through the overlay?",
    steps=(
        "none: the overlay covers",
        "a hint: a few specks of the base",
        "broken in places: the base has come up here and there",
        "broken over half: as much base as overlay",
        "gone: the base has taken over",
    ),
)

DEFAULT_SCALES = (SPREAD, PULL_THROUGH)
