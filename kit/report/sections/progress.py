"""What has been recorded of a series so far."""

import pandas as pd

from kit.record import loss_balance
from kit.report.page.document import Paragraph, Section, table_of
from kit.series import Series, patches_in_full
from kit.wording import counted


def recorded(series: Series) -> Section:
    """Say what has been fired, graded and lost so far."""
    firings = series.firings[series.firings["firing"] > 0]
    graded = series.grades.groupby(["grader", "firing"]).size()
    frame = pd.DataFrame(
        {
            "After firing": [str(number) for number in sorted(set(firings["firing"]))],
            "Tiles fired": [int(n) for n in firings.groupby("firing").size()],
        }
    )
    for grader in sorted(set(series.grades["grader"])):
        counts = [int(graded.get((grader, int(n)), 0)) for n in frame["After firing"]]
        frame[f"Graded by {grader}"] = counts
    patches = counted(len(patches_in_full(series)), "patch", "patches")
    told = f"{patches} are planned on {counted(len(series.tiles), 'tile')}."
    return Section(
        "recorded",
        "Recorded so far",
        (
            Paragraph(told),
            *((table_of("Tiles fired and patches graded", frame),) if len(frame) else ()),
            Paragraph(loss_balance(series).sentence()),
        ),
    )
