"""Which series can be fitted together, and why the others cannot."""

from collections.abc import Sequence

from kit.series import Scale, Series, observations


def poolable(each: Sequence[Series], scale: str) -> tuple[list[Series], list[str]]:
    """Series whose grades of one scale may be fitted together, and a reason for each left out.

    The last series sets the scale. A grade must mean the same wherever it was given, so a series
    whose steps are others, in number or in words, is left out; so is one in which every grade is
    the same, whose distance from the others has no bound.

    Parameters
    ----------
    each : sequence of Series
        The newest last.
    scale : str

    Returns
    -------
    kept : list of Series
    reasons : list of str
        A sentence for each series left out.
    """
    graded = [one for one in each if scale in [s.name for s in one.settings.scales]]
    if len(graded) < 2:
        return graded, []
    measure = graded[-1].settings.scale(scale)
    kept, reasons = [], []
    for one in graded:
        reason = _differs(one.settings.scale(scale), measure, graded[-1].name)
        if not reason and one is not graded[-1]:
            given = observations(one)[scale].dropna().unique()
            if len(given) == 1:
                reason = (
                    f"every {measure.title.lower()} grade in it is {given[0]}, so how far it lies "
                    "from the others has no bound"
                )
        if reason:
            reasons.append(f"{one.name} does not count for {measure.title.lower()}: {reason}.")
        else:
            kept.append(one)
    return kept, reasons


def _differs(own: Scale, measure: Scale, last: str) -> str:
    """How a scale differs from the one that counts; '' if it does not."""
    if len(own.steps) != len(measure.steps):
        return (
            f"it was graded in {len(own.steps)} steps, and {last} in {len(measure.steps)}, so a "
            "grade does not mean the same"
        )
    for step, (here, there) in enumerate(zip(own.steps, measure.steps, strict=True)):
        if _word(here) != _word(there):
            return (
                f"its grade {step} is '{_word(here)}', and in {last} '{_word(there)}', so a grade "
                "does not mean the same"
            )
    return ""


def _word(step: str) -> str:
    return step.split(":")[0].strip()
